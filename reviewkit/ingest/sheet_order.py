"""The abscissa of a table: made to rise, and refused where a sweep goes back or says two things of one point."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.errors import Faults
from reviewkit.ingest.sheet_rows import Table
from reviewkit.model import Skipped
from reviewkit.quantities import trimmed

if TYPE_CHECKING:
    from numpy.typing import NDArray

_STEPS = {"frequency": (("kHz", 1e3), ("Hz", 1.0)), "time": (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6))}
_EVEN = 0.25  # of a step: how far a rounded frequency may stand from its line


def in_order(table: Table, abscissa: NDArray[np.float64], role: str, faults: Faults) -> tuple[Table, NDArray[np.float64]]:
    """The table with its abscissa rising, and the abscissa with it. `abscissa`: shape (rows,), in Hz, s, W or V.

    A sweep in falling order is turned. Time and frequency must not go back (noted in `faults`); a row that repeats the
    one before is left out and listed, and so is the row at 0 Hz of an evenly spaced spectrum. A power may go back, as it
    does near clipping: only a sweep that falls throughout is turned.
    """
    if len(abscissa) == 0:
        return table, abscissa
    steps = np.diff(abscissa)
    if role not in _STEPS:
        falls = len(steps) > 0 and bool(np.all(steps <= 0)) and bool(np.any(steps < 0))
        return _turned(table, abscissa) if falls else (table, abscissa)
    if np.count_nonzero(steps < 0) > np.count_nonzero(steps > 0):
        table, abscissa = _turned(table, abscissa)
    if role == "frequency":
        table, abscissa = _above_zero(table, abscissa, faults)
    return _without_repeats(table, abscissa, role, faults)


def _turned(table: Table, abscissa: NDArray[np.float64]) -> tuple[Table, NDArray[np.float64]]:
    return replace(table, values=table.values[::-1], lines=table.lines[::-1]), abscissa[::-1]


def _kept(table: Table, abscissa: NDArray[np.float64], out: NDArray[np.bool_], why: list[str]) -> tuple[Table, NDArray[np.float64]]:
    """The rows that are not `out`; those that are, listed with the reason for each."""
    if not out.any():
        return table, abscissa
    listed = tuple(Skipped(int(line), reason) for line, reason in zip(table.lines[out], why, strict=True))
    skipped = tuple(sorted((*table.skipped, *listed), key=lambda each: each.line))
    return replace(table, values=table.values[~out], lines=table.lines[~out], skipped=skipped), abscissa[~out]


def _above_zero(table: Table, frequency_hz: NDArray[np.float64], faults: Faults) -> tuple[Table, NDArray[np.float64]]:
    for place in np.flatnonzero(frequency_hz < 0):
        faults.add(int(table.lines[place]), f"{_shown('frequency', frequency_hz[place], 6)} is a negative frequency; export the "
                                            "positive half only")
    zero = frequency_hz == 0
    if zero.any() and not _evenly_spaced(frequency_hz):
        for line in table.lines[zero]:
            faults.add(int(line), "0 Hz in a sweep; delete the row, or begin the sweep above zero")
    return _kept(table, frequency_hz, zero, ["0 Hz is no part of a spectrum that is read as sound"] * int(zero.sum()))


def _evenly_spaced(values: NDArray[np.float64]) -> bool:
    """Whether three values or more stand in a straight line, as a transform's do and a sweep's do not."""
    if len(values) < 3:
        return False
    line = np.linspace(values[0], values[-1], len(values))
    return bool(np.max(np.abs(values - line)) <= _EVEN * abs(line[1] - line[0]))


def _without_repeats(
    table: Table, abscissa: NDArray[np.float64], role: str, faults: Faults
) -> tuple[Table, NDArray[np.float64]]:
    steps = np.diff(abscissa)
    for place in np.flatnonzero(steps < 0):
        # told in the file's order, whichever way the sweep runs there
        one, other = sorted((place, place + 1), key=lambda each: int(table.lines[each]))
        from_text, to_text = _told_apart(role, abscissa[one], abscissa[other])
        faults.add(int(table.lines[other]), f"{role} goes back from {from_text} to {to_text}; export one sweep per file")
    out = np.zeros(len(abscissa), dtype=bool)
    why: list[str] = []
    for place in np.flatnonzero(steps == 0):
        one, other = int(table.lines[place]), int(table.lines[place + 1])
        if np.array_equal(table.values[place], table.values[place + 1]):
            out[place + 1] = True
            why.append(f"the same as line {one}")
        else:
            faults.add(max(one, other), f"{_shown(role, abscissa[place], 6)} stands in lines {min(one, other)} and "
                                        f"{max(one, other)} with different values; export one sweep per file, with all digits")
    return _kept(table, abscissa, out, why)


def _shown(role: str, value: float, digits: int) -> str:
    name, factor = next(((n, f) for n, f in _STEPS[role] if abs(value) >= f), _STEPS[role][-1])
    return f"{trimmed(float(value) / factor, digits)} {name}"


def _told_apart(role: str, one: float, other: float) -> tuple[str, str]:
    """Two values with as many digits as it takes to see the difference."""
    for digits in (3, 6, 9, 12):
        texts = _shown(role, one, digits), _shown(role, other, digits)
        if texts[0] != texts[1]:
            return texts
    return repr(float(one)), repr(float(other))
