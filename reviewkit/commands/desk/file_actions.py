"""The actions on files: what each is, and which are left out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reviewkit.build.last_build import listed_files
from reviewkit.build.recognising import keys_of_kind
from reviewkit.commands.answers import keys_to_write, recognise_answered
from reviewkit.commands.desk import session_edits
from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.fields import Action, text_of
from reviewkit.commands.desk.file_facts import same_question
from reviewkit.commands.desk.inputs import Inputs
from reviewkit.commands.desk.live_session import LiveSession
from reviewkit.commands.desk.trials import try_answer
from reviewkit.ingest.session.session_entries import entries_of
from reviewkit.ingest.session.session_file import read_document
from reviewkit.model import quantities
from reviewkit.model.errors import refusal
from reviewkit.model.recognised import Recognised
from reviewkit.model.session import Measurement

CHANGEABLE = ("kind", "stage", "channels")  # by buttons


class FileActions:
    """The actions on the files of a session."""

    def __init__(self, session: LiveSession, inputs: Inputs, state: DeskState) -> None:
        self.session, self.inputs, self.state = session, inputs, state

    def by_name(self) -> dict[str, Action]:
        """Return the actions by their names."""
        return {
            "answer": self._answer,
            "leave-out": self._leave_out,
            "change-file": self._look_at,
            "file-is": self._change,
            "file-has": self._describe,
        }

    def _answer(self, words: dict[str, Any]) -> None:
        """Write what a file is, and all others of which the same is asked."""
        same = self._asked(words)
        choice = words.get("choice")
        if not isinstance(choice, int) or not 0 <= choice < len(same[0].choices):
            raise refusal("session.toml", "there is no such answer; choose one of those shown")
        self._write({each.file: same[0].choices[choice] for each in same}, "answer", "Answer written")

    def _asked(self, words: dict[str, Any]) -> list[Recognised]:
        """Return the file that is meant, then all others with the same question."""
        shown, file = self.session.shown, text_of(words, "file")
        asked = self.state.questions(shown.episode.recognised if shown else ())
        one = next((each for each in asked if each.file == file), None)
        if one is None:
            raise refusal(file[:80], "nothing is asked about this file any more")
        return [one, *(each for each in asked if each is not one and same_question(each, one))]

    def _leave_out(self, words: dict[str, Any]) -> None:
        file = text_of(words, "file")
        if file not in listed_files(self.session.folder):
            raise refusal(file[:80], "there is no such file any more")
        edit = {"session.toml": lambda text: session_edits.leave_out(text, [file])}
        self.inputs.change("leaving out", f"{file} is left out", edit)
        self.state.forget(file)

    def _look_at(self, words: dict[str, Any]) -> None:
        """Show what else a clear file could be; without a file, nothing more."""
        self.state.changing = text_of(words, "file")

    def _change(self, words: dict[str, Any]) -> None:
        """Make a clear file something else: of another kind, stage, or number of channels."""
        m, key, value = self._measured(words), text_of(words, "key"), text_of(words, "value")
        if key not in CHANGEABLE or not value:
            raise refusal(m.file, "there is no such answer; choose one of those shown")
        try_answer(self.session, m.file, {key: value})
        self._write({m.file: {key: value}}, "file", f"{m.file} changed")

    def _describe(self, words: dict[str, Any]) -> None:
        """Write a clear file's load and setting."""
        m = self._measured(words)
        now = {"load": quantities.load(m.load_ohm) if m.load_ohm is not None else "", "setting": m.setting}
        keys = {key: text_of(words, key) or None for key, was in now.items() if text_of(words, key) != was}
        try_answer(self.session, m.file, keys)
        self._write({m.file: keys}, "file", f"{m.file} changed")

    def _measured(self, words: dict[str, Any]) -> Measurement:
        file, shown = text_of(words, "file"), self.session.shown
        every = [run.conditions.measurement for run in shown.episode.runs] if shown else []
        m = next((each for each in every if each.file and each.file == file), None)
        if m is None:
            raise refusal(file[:80], "there is no such measurement any more")
        return m

    def _write(self, given: Mapping[str, Mapping[str, Any]], what: str, news: str) -> None:
        """Write what files are, each once nothing more has to be asked: a table of a file that isn't clear is a fault,
        and one with a kind says everything.
        """
        folder, state = self.session.folder, self.state
        answers = {file: {**state.answers.get(file, {}), **keys} for file, keys in given.items()}
        found = recognise_answered(folder, self.session.cache, {**state.answers, **answers}, self.session.studio())
        asked = {each.file: each for each in found.files if each.question}
        written = entries_of(read_document(folder), listed_files(folder))
        keys = {file: answer for file, answer in answers.items() if file not in asked}
        keys |= keys_to_write(found, keys, written)
        for entry in [entry for entry in written if entry.file in keys]:
            answer = keys[entry.file]
            if entry.shared or "kind" in answer:
                answer = {**entry.raw, **answer}
            if "kind" in answer:  # the keys of another kind would be wrong
                answer = dict.fromkeys(answer) | keys_of_kind(answer["kind"], answer)
            keys[entry.file] = answer
        if keys:
            self.inputs.change(what, news, {"session.toml": lambda text: session_edits.describe_files(text, keys)})
        for file, answer in answers.items():
            state.forget(file)
            if file not in keys:
                state.answers[file], state.further[file] = answer, asked[file]
