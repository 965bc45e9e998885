"""Faults, all reported in the same way: where, what is there, what to write instead."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

MOST_SHOWN = 20
MOST_KEPT = 1000  # of one file: more are no help, and a million would fill the memory
_LONGEST_LIST = 200  # characters, of the names that are known
_LONGEST_WORD = 80  # characters: anything longer resembles no name


@dataclass(frozen=True)
class Fault:
    """One fault of an input: file, line (0: the file as a whole), what is there and what to write."""

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
    """The input or the command line is wrong (exit status 2); nothing was written. Has every fault."""

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def refusal(source: str, message: str, line: int = 0) -> InputError:
    """Return the error of an input with a single fault. `line`: 0 for the file as a whole."""
    return InputError(Fault(source, line, message))


class CannotFinish(Exception):
    """The work can't be finished for a reason outside the input: disk full, folder read-only (exit status 1)."""


class Faults:
    """Collects faults while a reader continues, so that all faults of a file are reported together."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.collected: list[Fault] = []

    def add(self, line: int, message: str, source: str = "") -> None:
        """Record a fault at a line (0 if there is none), of this file or another one; of very many, the first ones are
        kept.
        """
        if not self.full:
            self.collected.append(Fault(source or self.source, line, message))

    @property
    def full(self) -> bool:
        """Tell whether no more faults are kept, so that a reader may stop."""
        return len(self.collected) >= MOST_KEPT

    def stop_if_any(self, *, by_line: bool = False) -> None:
        """Stop if any fault was recorded.

        Raises
        ------
        InputError
            With every recorded fault, in the order in which they were found or `by_line`.
        """
        if self.collected:
            raise InputError(sorted(self.collected, key=lambda fault: fault.line) if by_line else self.collected)


def listed(faults: Iterable[Fault]) -> list[str]:
    """List faults as lines to print: at most twenty of each file, then "and N more"."""
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
    """Suggest the known word most like a word: "did you mean X?", or a list of the known ones.

    Parameters
    ----------
    word : str
        The word.
    known : iterable of str
        The known words.
    least : float
        Required similarity, 0 … 1.

    Returns
    -------
    str
        The suggestion, ready to print.
    """
    import difflib

    names = sorted(known)
    close = difflib.get_close_matches(word, names, n=1, cutoff=least) if len(word) <= _LONGEST_WORD else []
    if close:
        return f'did you mean "{close[0]}"?'
    return "known: " + shortened(", ".join(names), _LONGEST_LIST)


def shortened(text: str, most: int) -> str:
    """Shorten a text to at most `most` characters for a message, keeping its beginning."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
