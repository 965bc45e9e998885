"""The variables of the desk's page, from the session as last built and from its files as they are now."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

from reviewkit.commands.desk.build_process import BuildProcess
from reviewkit.commands.desk.inputs import Inputs
from reviewkit.commands.desk.live_session import LiveSession, picture_paths
from reviewkit.commands.desk.points import Points, find_points, reading_dial, usual_unit
from reviewkit.commands.desk.session_edits import BENCH_KEYS, bench_values, name_of
from reviewkit.commands.desk.small_pictures import file_picture, run_picture
from reviewkit.episode.alt_text import heading_of
from reviewkit.episode.card_choices import names_of_figure
from reviewkit.episode.card_times import card_times
from reviewkit.episode.episode import OPEN_CHASSIS, ORDER
from reviewkit.ingest.session.footage_time import show_time
from reviewkit.ingest.session.notes_edit import NoteLine, NotesText, read_lines
from reviewkit.ingest.session.ratings_edit import read_brochure_lines
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.ingest.session.session_paths import RATINGS
from reviewkit.model.card import Card
from reviewkit.model.errors import CannotFinish, InputError, listed
from reviewkit.model.finding import Run
from reviewkit.model.recognised import Recognised, in_words
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Session

SCREENS = ("ratings", "bench", "files", "cards")
TITLE_LENGTH = 38  # letters of a title
_MOST_NOTES = 300  # shown
_MOST_READINGS = 9  # offered for a card
_SCALES_MIN = (5, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 480, 1440)
_TICKS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 240)
_MOST_TICKS = 8
_LATE = 0.9  # of the scale: names of segments beyond are on the other side of their marks


@dataclass
class Evening:
    """The desk's knowledge besides the session's files, which ends with the desk.

    Attributes
    ----------
    done
        The steps of the test points that were confirmed or skipped.
    light
        Whether the page stays light while a clip is running.
    titles
        The titles of cards, hidden ones too, as they were seen.
    """

    done: set[str] = field(default_factory=set)
    light: bool = False
    titles: dict[str, str] = field(default_factory=dict)


def page_facts(
    session: LiveSession, inputs: Inputs, evening: Evening, building: BuildProcess, *, editing: bool
) -> dict[str, Any]:
    """Return the variables of the page.

    Parameters
    ----------
    session
        The session as last built.
    inputs
        Its files.
    evening
        What the desk knows besides them.
    building
        The build that was started last.
    editing
        Whether anything can be changed on the page.

    Returns
    -------
    dict
        The variables.
    """
    shown = session.shown
    faults: list[str] = list(session.faults)
    notes = _attempt(lambda: read_lines(inputs.text("notes.txt")), NotesText((), ()), faults)
    rows = _attempt(lambda: _repair_rows(inputs), (), faults)
    plan, runs = (shown.plan, shown.episode.runs) if shown else (None, ())
    points = find_points(plan, rows, runs, evening.done)
    cards = _cards(session, evening)
    recognised = shown.episode.recognised if shown else ()
    return {
        "editing": editing,
        "is_new": not (session.folder / "session.toml").exists(),
        "number": session.number,
        "name": shown.episode.session.unit.name if shown else session.folder.resolve().name,
        "faults": tuple(dict.fromkeys(faults)),
        "news": inputs.news,
        "undo": inputs.to_undo,
        "put_back": inputs.to_put_back,
        "bench": _bench(notes, inputs.now(), evening),
        "points": _point_facts(points),
        "stop": plan.stop if plan else (),
        "bench_values": _attempt(lambda: bench_values(inputs.text("session.toml")), {}, faults),
        "bench_examples": BENCH_KEYS,
        "plan": plan,
        "files": _files(session.folder, runs, recognised),
        "cards": cards,
        "latest": _latest(session, cards),
        "changed": session.latest,
        "brochure": list(_attempt(lambda: list(read_brochure_lines(inputs.text(RATINGS))), [], faults)),
        "rows": shown.series.table.rows if shown else (),
        "tally": _tally(session),
        "left_out": shown.episode.left_out if shown else (),
        "film": show_time(Fraction(round(sum(s.length_s for s in shown.episode.segments)))) if shown else "",
        "building": building,
        "pages": [name for name in sorted(session.versions) if re.fullmatch(r"[^/]+\.html", name)],
        "title_length": TITLE_LENGTH,
    }


def _attempt(read: Any, otherwise: Any, faults: list[str]) -> Any:
    try:
        return read()
    except InputError as error:
        faults += listed(error.faults)
    except CannotFinish as error:
        faults.append(str(error))
    return otherwise


def _repair_rows(inputs: Inputs) -> tuple[RepairRow, ...]:
    text = inputs.text("repair.csv")
    return parse_repair(text) if text.strip() else ()


# ------------------------------------------------------------------ the bench


def _bench(notes: NotesText, now: datetime, evening: Evening) -> dict[str, Any]:
    running = notes.running
    clip = running or (notes.clips[-1] if notes.clips else None)
    own = [note for note in notes.notes if clip is None or note.clip == clip.name]
    now_s = max(0, int((now - running.running).total_seconds())) if running and running.running else 0
    last_s = max((float(note.at_s) for note in own), default=0.0)
    end_s = now_s * 1.25 if running else float(clip.length_s or 0) if clip else 0.0
    minutes = next((m for m in _SCALES_MIN if m * 60 >= max(end_s, last_s, 1)), math.ceil(max(end_s, last_s) / 60))
    segment = notes.notes[-1].segment if notes.notes else ""
    segment = segment or ORDER[0]
    names = list(dict.fromkeys((*ORDER, *(note.segment for note in notes.notes if note.segment))))
    at = names.index(segment)
    numbers = [int(m[1]) for c in notes.clips if (m := re.fullmatch(r"bench-(\d{1,4})\.mp4", c.name))]
    step = next(t for t in (*_TICKS_MIN, minutes) if minutes / t <= _MOST_TICKS)
    began = running.running if running else None
    return {
        "running": running.name if running else "",
        "light": evening.light,
        "began": f"{began:%H:%M:%S}" if began else "",
        "began_ms": int(began.timestamp() * 1000) if began else 0,
        "clock": show_time(Fraction(now_s if running else int(max(end_s, last_s)))),
        "clip": clip.name if clip else "",
        "next_clip": f"bench-{max(numbers, default=0) + 1}.mp4",
        "segment": segment,
        "since": next((_shown_time(n) for n in reversed(own) if n.named == segment), "0:00"),
        "next": names[at + 1] if at + 1 < len(names) else "",
        "previous": names[at - 1] if at else "",
        "segments": names,
        "open_chassis": segment in OPEN_CHASSIS,
        "scale_s": minutes * 60,
        "now": _percent(now_s, minutes),
        "ticks": [(_percent(m * 60, minutes), m) for m in range(0, minutes + 1, step)],
        "minor": [_percent(s, minutes) for s in range(0, minutes * 60 + 1, step * 15 if step < 5 else step * 30)],
        "marks": [
            {
                "x": _percent(float(n.at_s), minutes),
                "name": n.named,
                "now": n.named == segment,
                "late": n.at_s > minutes * 60 * _LATE,
            }
            for n in own
            if n.named
        ],
        "needles": [{"x": _percent(float(n.at_s), minutes), "cut": n.cut} for n in own],
        "notes": _note_facts(list(reversed(own))[:_MOST_NOTES] if running else notes.notes[-_MOST_NOTES:]),
        "count": len(own),
        "empty": sum(not n.words and not n.cut for n in notes.notes),
    }


def _percent(seconds: float, minutes: float) -> str:
    return f"{min(100.0, 100 * seconds / (minutes * 60)):.3f}"


def _shown_time(note: NoteLine) -> str:
    return show_time(Fraction(int(note.at_s)))


def _note_facts(notes: Sequence[NoteLine]) -> list[dict[str, Any]]:
    facts: dict[str, dict[str, Any]] = {}
    for note in notes:
        key = f"{note.clip} {_shown_time(note)}"
        while key in facts:
            key += "'"
        facts[key] = {
            "key": key,
            "line": note.line,
            "time": _shown_time(note),
            "segment": note.segment,
            "named": note.named,
            "words": note.words,
            "cut": note.cut,
            "raw": note.raw,
        }
    return list(facts.values())


def _point_facts(points: Points) -> dict[str, Any]:
    step = points.now
    return {
        "now": step,
        "dial": reading_dial(step),
        "unit": (step.row.unit if step.row and step.row.unit else usual_unit(step.text)) if step else "",
        "left": len(points.steps),
        "read": points.read,
        "good": points.good,
        "last": [(row.point, row.after_text or row.found_text, word) for row, word in points.last],
    }


# ------------------------------------------------------------------ files


def _files(folder: Path, runs: Sequence[Run], recognised: Sequence[Recognised]) -> dict[str, Any]:
    known = {each.file: each for each in recognised}
    questions = [
        {
            "file": each.file,
            "what": _first_part(each.question)[0],
            "more": _first_part(each.question)[1],
            "why": each.why,
            "choices": [_choice(each, choice) for choice in each.choices],
            "picture": file_picture(folder, each.file, each.choices[0] if each.choices else each.table),
            "others": [other.file for other in recognised if other is not each and same_question(other, each)],
        }
        for number, each in enumerate(recognised)
        if each.question and not any(same_question(other, each) for other in recognised[:number])
    ]
    clear: list[dict[str, Any]] = []
    for run in runs:
        m = run.conditions.measurement
        named = known.get(m.file)
        clear.append(
            {
                "file": m.file,
                "name": m.file.rsplit("/", 1)[-1] or m.id,
                "stage": m.stage,
                "kind": m.kind.replace("-", " "),
                "why": named.why if named else "session.toml says so",
                "what": in_words(named.table) if named else "",
                "picture": run_picture(run),
                "own": named is not None,
            }
        )
    order = {"before": 0, "": 1, "bench": 1, "after": 2}
    clear.sort(key=lambda each: order[each["stage"]])
    return {
        "questions": questions,
        "used": clear,
        "count": len(clear) + sum(bool(each.question) for each in recognised),
    }


def _first_part(question: str) -> tuple[str, str]:
    """Return a question without what to write into session.toml, and that."""
    first, _, rest = question.partition("; ")
    return f"{first[:1].upper()}{first[1:]}", rest


def same_question(one: Recognised, other: Recognised) -> bool:
    """Return whether the same is asked about two files, so that one answer settles both."""
    return bool(one.question) and one.question == other.question and one.choices == other.choices


def _choice(recognised: Recognised, choice: Any) -> dict[str, str]:
    """Return an answer in words: what sets it apart, then all that it makes of the file."""
    others = [each for each in recognised.choices if each is not choice]
    apart = {key: value for key, value in choice.items() if any(each.get(key) != value for each in others)}
    return {"word": _answer_words(apart or choice), "all": _answer_words(choice)}


def _answer_words(keys: Mapping[str, Any]) -> str:
    words = {
        key: ", ".join(map(" in ".join, value.items())) if isinstance(value, Mapping) else value
        for key, value in keys.items()
    }
    said = in_words(words).replace("stage ", "").replace("units ", "")
    return f"{said[:1].upper()}{said[1:]}"


# ------------------------------------------------------------------ cards and ratings


def _cards(session: LiveSession, evening: Evening) -> list[dict[str, Any]]:
    shown = session.shown
    if shown is None:
        return []
    episode, there, times = shown.episode, picture_paths(shown), card_times(shown.episode)
    by_measurement = {run.conditions.measurement.card: run.conditions.measurement for run in episode.runs}
    cards = []
    before = ""
    for card in sorted(episode.stills, key=lambda card: times.get(card.id, (math.inf, ""))[0]):
        if there[card.id] not in session.versions:  # others follow
            continue
        at_s, segment = times.get(card.id, (None, None))
        evening.titles[name_of(card)] = heading_of(card)
        heading = segment.title if segment else ""
        cards.append(
            {
                "id": card.id,
                "name": name_of(card),
                "title": heading_of(card),
                "own_title": card.first in by_measurement and card.body.__class__.__name__ != "Number",
                "alt": card.alt,
                "readings": _readings(card, episode.runs),
                "verdict": card.verdict,
                "picture": f"{there[card.id]}?v={session.versions[there[card.id]][:16]}",
                "time": show_time(Fraction(int(at_s))) if at_s is not None else "",
                "heading": heading if heading != before else "",
                "hidden": False,
            }
        )
        before = heading or before
    hidden = _hidden(episode.session)
    for name in hidden:
        cards.append({"id": name, "name": name, "title": evening.titles.get(name, name), "hidden": True})
    return cards


def _readings(card: Card, runs: Sequence[Run]) -> list[dict[str, Any]]:
    """Return the figures that a card can have besides its own, and whether it has them."""
    own = [run for run in runs if card.hero and run.conditions.measurement.card == card.first]
    names = dict.fromkeys(names_of_figure(f)[-1] for run in own for f in run.findings)
    chosen = {name.casefold() for run in own for name in run.conditions.measurement.readings}
    known = sorted(names, key=lambda name: name.casefold() not in chosen)
    return [{"name": name, "on": name.casefold() in chosen} for name in known[:_MOST_READINGS]]


def _hidden(session: Session) -> tuple[str, ...]:
    return session.cards.hide


def _latest(session: LiveSession, cards: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the card to show: of those drawn last, the saved file's first and the summaries last."""
    if session.shown is None:
        return None
    episode = session.shown.episode
    measured = {run.conditions.measurement.card for run in episode.runs}
    first = {card.id: card.first for card in episode.stills}
    seen = [card for card in cards if not card["hidden"]]
    order = sorted(
        seen,
        key=lambda c: (
            c["id"] not in session.latest,
            first[c["id"]] not in session.awaited,
            first[c["id"]] not in measured,
        ),
    )
    return order[0] if order else None


def _tally(session: LiveSession) -> dict[str, Any]:
    rows = session.shown.series.table.rows if session.shown else ()
    order = ("falls short", "too close to call", "meets", "not comparable", "not measured")
    words = sorted((row.verdict for row in rows if row.verdict in order), key=order.index)
    judged = [word for word in words if word in order[:3]]
    return {"words": words, "met": words.count("meets"), "judged": len(judged), "all": len(rows)}
