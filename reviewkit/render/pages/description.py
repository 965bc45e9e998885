"""The texts under the video: the description, the comment to pin; and the planned chapters, a draft of final.txt."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from reviewkit.episode.episode import OPEN_CHASSIS, find_chapters_fault
from reviewkit.episode.published import Correction
from reviewkit.episode.story import find_story
from reviewkit.model import quantities
from reviewkit.model.episode import Episode
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.repair import RepairRow
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.changes import is_repaired
from reviewkit.verdict.repair_points import OK, is_before_repair, kinds_of_work, point_verdict, was_worked_on
from reviewkit.verdict.spec_table import SpecTable, TableRow
from reviewkit.verdict.verdict import CLOSE, MEETS, SHORT, UNMEASURED

LONGEST_DESCRIPTION = 5000
LONGEST_COMMENT = 10_000  # what video platforms take in a comment (common practice, no source)
MOST_RESULTS = 5
MOST_CORRECTIONS = 12  # named in a comment; the page has all figures
CHAPTERS_PLANNED = "chapters-planned.txt"
_POWERS = ("power", "power_at_limit", "power_reached")
_CUTS = (
    "",
    "the equipment",
    "the equipment and the repair",
    "the equipment, the repair and the small print",
    "the equipment, the repair, the small print and the results",
)


def render_headline(episode: Episode, pages: Pages, *, with_ratings: bool = True) -> str:
    """Render the story in one line that makes sense alone in a search result; `with_ratings`: and how they came out."""
    unit, story = episode.session.unit, find_story(episode)
    change = story.change
    return " ".join(
        pages.text(
            "words/story.j2",
            name="headline",
            unit=unit.name,
            year=unit.year,
            repaired=story.repaired,
            measured=bool(episode.findings),
            telling=_find_telling(episode.verdicts),
            compared=any(v.verdict != UNMEASURED for v in episode.verdicts),
            subject=story.subject,
            before=quantities.show(change.before) if change else "",
            after=quantities.show(change.after) if change else "",
            channels=story.channels,
            ratings=story.ratings,
            judged=story.judged if with_ratings else 0,
            met=story.met,
            missed=story.missed,
            undecided=story.undecided,
        ).split()
    )


def _find_telling(verdicts: Sequence[Verdict]) -> Verdict | None:
    """Return the verdict that says most of a unit on which nothing was repaired: the worst miss, its power, the
    narrowest pass.
    """
    judged = sorted((v for v in verdicts if v.verdict in (SHORT, MEETS)), key=lambda v: v.position or 0.0)
    missed = [v for v in judged if v.verdict == SHORT]
    power = [v for v in judged if v.rating.quantity == "power"]
    return next(iter((*missed, *power, *judged)), None)


def description_facts(episode: Episode, table: SpecTable, pages: Pages) -> dict[str, Any]:
    """Return the variables of the description's template."""
    return {
        "headline": render_headline(episode, pages),
        "page": episode.session.episode.page,
        "results": select_results(table),
        "repair": [_repair_facts(row) for row in episode.repair if _belongs(row)],
        "price": episode.price.line if episode.price else "",
        "rows": [row for row in table.rows if not row.only_printed],
        "foot": as_sentences(table.foot),
        "chapters": episode.chapters if episode.chapters_final and not chapters_left_out(episode) else (),
        "final": episode.chapters_final,
        "equipment": episode.session.bench.equipment,
        "cautions": all_cautions(episode, pages),
    }


def select_results(table: SpecTable) -> list[TableRow]:
    """Return the rows that matter most: what it misses, what is undecided, its power."""
    missed, undecided = _with_verdict(table, SHORT), _with_verdict(table, CLOSE)
    power = [row for row in table.rows if row.quantity in _POWERS and row.verdict not in (SHORT, CLOSE, UNMEASURED)]
    return [*missed, *undecided, *power][:MOST_RESULTS]


def _with_verdict(table: SpecTable, verdict: str) -> list[TableRow]:
    return [row for row in table.rows if row.verdict == verdict]


def _belongs(row: RepairRow) -> bool:
    """Return whether a row says what was wrong, or what was done."""
    return was_worked_on(row) or point_verdict(row) not in ("", OK)


def _repair_facts(row: RepairRow) -> dict[str, Any]:
    verdict = point_verdict(row)
    return vars(row) | {
        "wrong": "" if verdict == OK else verdict,
        "done": row.action if was_worked_on(row) else "",
        "before": is_before_repair(row),
    }


