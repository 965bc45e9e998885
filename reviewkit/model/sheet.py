"""A measurement file as columns, or as single readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

from reviewkit.model.errors import Fault, InputError


@dataclass(frozen=True, eq=False)
class Column:
    """One column of a file.

    Attributes
    ----------
    values
        Shape (rows,), float64, read-only, converted to `unit`.
    """

    role: str  # time, frequency, level, power, distortion, impedance, set
    channel: str  # L, R, L>R, R>L or "" (not said)
    # Hz, s, V, W, Ω, %, a dB kind: dB, dBr, dBV, dBu, dBW, dBm, dBFS; of what was set also dBf, dBµV, nWb/m, position;
    # ratio: a capture, of its full scale
    unit: str
    values: Array
    header: str = ""  # as written in the file


@dataclass(frozen=True)
class Skipped:
    """A row that was left out, and why. `unread`: a reading is missing there, and `at` which place of the abscissa, in
    its base unit; None if that may be anywhere.
    """

    line: int
    why: str
    unread: bool = False
    at: float | None = None


@dataclass(frozen=True)
class SingleReading:
    """One row of a `reading` file: a meter reading in the fixed unit of its quantity; `at`: conditions by key."""

    name: str  # as a quantity: "dc_offset", "bias"
    channel: str  # L, R, both or ""
    value: float
    unit: str
    at: Mapping[str, Any]
    note: str = ""
    line: int = 0
    step: float | None = None  # worth of the last digit written
    written: str = ""  # the unit it was written in: "mV"
    called: str = ""  # a name of the user's own, as written: "B+ voltage"


@dataclass(frozen=True, eq=False)
class Sheet:
    """A measurement file as columns, and how it was understood. A file of single readings has no columns."""

    source: str
    columns: tuple[Column, ...]
    rows: int
    encoding: str = "utf-8"
    separator: str = ","
    decimal: str = "."
    skipped: tuple[Skipped, ...] = ()
    warnings: tuple[str, ...] = ()
    readings: tuple[SingleReading, ...] = ()
    laid_out: tuple[str, ...] = ()  # how the text was understood, a plain sentence each
    remarks: tuple[str, ...] = ()  # the lines above the header, as they are

    def find(self, role: str, channel: str | None = None) -> Column | None:
        """Return the first column with a role (and channel, if given), or None."""
        for column in self.columns:
            if column.role == role and (channel is None or column.channel == channel):
                return column
        return None

    def need(self, role: str) -> Column:
        """Return the first column with a role.

        Raises
        ------
        LookupError
            If there is none: the kind should not have received this sheet.
        """
        column = self.find(role)
        if column is None:
            raise LookupError(f"{self.source} has no {role} column")
        return column

    def fault(self, message: str) -> InputError:
        """Return the error of a file that can't be measured."""
        return InputError(Fault(self.source, 0, message))

    def all(self, role: str) -> tuple[Column, ...]:
        """Return every column with a role, in the file's order."""
        return tuple(column for column in self.columns if column.role == role)


NO_FILE = Sheet("session.toml", (), 0)
