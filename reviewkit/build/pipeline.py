"""The whole run as plain calls in order: read, measure, judge, compose, draw, write. Start reading here."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from reviewkit.build.cache import NO_CACHE, Cache
from reviewkit.build.card_groups import join_runs, put_judged_first, share_cards
from reviewkit.build.card_series import Results, Series, called_cards, make_series
from reviewkit.build.drawing import Pictures, begin_drawing, draw_picture, finish_drawing
from reviewkit.build.measuring import measure
from reviewkit.build.options import Options
from reviewkit.build.page_outputs import begin_type, draw_page_pictures
from reviewkit.build.pool import ALONE, FOR_ONE_SESSION, Pool
from reviewkit.build.session_files import SessionFiles, read
from reviewkit.build.sound_outputs import Compressing, begin_compressing, draw_sound_clips, finish_compressing
from reviewkit.build.sounds import called_sounds, remarks_on
from reviewkit.episode.card_choices import for_film
from reviewkit.episode.chapters import split_after, title_facts
from reviewkit.episode.episode import assemble, make_chapters, segment_of_run, segments_before_repair
from reviewkit.episode.price import work_out_price
from reviewkit.episode.published import collect_figures, find_corrections, record_published
from reviewkit.measure.kinds import KINDS
from reviewkit.model import places
from reviewkit.model.card import Card
from reviewkit.model.card_files import KINDS as KINDS_OF_FILES
from reviewkit.model.card_files import card_path, file_stems, stills
from reviewkit.model.episode import Episode, Sentence
from reviewkit.model.errors import Fault, InputError, nearest
from reviewkit.model.finding import Point, Run
from reviewkit.model.notes import Notes
from reviewkit.model.prices import PriceLine
from reviewkit.model.session import Session
from reviewkit.model.verdict import Verdict
from reviewkit.plan.plan import make_plan as plan_of
from reviewkit.render.cards.colours import LOOKS, Look
from reviewkit.render.cards.contact_sheet import draw_contact_sheet
from reviewkit.render.cards.paint import Fonts
from reviewkit.render.cards.pictures import Order
from reviewkit.render.cards.thumbnail import choose_thumbnails, draw_thumbnail, remark_on_thumbnail
from reviewkit.render.cards.user_look import load_user_look
from reviewkit.render.footage.clip import Motion
from reviewkit.render.footage.ffmpeg import Encoder
from reviewkit.render.footage.sound_files import write_sounds
from reviewkit.render.footage.timeline import missing_library, timeline_files
from reviewkit.render.pages import plan_page, tables, text_outputs
from reviewkit.render.pages.bench_words import framing_sentences, word_sentences
from reviewkit.render.pages.episode_page import render_episode_page
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_words import PlanWords
from reviewkit.verdict.changes import changes, counterpart, is_repaired
from reviewkit.verdict.spec_table import SpecTable, spec_table
from reviewkit.verdict.verdict import judge

Progress = Callable[[int, int], None]  # called with how many cards are drawn, of how many


@dataclass(frozen=True, eq=False)
class CardSeries:
    """The cards, and what they share with the texts. `look`: the episode's, with what the user changed."""

    series: Series
    table: SpecTable
    price: PriceLine | None
    look: Look
    fonts: Fonts

    @property
    def cards(self) -> tuple[Card, ...]:
        """Return every card in the episode's order."""
        return self.series.cards


@dataclass(frozen=True, eq=False)
class Composed:
    """The content from which all outputs are written."""

    files: SessionFiles
    episode: Episode
    pages: Pages
    series: CardSeries
    plan: PlanWords


@dataclass(frozen=True)
class Clips:
    """The settings for making clips. `folder`: where they are put; `drawn_before`: see `drawing.draw`."""

    encoder: Encoder
    folder: Path
    drawn_before: Mapping[str, Path] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Outputs:
    """The outputs of a build. `files`: by their path in the output folder; clips are files already. `published`: the
    new content of published.json if the figures are those that viewers are given.
    """

    composed: Composed
    files: Mapping[str, bytes | Path]
    summary: tuple[str, ...]
    published: bytes | None = None


