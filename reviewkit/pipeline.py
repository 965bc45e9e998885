"""The whole journey, as plain calls in order: files in, measured, judged, put into an episode, rendered, delivered."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
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
from reviewkit.render.card import Order, fit
from reviewkit.render.chosen_look import chosen
from reviewkit.render.contact_sheet import contact_sheet
from reviewkit.render.deliver import deliver
from reviewkit.render.look import LOOKS, Look
from reviewkit.render.page import Pages
from reviewkit.render.paint import Fonts
from reviewkit.render.workers import Workers
from reviewkit.spec_table import SpecTable, spec_table
from reviewkit.verdict import judge

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Options:
    """What the command line asks for."""

    out: Path | None = None  # default: out/ in the session folder
    width: int = 1920
    only: str = ""
    jobs: int = 1


@dataclass(frozen=True)
class Prepared:
    """All that the outputs are written from."""

    episode: Episode
    pages: Pages
    table: SpecTable
    look: Look  # the episode's, with what the user changed
    fonts: Fonts


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
    return prepare(folder).episode


def build(folder: Path, options: Options, progress: Progress = lambda what, done, of: None) -> Built:
    """A session folder → everything in out/. Nothing is moved in before all of it is ready."""
    return hand_over(make(folder, options, progress))


def make(folder: Path, options: Options, progress: Progress = lambda what, done, of: None) -> Ready:
    """Everything that a build writes, made and checked, with nothing written yet."""
    with Workers(0 if options.only else options.jobs - 1) as workers:  # which get ready while the files are read
        prepared = prepare(folder)
        episode = prepared.episode
        wanted = _wanted(episode, options.only)
        page = None if options.only else LOOKS["brochure"]
        order = Order(prepared.look, options.width, page, small=not options.only, fonts=prepared.fonts)
        drawn = _draw(workers, wanted, order, progress)
    names = {card.id: f"{number:02d}-{card.id}" for number, card in enumerate(episode.cards, start=1)}
    files = {f"cards/{names[card.id]}.png": drawn[card.id]["cards"] for card in wanted}
    if not options.only:
        small = [(f"{names[card.id]}.png", drawn[card.id]["small"]) for card in wanted]
        files["contact-sheet.png"] = contact_sheet(small, prepared.look, prepared.fonts)
        brochure = {card.id: drawn[card.id]["page"] for card in wanted}
        texts, cut = outputs.texts(episode, prepared.pages, prepared.table, brochure)
        files |= texts
        if cut:
            episode = replace(episode, left_out=(*episode.left_out, f"description.txt: too long, so without {cut}"))
    return Ready(episode, options.out or folder / "out", files, bool(options.only))


def hand_over(ready: Ready) -> Built:
    """Move what was made into its folder."""
    removed = deliver(ready.out, ready.files, partial=ready.partial)
    return Built(ready.episode, ready.out, tuple(sorted(ready.files)), tuple(removed))


def prepare(folder: Path) -> Prepared:
    """Files in, measured, judged, and put in order."""
    gathered = gather(folder)
    runs = measure(gathered)
    session = gathered.session
    look, fonts = chosen(session)
    price = price_line(session.price, gathered.prices, session.unit.year) if session.price and gathered.prices else None
    verdicts = judge(session, runs)
    table = spec_table(session, runs, verdicts)
    pages = Pages(folder / "templates", places.templates())

    groups = _groups(runs)
    measured = [
        replace(session_cards.with_verdicts(card, group, verdicts), corner=session.unit.name)
        for name, group in groups.items()
        for card in _cards(name, group, groups)
    ]
    framed = [
        session_cards.title_card(session, price),
        session_cards.rated_card(session),
        *measured,
        session_cards.repair_card(session, gathered.repair),
        session_cards.table_card(session, table, verdicts),
        session_cards.closing_card(session, verdicts, price),
    ]
    cards = tuple(session_cards.with_alt(part) for card in framed if card is not None for part in fit(card, fonts))
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
    return Prepared(
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
        look,
        fonts,
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


def _cards(name: str, group: Sequence[Run], taken: Collection[str]) -> list[Card]:
    """The pictures of a group: its own card, called by the group's name, then what else there is to see of it.

    A further one whose name a measurement has already is called by the next number.
    """
    kind = KINDS[group[0].conditions.measurement.kind]
    card = kind.card(group)
    titles = [run.conditions.measurement.title for run in group if run.conditions.measurement.title]
    holds = [run.conditions.measurement.hold_s for run in group if run.conditions.measurement.hold_s]
    hold = holds[0] if holds else None
    cards = [replace(card, id=name, title=titles[0] if titles else card.title or kind.title, hold_s=hold)]
    for other in kind.further(group):
        names = (f"{name}-{other.id}{number}" for number in ("", *range(2, len(taken) + 2)))
        cards.append(replace(other, id=next(free for free in names if free not in taken), hold_s=hold))
    return cards


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


def _wanted(episode: Episode, only: str) -> list[Card]:
    if not only:
        return list(episode.cards)
    wanted = [card for card in episode.cards if card.id == only]
    if not wanted:
        raise InputError(Fault("--only", 0, f'no card "{only}"; {nearest(only, [c.id for c in episode.cards])}'))
    return wanted


def _draw(workers: Workers, cards: Sequence[Card], order: Order, progress: Progress) -> dict[str, dict[str, bytes]]:
    """Each card's pictures. Raises InputError naming every card whose texts do not fit."""
    drawn = workers.draw(cards, order, lambda done: progress("cards", done, len(cards)))
    faults = [Fault("session.toml", 0, why) for why in drawn if isinstance(why, str)]
    if faults:
        raise InputError(faults)
    return {card.id: made for card, made in zip(cards, drawn, strict=True) if not isinstance(made, str)}
