"""The whole journey, as plain calls in order: files in, measured, judged, put into an episode, rendered, delivered."""

from __future__ import annotations

import atexit
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from reviewkit import places
from reviewkit.bench_file import Gathered, Take, gather
from reviewkit.card_series import all_cards, called_cards
from reviewkit.changes import changes, counterpart, is_mended
from reviewkit.episode import assemble, chapters_of, segment_of_card, segment_of_run
from reviewkit.errors import Fault, InputError, nearest
from reviewkit.measure import KINDS
from reviewkit.model import Card, Episode, EpisodeSettings, PriceLine, Run, Said, Verdict
from reviewkit.plan.plan import plan as planned
from reviewkit.price import price_line
from reviewkit.published import FILE_NAME, Published, corrections, published, told
from reviewkit.remembered import Once, anew, stamps
from reviewkit.render import outputs, plan_page, tables
from reviewkit.render.card import Order
from reviewkit.render.chosen_look import chosen
from reviewkit.render.clip import Motion
from reviewkit.render.contact_sheet import contact_sheet
from reviewkit.render.deliver import Incoming, deliver, write_whole
from reviewkit.render.ffmpeg import found
from reviewkit.render.look import LOOKS, Look
from reviewkit.render.page import Pages
from reviewkit.render.paint import Fonts
from reviewkit.render.plan_lines import PlanWords
from reviewkit.render.thumbnail import thumbnail
from reviewkit.render.timeline import lacking, timeline_file
from reviewkit.render.workers import Drawn, Task, Workers
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
    published: bool = False  # remember the figures as those that viewers are told


@dataclass(frozen=True)
class Prepared:
    """All that the outputs are written from."""

    episode: Episode
    pages: Pages
    table: SpecTable
    look: Look  # the episode's, with what the user changed
    fonts: Fonts
    published: Published | None  # what viewers were told last
    plan: PlanWords


@dataclass(frozen=True)
class Ready:
    """A build whose outputs are all made and not yet moved in. `files`: path in `out` -> content."""

    episode: Episode
    out: Path
    files: Mapping[str, bytes | Path]
    partial: bool
    prepared: Prepared
    record: tuple[Path, bytes] | None = None  # what is to be remembered of a publication, and where


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
    once: Once = anew,
    at_end: Callable[[Callable[[], None]], object] = atexit.register,
    prepared_is: Callable[[Prepared], None] = lambda prepared: None,
) -> Ready:
    """Everything that a build writes, made and checked, nothing moved in yet. `workers`: those begun, if any; `once`:
    see `gather`; `at_end`: takes what must be called once all is moved in, or nothing will be. `prepared_is` is told
    what the outputs will be written from while cards are still being drawn.
    """
    wanted: list[Card] = []
    begun: list[Task[Drawn]] = []
    workers = workers or Workers(0)
    out = options.out or folder / "out"
    ffmpeg = found() if options.motion else ""  # before anything is drawn
    incoming = Incoming(out, at_end) if options.motion else None
    record = b""

    def begin_drawing(cards: Sequence[Card], look: Look, fonts: Fonts, settings: EpisodeSettings) -> None:
        page = None if options.only else LOOKS["brochure"]
        motion = Motion(settings.frame_rate, settings.card_seconds, ffmpeg, incoming.path) if incoming else None
        order = Order(look, options.width, page, not options.only, fonts, options.overlay, strip=True, motion=motion)
        new = [card for card in cards if options.only in ("", card.id)]
        wanted.extend(new)
        begun.extend(workers.begin_drawing(new, order))

    pages = _pages(folder, once)
    load_beside = cache(lambda: workers.load_beside(pages.get_ready))

    def elsewhere(take: Take) -> Take:
        taken = workers.elsewhere(take)
        load_beside()  # not before a worker has something to read: until then all wait for this process
        return taken

    prepared = prepare(folder, elsewhere, begin_drawing, once, pages)
    prepared_is(prepared)
    if not wanted:
        known = [card.id for card in prepared.episode.cards]
        raise InputError(Fault("--only", 0, f'no card "{options.only}"; {nearest(options.only, known)}'))
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
        small = [(f"{names[card.id]}.png", drawn[card.id]["small"]) for card in episode.cards]
        sheet = workers.begin(contact_sheet, small, prepared.look, prepared.fonts)
        files["thumbnail.png"] = thumbnail(episode, prepared.look, prepared.fonts)
        brochure = {card.id: drawn[card.id]["page"] for card in wanted}
        told_now = told(prepared.table, episode.findings)
        corrected = corrections(told_now, prepared.published)
        texts, cut = outputs.texts(episode, prepared.pages, prepared.table, brochure, corrected)
        files |= texts | plan_page.texts(prepared.plan, prepared.pages)
        episode = replace(episode, left_out=(*episode.left_out, *cut))
        if options.published:
            record = tables.published_json(published(told_now, prepared.published)).encode()
    clips = incoming.path.iterdir() if incoming else ()
    files |= {f"clips/{names[clip.stem]}{clip.suffix}": clip for clip in clips}
    if not options.only:
        files["contact-sheet.png"] = workers.wait_for(sheet)
        files |= timeline_file(episode, files)
    remembered = (folder / FILE_NAME, record) if record else None
    return Ready(episode, out, files, bool(options.only), prepared, remembered)