def run(
    folder: Path,
    options: Options,
    pool: Pool = ALONE,
    cache: Cache = NO_CACHE,
    clips: Clips | None = None,
    progress: Progress = lambda done, of: None,
) -> Outputs:
    """Return everything that a build of a session makes. `clips`: how these are made, if they are wanted.

    Raises
    ------
    InputError
        With everything that is wrong in the session.
    CannotFinish
        If the run can't be completed.
    """
    files, measured = measure(read(folder, pool, cache, in_studio=options.studio), pool, cache)
    runs = share_cards(measured)
    verdicts = judge(files.session, runs)
    runs = put_judged_first(runs, verdicts)
    pool.load(FOR_ONE_SESSION, start=False)
    reducing = None if options.only else begin_type(pool, cache)
    pages = _pages(folder, cache)
    series = _compose_cards(files, runs, verdicts, options, pages)
    cards = [s for card in series.cards for s in stills((card,)) if options.only in ("", card.id, s.id)]
    if options.only and not cards:
        known = [still.id for still in stills(series.cards)]
        raise InputError(Fault("--only", 0, f'no card "{options.only}"; {nearest(options.only, known)}'))
    order = _order(files.session, series, options, clips, page_png=pages.has_own("episode.html"))
    before = clips.drawn_before if clips else {}
    compressing = begin_compressing(() if options.only else files.sounds, pool, cache)
    drawing = begin_drawing(cards, order, files.type_digests, before, pool, cache)
    composed = _compose_episode(files, runs, verdicts, series, pages)
    if reducing is None:
        drawn = finish_drawing(drawing, cache, progress)
        return Outputs(composed, _card_files(series.cards, drawn), text_outputs.summarise(composed.episode))
    figures = collect_figures(series.table, composed.episode.findings)
    corrected = find_corrections(figures, files.published)
    texts = text_outputs.render_texts(composed.episode, composed.pages, series.table, corrected)
    plan_texts = plan_page.render_plan(composed.plan, composed.pages)
    first = {**_thumbnails(composed, cache), **texts.files, **plan_texts, **write_sounds(composed.episode.sounds)}
    drawn = finish_drawing(drawing, cache, progress)
    sounds = finish_compressing(compressing, cache)
    everything = _with_pictures(composed, drawn, first, texts.table, order, sounds, reducing, cache)
    everything |= draw_sound_clips(composed.episode, order, files.type_digests, before, cache)
    episode = replace(composed.episode, left_out=(*composed.episode.left_out, *texts.shortened))
    published = (
        tables.format_published_json(record_published(figures, files.published)).encode() if options.published else None
    )
    return Outputs(composed, everything, text_outputs.summarise(episode), published)


def prepare(folder: Path, cache: Cache = NO_CACHE, options: Options | None = None) -> Composed:
    """Return everything up to the drawing.

    Raises
    ------
    InputError
        With all that is wrong in the session.
    """
    options = options or Options()
    files, measured = measure(read(folder, ALONE, cache, in_studio=options.studio), ALONE, cache)
    runs = share_cards(measured)
    verdicts = judge(files.session, runs)
    runs = put_judged_first(runs, verdicts)
    pages = _pages(folder, cache)
    series = _compose_cards(files, runs, verdicts, options, pages)
    return _compose_episode(files, runs, verdicts, series, pages)


def check(folder: Path, cache: Cache = NO_CACHE, options: Options | None = None) -> Episode:
    """Return the episode as far as the drawing; what is missing is in `left_out`.

    Raises
    ------
    InputError
        As `prepare` does.
    """
    return prepare(folder, cache, options).episode


def plan(
    folder: Path, cache: Cache = NO_CACHE, *, in_studio: bool = True
) -> tuple[PlanWords, dict[str, bytes], tuple[Path, ...]]:
    """Return what to measure, in words and as files; and which files were read for it.

    Raises
    ------
    InputError
        With all that is wrong in the files it reads.
    """
    files, measured = measure(read(folder, ALONE, cache, for_plan=True, in_studio=in_studio), ALONE, cache)
    runs = share_cards(measured)
    pages = _pages(folder, cache)
    words = _plan(files, runs, judge(files.session, runs), pages)
    return words, plan_page.render_plan(words, pages), tuple(folder / name for name in files.digests)


