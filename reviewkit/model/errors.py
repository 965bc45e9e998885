"""What can go wrong, said the same way everywhere: where, what is there, what to write instead."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

MOST_SHOWN = 20
MOST_KEPT = 1000  # of one file: a million faulty lines are no more help, and would fill the memory
_LONGEST_LIST = 200  # characters, of the names that are known
_LONGEST_WORD = 80  # characters: what is longer is near to no name


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong in an input: file, line (0: the file as a whole), what is there and what to write."""

    source: str
    line: int
    message: str

    def __str__(self) -> str:
        place = f"{self.source}:{self.line}" if self.line else self.source
        return printable(f"{place}: {self.message}")


def printable(text: str) -> str:
    """Return a line with control and bidirectional characters escaped: no input may steer the terminal it is shown on,
    or make a line read otherwise than it is.
    """
    return text if text.isprintable() else "".join(s if s.isprintable() else ascii(s)[1:-1] for s in text)


class InputError(Exception):
    """The input or the command line is wrong (exit status 2). Nothing was written. Holds every fault found."""

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class CannotFinish(Exception):
    """The work could not be finished for a reason outside the input: disk full, folder read-only (exit status 1)."""


class Faults:
    """Collects faults while a reader goes on, so that all of one file are told at once."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.found: list[Fault] = []

    def add(self, line: int, message: str) -> None:
        """Note one fault at a line (0 where no line can be named); of very many the first ones are kept."""
        if not self.full:
            self.found.append(Fault(self.source, line, message))

    @property
    def full(self) -> bool:
        """Whether no more are kept, so that a reader may stop looking."""
        return len(self.found) >= MOST_KEPT

    def stop_if_any(self) -> None:
        """Raise InputError with everything noted so far, if anything was."""
        if self.found:
            raise InputError(self.found)


def listed(faults: Iterable[Fault]) -> list[str]:
    """Faults as lines to print: at most twenty of each file, then "and N more"."""
    by_source: dict[str, list[Fault]] = {}
    for fault in faults:
        by_source.setdefault(fault.source, []).append(fault)
    lines: list[str] = []
    for source, found in by_source.items():
        lines += [str(fault) for fault in found[:MOST_SHOWN]]
        if len(found) > MOST_SHOWN:
            over = "over " if len(found) == MOST_KEPT else ""
            lines.append(f"{source}: and {over}{len(found) - MOST_SHOWN} more")
    return lines


def nearest(word: str, known: Iterable[str], *, least: float = 0.6) -> str:
    """The known word most like this one, as "did you mean X?", or a list of them when none is near: `least` is how
    much of the two must agree, 0 to 1.
    """
    import difflib

    names = sorted(known)
    close = difflib.get_close_matches(word, names, n=1, cutoff=least) if len(word) <= _LONGEST_WORD else []
    if close:
        return f'did you mean "{close[0]}"?'
    return "known: " + shortened(", ".join(names), _LONGEST_LIST)


def shortened(text: str, most: int) -> str:
    """A text of at most `most` characters, for a message; of a longer one the beginning."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
