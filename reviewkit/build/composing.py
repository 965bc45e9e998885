"""The compose stage: what was read and measured is judged, put on cards and into words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from reviewkit.build.card_groups import join_runs, put_judged_first, share_cards
from reviewkit.build.card_series import Results, Series, called_cards, make_series
from reviewkit.build.options import Options
from reviewkit.build.session_files import SessionFiles
from reviewkit.build.sounds import called_sounds, remarks_on
from reviewkit.episode.card_choices import for_film
from reviewkit.episode.chapters import split_after, title_facts
from reviewkit.episode.episode import assemble, make_chapters, segment_of_run, segments_before_repair
from reviewkit.episode.price import work_out_price
from reviewkit.measure.kinds import KINDS
from reviewkit.model.card import Card, Ending
from reviewkit.model.episode import Episode, Sentence
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Point, Run
from reviewkit.model.notes import Notes
from reviewkit.plan.plan import make_plan
from reviewkit.render.cards.colours import Look
from reviewkit.render.cards.paint import Fonts
from reviewkit.render.cards.thumbnail import remark_on_thumbnail
from reviewkit.render.cards.user_look import load_user_look
from reviewkit.render.footage.timeline import missing_library
from reviewkit.render.pages.bench_words import framing_sentences, word_sentences
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_page import describe_plan
from reviewkit.render.pages.plan_words import PlanWords
from reviewkit.verdict.changes import changes, counterpart
from reviewkit.verdict.repair_points import kinds_of_work
from reviewkit.verdict.spec_table import SpecTable, spec_table
from reviewkit.verdict.verdict import judge


@dataclass(frozen=True, eq=False)
class CardSeries:
    """The cards, and what they share with the texts. `look`: the episode's, with what the user changed."""

    results: Results
    series: Series
    look: Look
    fonts: Fonts

    @property
    def cards(self) -> tuple[Card, ...]:
        """Return every card in the episode's order."""
        return self.series.cards

    @property
    def table(self) -> SpecTable:
        """Return what is rated beside what was measured."""
        return self.results.table


@dataclass(frozen=True, eq=False)
class Composed:
    """The content from which all outputs are written."""

    episode: Episode
    pages: Pages
    series: CardSeries
    plan: PlanWords

    @property
    def files(self) -> SessionFiles:
        """Return the session as read."""
        return self.series.results.files


def compose(files: SessionFiles, measured: Sequence[Run], options: Options, pages: Pages) -> Composed:
    """Return everything up to the drawing.

    Raises
    ------
    InputError
        As `compose_cards` and `compose_episode` do.
    """
    return compose_episode(compose_cards(judge_results(files, measured), options, pages), pages)


def judge_results(files: SessionFiles, measured: Sequence[Run]) -> Results:
    """Return what was measured with its verdicts: runs of one card together, the judged one first."""
    session, runs = files.session, share_cards(measured)
    verdicts = judge(session, runs)
    runs = put_judged_first(runs, verdicts)
    price = work_out_price(session.price, files.prices, session.unit.year) if session.price and files.prices else None
    return Results(files, runs, verdicts, changes(runs), spec_table(session, runs, verdicts), price)


def compose_cards(results: Results, options: Options, pages: Pages) -> CardSeries:
    """Return the cards.

    Raises
    ------
    InputError
        For a wrong name in [cards] or in `readings`, and for the user's own fonts and colours.
    """
    session = results.files.session
    look, fonts = load_user_look(session)
    return CardSeries(results, make_series(results, fonts, options.shapes_of(session.episode), pages), look, fonts)


def compose_episode(series: CardSeries, pages: Pages) -> Composed:
    """Return the episode: what was read and measured, in segments and words.

    Raises
    ------
    InputError
        For a note that calls for a card or sound that isn't there.
    """
    results, cards = series.results, series.cards
    files, runs, repaired = results.files, results.runs, results.repaired
    session = files.session
    sounds = tuple(replace(each, words=pages.sound_words(each)) for each in files.sounds)
    early = segments_before_repair(files.notes) if repaired else ()
    try:
        notes, uncalled = called_cards(called_sounds(files.notes, files.sounds), series.series, early)
    except InputError as error:  # the card that is missing may be that of a file that was left out
        left = (Fault(each.file, 0, f"is left out: {each.question}") for each in files.recognised if each.question)
        raise InputError((*error.faults, *left)) from None
    notes = split_after(notes, cards)
    titles = pages.chapter_titles(title_facts(session, cards, repaired=repaired)) | dict(notes.titles)
    cautions = pages.cautions(repaired=repaired, gear=session.unit.gear, work=kinds_of_work(files.repair))
    said = _sentences(series, pages)
    segments = assemble(session, notes, said, for_film(cards), cautions, repaired, titles, sounds)
    episode = Episode(
        session=session,
        runs=tuple(runs),
        verdicts=tuple(results.verdicts),
        cards=cards,
        segments=segments,
        page_segments=assemble(session, _for_readers(notes), said, cards, cautions, repaired, titles),
        chapters=make_chapters(segments, files.final, titles),
        chapters_final=bool(files.final),
        repair=files.repair,
        changes=tuple(results.changes),
        price=results.price,
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
    return Composed(episode, pages, series, word_plan(results, pages))


def _for_readers(notes: Notes) -> Notes:
    """Return notes with the words for readers. They call for no sound: the page has them all in one place."""
    return replace(notes, notes=tuple(replace(note, text=note.read_text, sounds=()) for note in notes.notes))


def word_plan(results: Results, pages: Pages) -> PlanWords:
    """Return what to measure, in words."""
    files, columns = results.files, {name: kind.about for name, kind in KINDS.items()}
    planned = make_plan(files.session, results.runs, results.verdicts, files.repair, columns, repaired=results.repaired)
    return describe_plan(planned, pages, files.planned)


def _sentences(series: CardSeries, pages: Pages) -> dict[str, list[Sentence]]:
    """Return what the bench has to say, by segment."""
    results, files = series.results, series.results.files
    unchecked = next((card.body.unchecked for card in series.cards if isinstance(card.body, Ending)), ())
    printed = len(files.session.printed)
    said = framing_sentences(pages, files.repair, results.verdicts, results.price, printed, unchecked)
    joined = join_runs(results.runs)
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