def _compose_cards(
    files: SessionFiles, runs: Sequence[Run], verdicts: tuple[Verdict, ...], options: Options, pages: Pages
) -> CardSeries:
    """Put what was read and measured on cards."""
    session = files.session
    look, fonts = load_user_look(session)
    price = work_out_price(session.price, files.prices, session.unit.year) if session.price and files.prices else None
    table = spec_table(session, runs, verdicts)
    results = Results(files, runs, verdicts, changes(runs), table, price)
    return CardSeries(make_series(results, fonts, options.shapes_of(session.episode), pages), table, price, look, fonts)


def _compose_episode(
    files: SessionFiles, runs: Sequence[Run], verdicts: tuple[Verdict, ...], series: CardSeries, pages: Pages
) -> Composed:
    """Put what was read and measured into segments and words."""
    session, cards = files.session, series.cards
    sounds = tuple(replace(each, words=pages.sound_words(each)) for each in files.sounds)
    repaired = is_repaired(files.repair, runs)
    early = segments_before_repair(files.notes) if repaired else ()
    try:
        notes, uncalled = called_cards(called_sounds(files.notes, files.sounds), series.series, early)
    except InputError as error:  # the card that is missing may be that of a file that was left out
        left = (Fault(each.file, 0, f"is left out: {each.question}") for each in files.recognised if each.question)
        raise InputError((*error.faults, *left)) from None
    notes = split_after(notes, cards)
    titles = pages.chapter_titles(title_facts(session, cards, repaired=repaired)) | dict(notes.titles)
    cautions = pages.cautions(repaired=repaired, gear=session.unit.gear)
    said = _sentences(pages, files, runs, verdicts, series)
    segments = assemble(session, notes, said, for_film(cards), cautions, repaired, titles, sounds)
    episode = Episode(
        session=session,
        runs=tuple(runs),
        verdicts=verdicts,
        cards=cards,
        segments=segments,
        page_segments=assemble(session, _for_readers(notes), said, cards, cautions, repaired, titles),
        chapters=make_chapters(segments, files.final, titles),
        chapters_final=bool(files.final),
        repair=files.repair,
        changes=changes(runs),
        price=series.price,
        cautions=tuple(cautions.get("all", ())),
        notes=notes,
        sounds=sounds,
        recognised=files.recognised,
        left_out=(
            *files.left_out,
            *series.series.remarks,
            *uncalled,
            *missing_library(),
            *remarks_on(sounds),
            *remark_on_thumbnail(session, cards, files.photo),
            *(why for run in runs for why in run.withheld),
        ),
    )
    return Composed(files, episode, pages, series, _plan(files, runs, verdicts, pages))


def _for_readers(notes: Notes) -> Notes:
    """Return notes with the words for readers. They call for no sound: the page has them all in one place."""
    return replace(notes, notes=tuple(replace(note, text=note.read_text, sounds=()) for note in notes.notes))


def _order(session: Session, series: CardSeries, options: Options, clips: Clips | None, *, page_png: bool) -> Order:
    """Return which pictures of each card are wanted."""
    whole, settings = not options.only, session.episode
    return Order(
        series.look,
        options.width,
        LOOKS["brochure"] if whole else None,
        whole and page_png,
        whole,
        series.fonts,
        options.overlay,
        strip=True,
        motion=Motion(settings.frame_rate, settings.card_seconds, clips.encoder, clips.folder) if clips else None,
        shapes=options.shapes_of(settings),
    )


def _thumbnails(composed: Composed, cache: Cache) -> dict[str, bytes]:
    """Return the thumbnails to choose from, by file name."""
    series, files = composed.series, composed.files
    drawn = {}
    for name, what in choose_thumbnails(composed.episode, files.photo, files.mark).items():
        asked = (what, series.look, series.fonts)
        drawn[name] = draw_picture(cache, (asked, files.type_digests), draw_thumbnail, asked)
    return drawn


