"""The bench on the page: the clip, its notes, the test points."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import datetime
from fractions import Fraction
from typing import Any

from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.points import Points, reading_dial, usual_unit
from reviewkit.episode.episode import OPEN_CHASSIS, ORDER
from reviewkit.ingest.session.footage_time import show_time
from reviewkit.ingest.session.notes_edit import NoteLine, NotesText

_MOST_NOTES = 300  # shown
_SCALES_MIN = (5, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 480, 1440)
_TICKS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 240)
_MOST_TICKS = 8
_LATE = 0.9  # of the scale: names of segments beyond are on the other side of their marks


def bench_facts(notes: NotesText, now: datetime, state: DeskState) -> dict[str, Any]:
    """Return the clip that is running, or the last one: its clock, its dial, its notes."""
    running = notes.running
    clip = running or (notes.clips[-1] if notes.clips else None)
    own = [note for note in notes.notes if clip is None or note.clip == clip.name]
    now_s = max(0, int((now - running.running).total_seconds())) if running and running.running else 0
    last_s = max((float(note.at_s) for note in own), default=0.0)
    end_s = now_s * 1.25 if running else float(clip.length_s or 0) if clip else 0.0
    minutes = next((m for m in _SCALES_MIN if m * 60 >= max(end_s, last_s, 1)), math.ceil(max(end_s, last_s) / 60))
    segment = (notes.notes[-1].segment if notes.notes else "") or ORDER[0]
    names = list(dict.fromkeys((*ORDER, *(note.segment for note in notes.notes if note.segment))))
    at = names.index(segment)
    numbers = [int(m[1]) for c in notes.clips if (m := re.fullmatch(r"bench-(\d{1,4})\.mp4", c.name))]
    step = next(t for t in (*_TICKS_MIN, minutes) if minutes / t <= _MOST_TICKS)
    began = running.running if running else None
    return {
        "running": running.name if running else "",
        "light": state.light,
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
        facts[key] = {**vars(note), "key": key, "time": _shown_time(note)}
    return list(facts.values())


def point_facts(points: Points) -> dict[str, Any]:
    """Return the test point that is next, and those read last."""
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
