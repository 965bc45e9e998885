"""The files of a session that a build reads or looks for, as they were when it began."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from reviewkit.errors import CannotFinish
from reviewkit.model import Session
from reviewkit.published import FILE_NAME as PUBLISHED
from reviewkit.record import own_templates
from reviewkit.stamps import Stamp, digest, stamp

_FIRST = "session.toml"
_BY_NAME = ("notes.txt", "repair.csv", "final.txt", "final.otio", PUBLISHED)


class Inputs:
    """What was found, by path in the session's folder; a file that is not there counts as well."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._stamps: dict[str, Stamp] = {}
        self._look_at((_FIRST, *own_templates(folder)))

    def look_at(self, session: Session) -> None:
        """Look at all that session.toml leads to, before it is read."""
        self._look_at((*_BY_NAME, *_named(session)))

    @property
    def stamps(self) -> tuple[Stamp, ...]:
        """Those of all, as they were looked at."""
        return tuple(self._stamps.values())

    def digest(self, name: str) -> str:
        """What tells the content of one of them from any other; "" where it is not there."""
        return digest(self._folder / name)

    def digests(self) -> dict[str, str]:
        """Those of all. Raises CannotFinish where one of them is another now than when it was looked at: what was read
        may then be of both.
        """
        found = {name: self.digest(name) for name in self._stamps}
        for name, before in self._stamps.items():
            if stamp(self._folder / name) != before:
                raise CannotFinish(
                    f"{self._folder / name} was written to while it was read; nothing in out/ was changed. Try again "
                    "when the program that writes it is done"
                )
        return found

    def _look_at(self, names: Iterable[str]) -> None:
        self._stamps |= {name: stamp(self._folder / name) for name in names}


def _named(session: Session) -> Iterator[str]:
    yield from (m.file for m in session.measurements if m.file)
    yield from filter(None, (session.episode.photo, session.look.font, session.look.bold_font))
    if session.price:
        yield session.price.index
