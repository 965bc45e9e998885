"""The whole journey, as plain calls in order: files in, measured, judged, put into an episode, rendered, delivered."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit import places, session_cards
from reviewkit.bench_file import Gathered, Read, gather
from reviewkit.changes import changes, counterpart, is_mended
from reviewkit.episode import assemble, chapters_of, segment_of_card, segment_of_run
from reviewkit.errors import Fault, Faults, InputError, nearest
from reviewkit.measure import KINDS
from reviewkit.model import Card, Episode, EpisodeSettings, Notes, PriceLine, Run, Said, Verdict
from reviewkit.price import price_line
from reviewkit.render import outputs
from reviewkit.render.card import Order, fit
from reviewkit.render.chosen_look import chosen
from reviewkit.render.clip import Motion
from reviewkit.render.contact_sheet import contact_sheet
from reviewkit.render.deliver import Incoming, deliver
from reviewkit.render.ffmpeg import found
from reviewkit.render.look import LOOKS, Look
from reviewkit.render.page import Pages
from reviewkit.render.paint import Fonts
from reviewkit.render.thumbnail import thumbnail
from reviewkit.render.workers import Drawn, Task, Workers
from reviewkit.render.timeline import LEFT_OUT, timeline
from reviewkit.spec_table import SpecTable, spec_table
from reviewkit.verdict import judge

Progress = Callable[[str, int, int], None]
_FOLDERS = ("cards", "overlays", "strips")


@dataclass(frozen=True)
class Options:
    """What the command line asks for."""

    out: Path | None = None  # default: out/ in the session folder
    width: int = 1920
    only: str = ""
    overlay: bool = False
    motion: bool = False


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
    files: Mapping[str, bytes | Path]
    partial: bool
    incoming: Incoming | None = None  # where those are that are not in memory


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


def make(
    folder: Path,
    options: Options,
    progress: Progress = lambda what, done, of: None,
    workers: Workers | None = None,
) -> Ready:
    """Everything that a build writes, made and checked, nothing moved in yet. `workers`: those begun, if any."""
    wanted: list[Card] = []
    begun: list[Task[Drawn]] = []
    workers = workers or Workers(0)
    out = options.out or folder / "out"
    ffmpeg = found() if options.motion else ""  # before anything is drawn
    incoming = Incoming(out) if options.motion else None

    def begin_drawing(cards: Sequence[Card], look: Look, fonts: Fonts, settings: EpisodeSettings) -> None:
        page = None if options.only else LOOKS["brochure"]
        motion = Motion(settings.frame_rate, settings.card_seconds, ffmpeg, incoming.path) if incoming else None
        order = Order(look, options.width, page, not options.only, fonts, options.overlay, strip=True, motion=motion)
        wanted.extend(_wanted(cards, options.only))
        begun.extend(workers.begin_drawing(wanted, order))

    workers.load_beside()
    prepared = prepare(folder, workers.elsewhere, begin_drawing)
    pictures = workers.finish(begun, lambda done: progress("cards", done, len(begun)))
    episode, drawn = prepared.episode, _drawn(wanted, pictures)
    names = {card.id: f"{number:02d}-{card.id}" for number, card in enumerate(episode.cards, start=1)}
    files: dict[str, bytes | Path] = {
        f"{kind}/{names[card.id]}.png": picture
        for card in wanted
        for kind, picture in drawn[card.id].items()
        if kind in _FOLDERS
    }
    if not options.only:
        small = [(f"{names[card.id]}.png", drawn[card.id]["small"]) for card in wanted]
        files["thumbnail.png"] = thumbnail(episode, prepared.look, prepared.fonts)
        files["contact-sheet.png"] = contact_sheet(small, prepared.look, prepared.fonts)
        brochure = {card.id: drawn[card.id]["page"] for card in wanted}
        texts, cut = outputs.texts(episode, prepared.pages, prepared.table, brochure)
        files |= texts
        if cut:
            episode = replace(episode, left_out=(*episode.left_out, f"description.txt: too long, so without {cut}"))
    clips = incoming.path.iterdir() if incoming else ()
    files |= {f"clips/{names[clip.stem]}{clip.suffix}": clip for clip in clips}
    if not options.only:
        drawn_up = timeline(episode, files)
        files |= {"timeline.otio": drawn_up} if drawn_up else {}
        episode = episode if drawn_up else replace(episode, left_out=(*episode.left_out, LEFT_OUT))
    return Ready(episode, out, files, bool(options.only), incoming)


def hand_over(ready: Ready) -> Built:
    """Move what was made into its folder."""
    removed = deliver(ready.out, ready.files, partial=ready.partial)
    return Built(ready.episode, ready.out, tuple(sorted(ready.files)), tuple(removed))


def prepare(
    folder: Path,
    elsewhere: Callable[[Read], Read] = lambda read: read,
    begin_drawing: Callable[[Sequence[Card], Look, Fonts, EpisodeSettings], None] = lambda *told: None,
) -> Prepared:
    """Files in, measured, judged, and put in order. `elsewhere`: see `gather`; `begin_drawing` is told the cards as
    soon as they are there, before the words are.
    """
    gathered = gather(folder, elsewhere)
    session, runs = gathered.session, gathered.runs
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
        session_cards.title_card(session, price, gathered.photo),
        session_cards.rated_card(session),
        *measured,
        session_cards.repair_card(session, gathered.repair),
        session_cards.table_card(session, table, verdicts),
        session_cards.closing_card(session, verdicts, price),
    ]
    cards = tuple(
        session_cards.with_alt(replace(part, first=card.first or card.id))
        for card in framed
        if card is not None
        for part in fit(card, fonts)
    )
    begin_drawing(cards, look, fonts, session.episode)
    notes, uncalled = _called_cards(gathered, cards, runs)

    mended = is_mended(gathered.repair, runs)
    cautions = pages.cautions(mended=mended)
    segments = assemble(
        session,
        notes,
        _said(pages, gathered, runs, verdicts, price),
        cards,
        {card.id: segment_of_card(card.first, runs) for card in cards},
        cautions,
        mended,
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
            notes=notes,
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
        cards.append(replace(other, id=next(free for free in names if free not in taken), first=name, hold_s=hold))
    return cards


def _said(
    pages: Pages, gathered: Gathered, runs: Sequence[Run], verdicts: Sequence[Verdict], price: PriceLine | None
) -> dict[str, list[Said]]:
    """What the bench has to say, by segment."""
    said = outputs.framing_sentences(pages, gathered.repair, verdicts, price)
    for run in runs:
        m = run.conditions.measurement
        if m.stage != "bench":
            for point in KINDS[m.kind].points(run, counterpart(run, runs)):
                sentences = (Said(text, m.card) for text in pages.sentences(point))
                said.setdefault(segment_of_run(run), []).extend(sentences)
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


def _wanted(cards: Sequence[Card], only: str) -> list[Card]:
    wanted = [card for card in cards if only in ("", card.id)]
    if not wanted:
        raise InputError(Fault("--only", 0, f'no card "{only}"; {nearest(only, [card.id for card in cards])}'))
    return wanted


def _drawn(cards: Sequence[Card], pictures: Sequence[Drawn]) -> dict[str, dict[str, bytes]]:
    """Each card's pictures, by card. Raises InputError naming every card whose texts do not fit."""
    faults = [Fault("session.toml", 0, why) for why in pictures if isinstance(why, str)]
    if faults:
        raise InputError(faults)
    return {card.id: made for card, made in zip(cards, pictures, strict=True) if not isinstance(made, str)}
