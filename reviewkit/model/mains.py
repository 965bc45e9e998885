"""The mains supply as written by hand: "120 V 60 Hz" → volts and hertz."""

from __future__ import annotations

import re

from reviewkit.model.errors import shortened
from reviewkit.model.session import Session
from reviewkit.model.units import UnitError, normalised, read_quantity

_EXAMPLE = 'write for example "120 V 60 Hz"'
_PART = re.compile(r"\s*([0-9.]+\s*[^\W\d_]+)\s*(?:[,;/]\s*)?")


def mains_of(text: str) -> tuple[float | None, float | None]:
    """Parse volts and hertz of a mains supply, in either order; None for what is missing.

    Raises
    ------
    UnitError
        If a part isn't a voltage or frequency, occurs twice, or isn't above zero.
    """
    rest = normalised(text).strip()
    text = shortened(text, 60)
    read: dict[str, float] = {}
    while rest:
        part = _PART.match(rest)
        if not part:
            raise UnitError(f'"{text}" is not a mains voltage and frequency; {_EXAMPLE}')
        unit = "Hz" if re.search(r"hz|hertz", part[1], re.IGNORECASE) else "V"
        try:
            value = read_quantity(part[1], unit)
        except UnitError:
            raise UnitError(
                f'"{text}": "{shortened(part[1], 20)}" is neither a voltage nor a frequency; {_EXAMPLE}'
            ) from None
        if unit in read:
            raise UnitError(f'"{text}" gives {"frequency" if unit == "Hz" else "voltage"} twice; {_EXAMPLE}')
        if value <= 0:
            raise UnitError(f'"{text}": "{shortened(part[1], 20)}" is not above zero; {_EXAMPLE}')
        read[unit] = value
        rest = rest[part.end() :]
    return read.get("V"), read.get("Hz")


def mains_hz(session: Session) -> float | None:
    """Return the mains frequency on the bench, else the unit's; None if neither is stated."""
    return mains_of(session.bench.mains)[1] or mains_of(session.unit.mains)[1]
