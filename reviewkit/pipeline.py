"""The whole journey, as plain calls in order: files in, measured, judged, put into an episode, rendered, delivered."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit import places, session_cards
from reviewkit.bench_file import Gathered, gather, measure
from reviewkit.changes import changes, counterpart, is_mended
from reviewkit.episode import assemble, chapters_of, segment_of_card, segment_of_run
from reviewkit.errors import Fault, Faults, InputError, nearest
from reviewkit.measure import KINDS
from reviewkit.model import Card, Episode, Notes, PriceLine, Run, Verdict
from reviewkit.price import price_line
from reviewkit.render import outputs
from reviewkit.render.card import fit
from reviewkit.render.deliver import deliver
from reviewkit.render.page import Pages
from reviewkit.render.workers import Workers
from reviewkit.spec_table import SpecTable, spec_table
from reviewkit.verdict import judge

PAGE_WIDTH = 1280
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Options:
    """What the command line asks for."""

    out: Path | None = None  # default: out/ in the session folder
    width: int = 1920
    only: str = ""
    jobs: int = 1


@dataclass(frozen=True)
class Ready:
    """A build whose outputs are all made and not yet moved in. `files`: path in `out` -> content."""

    episode: Episode
    out: Path
    files: Mapping[str, bytes]
    partial: bool


@dataclass(frozen=True)
class Built:
    """What a build did, for the summary."""

    episode: Episode
    out: Path
    files: tuple[str, ...]
    removed: tuple[str, ...]


def check(folder: Path) -> Episode:
    """Everything up to the drawing. Raises InputError with all that is wrong; what is missing is in `left_out`."""
    episode, _, _ = prepare(folder)
    return episode


def build(folder: Path, options: Options, progress: Progress = lambda what, done, of: None) -> Built:
    """A session folder → everything in out/. Nothing is moved in before all of it is ready."""
    return hand_over(make(folder, options, progress))


def make(folder: Path, options: Options, progress: Progress = lambda what, done, of: None) -> Ready:
    """Everything that a build writes, made and checked, with nothing written yet."""
    with Workers(0 if options.only else options.jobs - 1) as workers:  # which get ready while the files are read
        episode, pages, table = prepare(folder)
        wanted = _wanted(episode, options.only)
        pictures = _draw(workers, wanted, episode.session.episode.look, options, progress)
    files = {f"cards/{card_file(episode.cards, card)}": pictures[card.id][0] for card in wanted}
    if not options.only:
        texts, cut = outputs.texts(episode, pages, table, {card.id: pictures[card.id][1] for card in wanted})
        files |= texts
        if cut:
            episode = replace(episode, left_out=(*episode.left_out, f"description.txt: too long, so without {cut}"))
    return Ready(episode, options.out or folder / "out", files, bool(options.only))


def hand_over(ready: Ready) -> Built:
    """Move what was made into its folder."""
    removed = deliver(ready.out, ready.files, partial=ready.partial)
    return Built(ready.episode, ready.out, tuple(sorted(ready.files)), tuple(removed))


def prepare(folder: Path) -> tuple[Episode, Pages, SpecTable]:
    """Files in, measured, judged, and put in order: all that the outputs are written from."""
    gathered = gather(folder)
    runs = measure(gathered)
    session = gathered.session
    price = price_line(session.price, gathered.prices, session.unit.year) if session.price and gathered.prices else None
    verdicts = judge(session, runs)
    table = spec_table(session, runs, verdicts)
    pages = Pages(folder / "templates", places.templates())

    groups = _groups(runs)
    measured = [
        replace(session_cards.with_verdicts(_card(group), group, verdicts), id=name, corner=session.unit.name)
        for name, group in groups.items()
    ]
    framed = [
        session_cards.title_card(session, price),
        session_cards.rated_card(session),
        *measured,
        session_cards.repair_card(session, gathered.repair),
        session_cards.table_card(session, table, verdicts),
        session_cards.closing_card(session, verdicts, price),
    ]
    cards = tuple(session_cards.with_alt(part) for card in framed if card is not None for part in fit(card))
    notes, uncalled = _called_cards(gathered, cards, runs)

    mended = is_mended(gathered.repair, runs)
    cautions = pages.cautions(mended=mended)
    segments = assemble(
        session,
        notes,
        _sentences(pages, gathered, runs, verdicts, price),
        {c.id: segment_of_card(c.id, runs) for c in cards},
        cautions,
        mended,
        {card.id: card.hold_s for card in cards if card.hold_s},
    )
    return (
        Episode(
            session=session,
            runs=tuple(runs),
            verdicts=verdicts,
            cards=cards,
            segments=segments,
            chapters=chapters_of(segments, gathered.final, mended),
            chapters_final=bool(gathered.final),
            repair=gathered.repair,
            changes=changes(runs),
            price=price,
            cautions=tuple(cautions.get("all", ())),
            left_out=(*gathered.absent, *uncalled, *(why for run in runs for why in run.withheld)),
        ),
        pages,
        table,
    )


def _groups(runs: Sequence[Run]) -> dict[str, list[Run]]:
    """Runs by the card they are drawn on, cards in the order of KINDS, then of the session. The bench looped back on
    itself is drawn on every card of its kind, and on one of its own only where there is no other.
    """
    order = list(KINDS)
    in_order = sorted(runs, key=lambda run: order.index(run.conditions.measurement.kind))
    of_the_unit = [run for run in in_order if run.conditions.measurement.stage != "bench"]
    bench = [run for run in in_order if run.conditions.measurement.stage == "bench"]
    kinds = {run.conditions.measurement.kind for run in of_the_unit}
    by_card: dict[str, list[Run]] = {}
    for run in in_order:
        m = run.conditions.measurement
        if m.stage != "bench" or m.kind not in kinds:
            by_card.setdefault(m.card, []).append(run)
    for group in by_card.values():
        kind = group[0].conditions.measurement.kind
        if kind in kinds:
            group += [run for run in bench if run.conditions.measurement.kind == kind]
    return by_card


def _card(group: Sequence[Run]) -> Card:
    kind = KINDS[group[0].conditions.measurement.kind]
    card = kind.card(group)
    titles = [run.conditions.measurement.title for run in group if run.conditions.measurement.title]
    holds = [run.conditions.measurement.hold_s for run in group if run.conditions.measurement.hold_s]
    return replace(card, title=titles[0] if titles else card.title or kind.title, hold_s=holds[0] if holds else None)


def _sentences(
    pages: Pages, gathered: Gathered, runs: Sequence[Run], verdicts: Sequence[Verdict], price: PriceLine | None
) -> dict[str, list[str]]:
    """What the bench has to say, by segment."""
    said: dict[str, list[str]] = outputs.framing_sentences(pages, gathered.repair, verdicts, price)
    for run in runs:
        if run.conditions.measurement.stage != "bench":
            kind = KINDS[run.conditions.measurement.kind]
            for point in kind.points(run, counterpart(run, runs)):
                said.setdefault(segment_of_run(run), []).extend(pages.sentences(point))
    return said


def _called_cards(gathered: Gathered, cards: Sequence[Card], runs: Sequence[Run]) -> tuple[Notes, tuple[str, ...]]:
    """Notes with their [card …] resolved to card ids; a card that is not there is told, a near miss is a fault."""
    known = {card.id: card.id for card in cards}
    for run in runs:
        m = run.conditions.measurement
        if m.card in known:
            known.setdefault(m.id, m.card)
    faults, missing, notes = Faults("notes.txt"), [], []
    for note in gathered.notes.notes:
        called = []
        for name in note.cards:
            if name in known:
                called.append(known[name])
            elif not note.cut and "did you mean" in (hint := nearest(name, known)):
                faults.add(note.line, f"[card {name}]: there is no such card; {hint}")
            elif not note.cut:
                there = ", ".join(known)
                missing.append(
                    f"notes.txt:{note.line}: card {name} is called for, but nothing makes it; there are {there}"
                )
        notes.append(replace(note, cards=tuple(dict.fromkeys(called))))
    faults.stop_if_any()
    return replace(gathered.notes, notes=tuple(notes)), tuple(missing)


def card_file(cards: Sequence[Card], card: Card) -> str:
    """NN-ID.png, NN being the card's place in the episode's order."""
    return f"{[c.id for c in cards].index(card.id) + 1:02d}-{card.id}.png"


def _wanted(episode: Episode, only: str) -> list[Card]:
    if not only:
        return list(episode.cards)
    wanted = [card for card in episode.cards if card.id == only]
    if not wanted:
        raise InputError(Fault("--only", 0, f'no card "{only}"; {nearest(only, [c.id for c in episode.cards])}'))
    return wanted


def _draw(
    workers: Workers, cards: Sequence[Card], look: str, options: Options, progress: Progress
) -> dict[str, tuple[bytes, ...]]:
    """Each card at full size and for the page. Raises InputError naming every card whose texts do not fit."""
    wanted = ((look, options.width), ("brochure", PAGE_WIDTH))
    drawn = workers.draw(cards, wanted, lambda done: progress("cards", done, len(cards)))
    faults = [Fault("session.toml", 0, why) for why in drawn if isinstance(why, str)]
    if faults:
        raise InputError(faults)
    return {card.id: made for card, made in zip(cards, drawn, strict=True) if not isinstance(made, str)}