def render_description(pages: Pages, facts: Mapping[str, Any]) -> tuple[str, str]:
    """Render the description, cut to at most 5,000 bytes, so that it has no more characters either.

    Parts are cut in this order: equipment, repair, small print, results. Story, page, chapters and cautions stay.

    Parameters
    ----------
    pages : Pages
        The templates.
    facts : mapping
        Variables of the template.

    Returns
    -------
    tuple of str
        The text, and what was cut ("" if nothing).

    Raises
    ------
    InputError
        If it is too long even without its results.
    """
    for level, cut in enumerate(_CUTS):
        text = _render(pages, "description.txt.j2", {**facts, "cut": level})
        if len(text.encode()) <= LONGEST_DESCRIPTION:
            return text, cut
    message = (
        f"the description is longer than {LONGEST_DESCRIPTION} bytes even without its results; "
        "shorten the names in [unit], or the session's own template"
    )
    raise InputError(Fault("session.toml", 0, message))


def render_comment(episode: Episode, table: SpecTable, corrections: Sequence[Correction], pages: Pages) -> str:
    """Render the comment to pin: the result, what it misses, what is undecided, corrections, a question.

    Raises
    ------
    InputError
        If it is too long, or a template is at fault.
    """
    facts = {
        "name": episode.session.unit.name,
        "headline": render_headline(episode, pages),
        "missed": _with_verdict(table, SHORT),
        "undecided": _with_verdict(table, CLOSE),
        "nearest": _nearest(episode, table),
        "corrections": corrections,
        "most_results": MOST_RESULTS,
        "most": MOST_CORRECTIONS,
        "rows": [row for row in table.rows if not row.only_printed],
        "foot": as_sentences(table.foot),
        "cut": 0,
    }
    text = _render(pages, "comment.txt.j2", facts)
    if len(text) > LONGEST_COMMENT:
        message = f"the comment to pin is longer than {LONGEST_COMMENT} characters; shorten the session's own template"
        raise InputError(Fault("session.toml", 0, message))
    return text


def _nearest(episode: Episode, table: SpecTable) -> TableRow | None:
    """Return the row of the rating that was met by the least, or else of the first figure."""
    rooms = {id(row): v.room for row, v in zip(table.rows, episode.verdicts, strict=False) if v.verdict == MEETS}
    met = [row for row in table.rows if rooms.get(id(row)) is not None]
    with_figure = [row for row in table.rows if not row.verdict and not row.promised]
    return min(met, key=lambda row: rooms[id(row)] or 0.0, default=next(iter(with_figure), None))


def render_planned_chapters(episode: Episode, pages: Pages) -> str:
    """Render the planned chapters as a draft of final.txt."""
    return pages.text(f"{CHAPTERS_PLANNED}.j2", segments=episode.segments)


def chapters_left_out(episode: Episode) -> str:
    """Return why a description can't have these chapters; "" if it can."""
    final = episode.chapters_final
    end_s = end_of_chapters(episode)
    why = find_chapters_fault(episode.chapters, end_s)
    where = "description.txt: chapters left out" if final else f"{CHAPTERS_PLANNED}: no description could have them"
    return f"{where}, {why}" if why else ""


def end_of_chapters(episode: Episode) -> float:
    """Return the end of the last chapter: the plan's end, or its start in the final cut plus its planned length."""
    if not episode.chapters_final:
        return sum(segment.length_s for segment in episode.segments)
    lengths_s = {segment.name: segment.length_s for segment in episode.segments}
    last = episode.chapters[-1]
    return last.start_s + lengths_s.get(last.segment, 10.0)


def all_cautions(episode: Episode, pages: Pages) -> list[str]:
    """Return every caution that this session calls for, the general ones first."""
    repaired, gear = is_repaired(episode.repair, episode.runs), episode.session.unit.gear
    by_topic = pages.cautions(repaired=repaired, gear=gear, work=kinds_of_work(episode.repair))
    names = {segment.name for segment in episode.segments}
    topics = ["all"]
    if episode.repair or names & set(OPEN_CHASSIS):
        topics.append("open")
    if is_repaired(episode.repair, episode.runs) or names & {"fault", "repair"}:
        topics.append("repair")
    if episode.findings:
        topics.append("power")
    if episode.sounds:
        topics.append("sound")
    return [caution for topic in topics for caution in by_topic.get(topic, ())]


def as_sentences(lines: Sequence[str]) -> str:
    """Return lines of small print as sentences."""
    return " ".join(f"{line[0].upper()}{line[1:]}." for line in lines)


def _render(pages: Pages, template: str, facts: Mapping[str, Any]) -> str:
    return re.sub(r"\n{3,}", "\n\n", pages.text(template, **facts)).strip() + "\n"