def hand_over(ready: Ready) -> Built:
    """Move what was made into its folder."""
    removed = deliver(ready.out, ready.files, partial=ready.partial)
    if ready.record:
        write_whole(*ready.record)
    return Built(ready.episode, ready.out, tuple(sorted(ready.files)), tuple(removed))


def prepare(
    folder: Path,
    elsewhere: Callable[[Take], Take] = lambda take: take,
    begin_drawing: Callable[[Sequence[Card], Look, Fonts, EpisodeSettings], None] = lambda *told: None,
    once: Once = anew,
    pages: Pages | None = None,
) -> Prepared:
    """Files in, measured, judged, and put in order. `elsewhere`: see `gather`; `begin_drawing` is told of cards as
    soon as they are there, before the words are; `pages`: the session's templates, where they are at hand.
    """
    gathered = gather(folder, elsewhere, once)
    session, runs = gathered.session, gathered.runs
    look, fonts = chosen(session)
    price = price_line(session.price, gathered.prices, session.unit.year) if session.price and gathered.prices else None
    verdicts = judge(session, runs)
    table = spec_table(session, runs, verdicts)
    pages = pages or _pages(folder, once)
    cards = all_cards(
        gathered, verdicts, table, price, fonts, once, lambda made: begin_drawing(made, look, fonts, session.episode)
    )
    notes, uncalled = called_cards(gathered.notes, cards, runs)

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
            left_out=(*gathered.absent, *uncalled, *lacking(), *(why for run in runs for why in run.withheld)),
        ),
        pages,
        table,
        look,
        fonts,
        gathered.published,
        _plan(gathered, verdicts, pages),
    )


def plan(folder: Path) -> tuple[PlanWords, Path]:
    """What to measure, and where that was written: plan.md and plan.html in out/, where nothing else is touched."""
    gathered = gather(folder)
    pages = Pages(folder / "templates", places.templates())
    words = _plan(gathered, judge(gathered.session, gathered.runs), pages)
    deliver(folder / "out", plan_page.texts(words, pages), partial=True)
    return words, folder / "out"


def _plan(gathered: Gathered, verdicts: Sequence[Verdict], pages: Pages) -> PlanWords:
    """What to measure, in words."""
    columns = {name: kind.about for name, kind in KINDS.items()}
    mended = is_mended(gathered.repair, gathered.runs)
    made = planned(gathered.session, gathered.runs, verdicts, gathered.repair, columns, mended=mended)
    return plan_page.in_words(made, pages)


def _pages(folder: Path, once: Once) -> Pages:
    """The templates of a session: its own, and those that travel with the program."""
    own, travelling = folder / "templates", places.templates()
    return once("pages", (stamps(own), stamps(travelling)), lambda: Pages(own, travelling))


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


def _drawn(cards: Sequence[Card], pictures: Sequence[Drawn]) -> dict[str, dict[str, bytes]]:
    """Each card's pictures, by card. Raises InputError naming every card whose texts do not fit."""
    faults = [Fault("session.toml", 0, why) for why in pictures if isinstance(why, str)]
    if faults:
        raise InputError(faults)
    return {card.id: made for card, made in zip(cards, pictures, strict=True) if not isinstance(made, str)}
