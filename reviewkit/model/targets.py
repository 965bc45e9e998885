"""The curve that a response is meant to follow, as `target` names it: time constants of FM or tape, or a file's."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

FLAT = "flat"
OWN_CURVE = "target"  # the condition of what is measured against a file's curve
FM_S = (50e-6, 75e-6)  # ITU-R BS.450-3, 1.2
_NUMBER = r"(\d{1,4}(?:\.\d{1,2})?)"
_UNIT = r"\s*[µu]s"
_CONSTANTS = re.compile(rf"(?:(?:{_NUMBER}|inf|∞)(?:{_UNIT})?\s*\+\s*)?{_NUMBER}{_UNIT}")


def seconds_of(target: str) -> tuple[float, ...]:
    """Return the time constants of a target, s: of FM one, of tape those of treble and bass; none of another curve.

    That of the bass is infinite if the standard has none.
    """
    match = _CONSTANTS.fullmatch(target)
    if not match:
        return ()
    treble_s = float(f"{match[2]}e-6")
    if "+" not in target:
        return (treble_s,)
    return treble_s, float(f"{match[1]}e-6" if match[1] else "inf")


def file_of(target: str) -> str:
    """Return the file of a target's curve; "" if it has none."""
    return "" if target in ("", FLAT) or seconds_of(target) else target


def condition_of(target: str) -> tuple[tuple[str, str], ...]:
    """Return the condition that a target is of what is measured against it: de-emphasis 50 µs."""
    if target in ("", FLAT):
        return ()
    constants = len(seconds_of(target))
    name = {0: OWN_CURVE, 1: "de-emphasis", 2: "equalisation"}[constants]
    return ((name, target if constants else PurePosixPath(target).stem),)