def _with_pictures(
    composed: Composed,
    drawn: Mapping[str, Pictures],
    first: Mapping[str, bytes],
    table: str,
    order: Order,
    sounds: Mapping[str, bytes],
    reducing: Compressing,
    cache: Cache,
) -> dict[str, bytes | Path]:
    """Return every output by its path: `first`, those that need no card; the cards' pictures; what is made of both.
    `table`: the spec table as HTML; `sounds`: the compressed ones; `reducing`: the page's type.
    """
    episode, series, type_digests = composed.episode, composed.series, composed.files.type_digests
    files = _card_files(episode.cards, drawn) | dict(first)
    thumbnails = {card: small for card, each in drawn.items() if isinstance(small := each.get("prompter"), bytes)}
    files["prompter.html"] = text_outputs.render_prompter(episode, composed.pages, thumbnails)
    named = [(f"{stem}.png", drawn[card]["small"]) for card, stem in file_stems(episode.cards).items()]
    sheet = (named, series.look, series.fonts, order.shapes[0])
    files["contact-sheet.png"] = draw_picture(cache, (sheet, type_digests), draw_contact_sheet, sheet)
    pictures = draw_page_pictures(episode, drawn, composed.files.photo, series.fonts, type_digests, cache)
    type_files = finish_compressing(reducing, cache)  # last, since the other processes may still be reducing it
    files["episode.html"] = render_episode_page(
        episode, composed.pages, series.table, table, pictures, sounds, type_files
    )
    return files | timeline_files(episode, files)


def _card_files(cards: Sequence[Card], drawn: Mapping[str, Pictures]) -> dict[str, bytes | Path]:
    """Return the pictures of cards by their path in the output folder."""
    return {
        card_path(kind, stem): content
        for card, stem in file_stems(cards).items()
        for kind, content in drawn.get(card, {}).items()
        if kind in KINDS_OF_FILES
    }


def _plan(files: SessionFiles, runs: Sequence[Run], verdicts: Sequence[Verdict], pages: Pages) -> PlanWords:
    """Return what to measure, in words."""
    columns = {name: kind.about for name, kind in KINDS.items()}
    repaired = is_repaired(files.repair, runs)
    return plan_page.describe_plan(
        plan_of(files.session, runs, verdicts, files.repair, columns, repaired=repaired), pages, files.planned
    )


def _pages(folder: Path, cache: Cache) -> Pages:
    """Return the templates of a session: its own, and those that come with the program."""
    return Pages(folder / "templates", places.templates(), cache.template_folder())


def _sentences(
    pages: Pages, files: SessionFiles, runs: Sequence[Run], verdicts: Sequence[Verdict], series: CardSeries
) -> dict[str, list[Sentence]]:
    """Return what the bench has to say, by segment."""
    said = framing_sentences(pages, files.repair, verdicts, series.price, len(files.session.printed))
    joined = join_runs(runs)
    # comparisons with before the repair go with the pair, the rest with the card that judges
    judging = {card.first: card.id for card in series.cards if card.id == f"{card.first}-rated"}
    points: dict[tuple[str, str, str], list[Point]] = {}
    loads: dict[str, set[float | None]] = {}
    for each in joined:
        m = each.conditions.measurement
        loads.setdefault(m.card, set()).add(m.load_ohm)
        for point in KINDS[m.kind].points(each, counterpart(each, joined)) if m.stage != "bench" else ():
            compared = m.stage == "before" or any(
                value and name.rpartition("_")[2] == "before" for name, value in point.facts.items()
            )
            card = m.card if compared else judging.get(m.card, m.card)
            points.setdefault((segment_of_run(each), card, m.kind), []).append(point)
    for (segment, card, kind), of_card in points.items():
        for point in KINDS[kind].joined(of_card):
            differ = any(len(of) > 1 for name, of in loads.items() if card in (name, judging.get(name)))
            said.setdefault(segment, []).extend(word_sentences(pages.sentences(point, loads_differ=differ), card))
    return said
