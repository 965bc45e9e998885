"""The units of parts and test points: those of the one closed table, and the ones only parts are sold in."""

from __future__ import annotations

from reviewkit.model.units import UNITS, UnitSpelling, normalised, unit_of

_PARTS: dict[str, UnitSpelling] = {
    "F": UnitSpelling("F", 1.0),
    "mF": UnitSpelling("F", 1e-3),
    "µF": UnitSpelling("F", 1e-6),
    "nF": UnitSpelling("F", 1e-9),
    "pF": UnitSpelling("F", 1e-12),
    "H": UnitSpelling("H", 1.0),
    "mH": UnitSpelling("H", 1e-3),
    "µH": UnitSpelling("H", 1e-6),
    "MΩ": UnitSpelling("Ω", 1e6),
    "kV": UnitSpelling("V", 1e3),
    "µA": UnitSpelling("A", 1e-6),
    "°C": UnitSpelling("°C", 1.0),
}


def part_unit(text: str) -> UnitSpelling | None:
    """Return the unit that a spelling means, or None if it is in neither table."""
    return unit_of(text) or _PARTS.get(_respell(text))


def canonical(text: str) -> str:
    """Return a unit as it is shown, however it was spelled: "ohms" -> "Ω", "uF" -> "µF"; an unknown one as it is."""
    known = unit_of(text)
    if known is None:
        respelled = _respell(text)
        return respelled if respelled in _PARTS else text
    first = next(spelling for spelling, unit in UNITS.items() if unit == known)
    return f"µ{first[1:]}" if first.startswith("u") else first


def _respell(text: str) -> str:
    """Return a unit with the signs for micro and ohm that have plain spellings: uF -> µF, Mohm -> MΩ."""
    word = normalised(text).strip()
    if word.startswith("u"):
        word = f"µ{word[1:]}"
    for spelled in ("ohms", "Ohms", "ohm", "Ohm"):
        if word == f"M{spelled}":
            return "MΩ"
    return "°C" if word in ("C", "degC", "deg C") else word
