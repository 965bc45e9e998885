"""Notes from the shoot."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Note:
    """One timestamped note. `segment` is resolved: "" only before the first named one."""

    clip: str  # "" where no clip was named
    at_s: float  # seconds into the clip (or into the footage where no clip was named)
    segment: str
    text: str  # without [card …], [sound …], [cut] and what is for the page
    cards: tuple[str, ...] = ()
    cut: bool = False
    line: int = 0
    sounds: tuple[str, ...] = ()
    page: str = ""  # the words after [page], for readers
    on_page: bool = True  # False after [not page]

    @property
    def read_text(self) -> str:
        """Return the words for readers of the page: its own, else those that are said; "" if it isn't on the page."""
        return (self.page or self.text) if self.on_page else ""


@dataclass(frozen=True)
class Clip:
    """A `clip` line of the notes; `starts_s`: clock time of its first frame, seconds after midnight, if given."""

    name: str
    length_s: float | None = None
    starts_s: float | None = None
    line: int = 0


@dataclass(frozen=True)
class Notes:
    """The whole of notes.txt."""

    clips: tuple[Clip, ...] = ()
    notes: tuple[Note, ...] = ()
    titles: tuple[tuple[str, str], ...] = ()  # segments with the chapter's title that the user gave them
