"""The actions of the bench: clips, notes and test points."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.fields import LONGEST_PASTE, Action, text_of
from reviewkit.commands.desk.inputs import Conflict, Inputs
from reviewkit.ingest.session import notes_edit, repair_edit
from reviewkit.ingest.session.footage_time import show_time
from reviewkit.ingest.session.notes_edit import read_lines
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.model.errors import refusal


class BenchActions:
    """The actions at the bench, in an evening."""

    def __init__(self, inputs: Inputs, state: DeskState) -> None:
        self.inputs, self.state = inputs, state

    def by_name(self) -> dict[str, Action]:
        """Return the actions by their names."""
        return {
            "start-clip": self._start_clip,
            "end-clip": self._end_clip,
            "stamp": self._stamp,
            "bad-take": self._bad_take,
            "note": self._note,
            "light": self._light,
            "step-done": self._step_done,
            "tick": self._tick,
            "reading": self._reading,
        }

    # -------------------------------------------------------------- notes

    def _start_clip(self, words: dict[str, Any]) -> None:
        name = text_of(words, "name")
        self._change_notes("clip", f"{name} begun", lambda text: notes_edit.start_clip(text, name, self.inputs.now()))
        self.state.light = False

    def _end_clip(self, words: dict[str, Any]) -> None:
        self._change_notes("end of clip", "Clip ended", lambda text: notes_edit.end_clip(text, self.inputs.now()))

    def _stamp(self, words: dict[str, Any]) -> dict[str, Any]:
        at, segment, said = self._moment(words), text_of(words, "segment"), text_of(words, "words")
        cut = words.get("cut") is True
        self._change_notes("note", "Note written", lambda text: notes_edit.add_note(text, at, segment, said, cut=cut))
        return {"heard": f"{at:%H:%M:%S}, {segment}"}

    def _bad_take(self, words: dict[str, Any]) -> None:
        """Mark the last note of the running clip as a bad take, or unmark it."""
        read = read_lines(self.inputs.text("notes.txt"))
        own = [note for note in read.notes if read.running and note.clip == read.running.name]
        if not own:
            raise refusal("notes.txt", "there is no note in this clip yet; stamp one first")
        note = own[-1]
        time = show_time(note.at_s)
        self._change_notes(
            "bad take",
            "Bad take unmarked" if note.cut else "Bad take marked",
            lambda text: notes_edit.change_note(text, note.line, time, note.segment, note.words, cut=not note.cut),
        )

    def _note(self, words: dict[str, Any]) -> None:
        """Write a note again, if it is still as the page showed it."""
        line, raw = words.get("line"), text_of(words, "raw", LONGEST_PASTE, strip=False)
        read = read_lines(self.inputs.text("notes.txt"))
        same = [note for note in read.notes if note.raw == raw]
        note = next((note for note in same if note.line == line), same[0] if len(same) == 1 else None)
        if note is None:
            now = next((note for note in read.notes if note.line == line), None)
            facts = {"line": now.line, "raw": now.raw, "now": now.words, "time": show_time(now.at_s)} if now else {}
            raise Conflict(facts | {"faults": ["notes.txt changed on disk while you wrote"]})
        cut = words.get("cut") is True
        time, segment, said = text_of(words, "time"), text_of(words, "segment"), text_of(words, "words")
        self._change_notes(
            "note",
            "Note written",
            lambda text: notes_edit.change_note(text, note.line, time, segment, said, cut=cut),
        )

    def _change_notes(self, what: str, news: str, edit: Callable[[str], str]) -> None:
        self.inputs.change(what, news, {"notes.txt": edit})

    def _moment(self, words: dict[str, Any]) -> datetime:
        """Return when a note was begun, by the page's clock, which is this machine's."""
        at = words.get("at")
        if not isinstance(at, int | float) or not 0 < at < 1e14:
            raise refusal("notes.txt", "this note has no time; stamp it again")
        return min(datetime.fromtimestamp(at / 1000), self.inputs.now() + timedelta(seconds=1))

    def _light(self, words: dict[str, Any]) -> None:
        self.state.light = not self.state.light

    # -------------------------------------------------------------- test points

    def _step_done(self, words: dict[str, Any]) -> None:
        self.state.done.add(text_of(words, "key"))
        self.state.keep()

    def _tick(self, words: dict[str, Any]) -> None:
        """Tick a box of the plan, or take its tick away."""
        self.state.done ^= {text_of(words, "box")}
        self.state.keep()

    def _reading(self, words: dict[str, Any]) -> None:
        """Write what a meter read into repair.csv."""
        point, line = text_of(words, "point"), words.get("line", 0)
        if not point or not isinstance(line, int):
            raise refusal("repair.csv", "a reading needs a point; write its name")
        column = "after" if words.get("column") == "after" else "found"
        found = text_of(words, "found")
        if not found:
            raise refusal("repair.csv", f'{point[:40]}: no reading; write a number, "open" or "short"', line)
        cells = {"point": point, column: found}
        cells |= {name: text for name in ("expected", "tolerance", "unit", "action") if (text := text_of(words, name))}

        def write(text: str) -> str:
            row = next((row for row in parse_repair(text) if row.line == line), None) if line else None
            if line and (row is None or row.point != point):
                raise Conflict({"faults": ["repair.csv changed on disk; look at this point again"]})
            return repair_edit.write_row(text, cells, line)

        self.inputs.change("reading", "Reading written to repair.csv", {"repair.csv": write})
