"""The whole journey, as plain calls in order: files in, measured, judged, put into an episode, rendered, delivered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from reviewkit import places
from reviewkit.bench_file import Gathered, gather
from reviewkit.bench_runs import Take
from reviewkit.card_series import all_cards, called_cards
from reviewkit.changes import changes, counterpart, is_mended
from reviewkit.episode import assemble, chapters_of, segment_of_card, segment_of_run
from reviewkit.measure import KINDS
from reviewkit.model import Card, Episode, PriceLine, Run, Said, Verdict
from reviewkit.options import Options
from reviewkit.plan.plan import plan as planned
from reviewkit.price import price_line
from reviewkit.published import Published
from reviewkit.remembered import NOTHING, Holding, Once, anew
from reviewkit.render import outputs, plan_page
from reviewkit.render.chosen_look import chosen
from reviewkit.render.deliver import deliver
from reviewkit.render.look import Look
from reviewkit.render.page import Pages
from reviewkit.render.paint import Fonts
from reviewkit.render.plan_lines import PlanWords
from reviewkit.render.timeline import lacking
from reviewkit.spec_table import SpecTable, spec_table
from reviewkit.stamps import stamps
from reviewkit.verdict import judge

# told of cards that can be drawn, and what else that takes
BeginDrawing = Callable[[Sequence[Card], Look, Fonts, Gathered], None]


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
    gathered: Gathered


def check(folder: Path) -> Episode:
    """Everything up to the drawing. Raises InputError with all that is wrong; what is missing is in `left_out`."""
    return prepare(folder).episode


def prepare(
    folder: Path,
    elsewhere: Callable[[Take], Take] = lambda take: take,
    begin_drawing: BeginDrawing = lambda *told: None,
    once: Once = anew,
    pages: Pages | None = None,
    kept: Holding = NOTHING,
) -> Prepared:
    """Files in, measured, judged, and put in order. `elsewhere`: see `gather`; `begin_drawing` is told of cards as
    soon as they are there, before the words are; `pages`: the session's templates, where they are at hand; `kept`: what
    an earlier build left.
    """
    gathered = gather(folder, elsewhere, once, kept)
    session, runs = gathered.session, gathered.runs
    look, fonts = chosen(session)
    price = price_line(session.price, gathered.prices, session.unit.year) if session.price and gathered.prices else None
    verdicts = judge(session, runs)
    table = spec_table(session, runs, verdicts)
    pages = pages or session_pages(folder, once)
    cards = all_cards(
        gathered, verdicts, table, price, fonts, kept.once, lambda made: begin_drawing(made, look, fonts, gathered)
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
        gathered,
    )


def plan(folder: Path, *, adopt: bool = False) -> tuple[PlanWords, Path]:
    """What to measure, and where that was written: plan.md and plan.html in out/, where nothing else is touched.
    `adopt`: replace files of these names that no build made.
    """
    gathered = gather(folder, for_plan=True)
    pages = Pages(folder / "templates", places.templates())
    words = _plan(gathered, judge(gathered.session, gathered.runs), pages)
    out = Options().out_of(folder)
    read = [folder / name for name in gathered.inputs]
    deliver(out, plan_page.texts(words, pages), partial=True, inputs=read, adopt=adopt)
    return words, out


def _plan(gathered: Gathered, verdicts: Sequence[Verdict], pages: Pages) -> PlanWords:
    """What to measure, in words."""
    columns = {name: kind.about for name, kind in KINDS.items()}
    mended = is_mended(gathered.repair, gathered.runs)
    made = planned(gathered.session, gathered.runs, verdicts, gathered.repair, columns, mended=mended)
    return plan_page.in_words(made, pages)


def session_pages(folder: Path, once: Once) -> Pages:
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
