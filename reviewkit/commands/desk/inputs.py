"""The input files of a session as the desk writes them: at once, whole, never over another program's change."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import RLock
from typing import Any

from reviewkit.build.atomic_files import incoming_place, write_whole
from reviewkit.model import path_checks
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import CannotFinish, refusal

MOST_CHANGES = 20  # that can be undone


class Conflict(Exception):
    """Raised if the disk holds something else than an action was to change. Has what the page needs to show both."""

    def __init__(self, facts: Mapping[str, Any]) -> None:
        self.facts = dict(facts)
        super().__init__("changed on disk")


@dataclass(frozen=True)
class Edit:
    """A change that can be undone.

    Attributes
    ----------
    what
        In a word or two: "title", "note".
    done
        What was written, and when: "Title written, 23:04".
    texts
        The content of each file before and after; None: there was no file.
    moved
        Files that were put into the session: the digest of what was there before ("" if nothing was), and their own.
    """

    what: str
    done: str
    texts: Mapping[str, tuple[bytes | None, bytes | None]]
    moved: Mapping[str, tuple[str, str]]


class Inputs:
    """The input files of a session folder.

    Parameters
    ----------
    folder : Path
        The session.
    aside : Path
        A folder of the desk's own, for files that an undo takes out of the session.
    now : callable
        Returns the time.
    """

    def __init__(self, folder: Path, aside: Path, now: Callable[[], datetime] = datetime.now) -> None:
        self.folder, self._aside, self.now = folder, aside, now
        self._done: list[Edit] = []
        self._undone: list[Edit] = []
        self._written: dict[str, bytes | None] = {}
        self.news = ""  # what was written last, or what was changed by another program
        self.lock = RLock()

    @property
    def to_undo(self) -> str:
        """Return what would be undone, "" if nothing."""
        return self._done[-1].what if self._done else ""

    @property
    def to_put_back(self) -> str:
        """Return what was undone last and can be put back, "" if nothing."""
        return self._undone[-1].what if self._undone else ""

    def text(self, name: str) -> str:
        """Return a file's text; "" if there is no file.

        Raises
        ------
        InputError
            If it isn't in UTF-8, or can't be read.
        """
        try:
            return (self._bytes(name) or b"").decode()
        except UnicodeDecodeError:
            raise refusal(name, "isn't written in UTF-8; save it as UTF-8 to change it here") from None

    def change(self, what: str, news: str, edits: Mapping[str, Callable[[str], str]]) -> None:
        """Change the text of files, each whole, or none of them.

        Parameters
        ----------
        what
            What is changed, for the button that undoes it.
        news
            What to report; the time is added.
        edits
            By file: returns the new text of an old one.

        Raises
        ------
        InputError
            As an edit does; then nothing is written.
        """
        with self.lock:
            before = {name: self._bytes(name) for name in edits}
            after = {name: edit(self.text(name)).encode() for name, edit in edits.items()}
            texts = {name: (before[name], after[name]) for name in edits if after[name] != (before[name] or b"")}
            if texts:
                self._swap(texts)
                self._remember(Edit(what, news, texts, {}))

    def take_in(self, name: str, place: Path, what: str, news: str) -> None:
        """Move a file into the session. A file that it replaces is kept aside, for `undo`."""
        with self.lock:
            old, new = file_digest(self._place(name)), file_digest(place)
            shutil.move(place, self._aside / new)
            moved = {name: (old, new)}
            self._move(moved, into=True)
            self._remember(Edit(what, news, {}, moved))

    def undo(self) -> None:
        """Undo the last change, unless its files have been changed since."""
        with self.lock:
            if self._done:
                change = self._done[-1]
                self._swap({name: (after, before) for name, (before, after) in change.texts.items()})
                self._move(change.moved, into=False)
                self._undone.append(self._done.pop())
                self._report(f"{change.what} undone")

    def put_back(self) -> None:
        """Make the change that was undone last again."""
        with self.lock:
            if self._undone:
                change = self._undone[-1]
                self._swap(change.texts)
                self._move(change.moved, into=True)
                self._done.append(self._undone.pop())
                self._report(f"{change.what} put back")

    def note_saves(self, names: Collection[str]) -> None:
        """Report the first of these files that another program has changed."""
        with self.lock:
            for name in names:
                if self._bytes(name) != self._written.get(name, b""):
                    self._written.pop(name, None)
                    self._report(f"{name} changed on disk")
                    return

    def _remember(self, change: Edit) -> None:
        self._done = [*self._done, change][-MOST_CHANGES:]
        self._undone = []
        self._report(change.done)

    def _report(self, news: str) -> None:
        self.news = f"{news[:1].upper()}{news[1:]}, {self.now():%H:%M}"

    def _swap(self, texts: Mapping[str, tuple[bytes | None, bytes | None]]) -> None:
        for name, (now, _) in texts.items():
            if self._bytes(name) != now:
                raise Conflict({"faults": [f"{name} has been changed by another program; that change stays"]})
        for name, (_, then) in texts.items():
            self._write(name, then)

    def _move(self, moved: Mapping[str, tuple[str, str]], *, into: bool) -> None:
        for name, (old, new) in moved.items():
            place, (now, then) = self._place(name), (old, new) if into else (new, old)
            if file_digest(place) != now:
                raise Conflict({"faults": [f"{name} has been changed by another program since; that file stays"]})
            place.parent.mkdir(parents=True, exist_ok=True)
            if now:  # a copy, so that there is a file at any moment
                shutil.copy2(place, self._aside / now)
            if then:
                incoming = incoming_place(place.parent, place.name)
                shutil.move(self._aside / then, incoming)
                os.replace(incoming, place)  # noqa: PTH105
            else:
                place.unlink()

    def _write(self, name: str, after: bytes | None) -> None:
        place = self._place(name)
        if after is None:
            place.unlink(missing_ok=True)
        else:
            place.parent.mkdir(parents=True, exist_ok=True)
            write_whole(place, after)
        self._written[name] = after

    def _bytes(self, name: str) -> bytes | None:
        try:
            return self._place(name).read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise CannotFinish(f"{name}: {error.strerror or error}") from error

    def _place(self, name: str) -> Path:
        """Return a file's place. It must be in the session, links included."""
        if flaw := path_checks.flaw(self.folder, name).replace(path_checks.ABSENT, ""):
            raise refusal(name, f"{flaw}; put an ordinary file in its place")
        return self.folder / name
