"""Ratios and levels. All functions take scalars or arrays and return the same shape.

Reference voltages: dBV re 1 V; dBu and dBm (600 Ω) re sqrt(0.6) V (common practice, no source); dBW re 1 W.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from reviewkit.arrays import Array

    Number = TypeVar("Number", float, Array)

DBU_REFERENCE_V = 0.6**0.5
HALF_POWER_DB = 10 * np.log10(0.5)


def db_of_amplitude(ratio: Number) -> Number:
    """20 lg(ratio), dB; ratio of amplitudes, > 0."""
    return 20 * np.log10(ratio)


def amplitude_of_db(level_db: Number) -> Number:
    """10^(level / 20): the ratio of amplitudes."""
    return 10.0 ** (np.asarray(level_db) / 20)[()]


def volts_of(
    values: Array, unit: str, load_ohm: float | None = None, full_scale_v: float | None = None
) -> Array | None:
    """Levels in volts r.m.s. from V, dBV, dBu, dBm, dBW (needs the load) or dBFS (needs the full scale's sine peak, V).

    None where the unit is relative (dB, dBr) or the reference is not known: such levels only compare with each other.
    """
    if unit == "V":
        return values
    if unit == "dBV":
        return amplitude_of_db(values)
    if unit in ("dBu", "dBm"):
        return amplitude_of_db(values) * DBU_REFERENCE_V
    if unit == "dBW" and load_ohm:
        return (10.0 ** (values / 10) * load_ohm) ** 0.5
    if unit == "dBFS" and full_scale_v:
        # 0 dBFS is the r.m.s. value of a sine whose peak just reaches full scale (AES17, from memory)
        return amplitude_of_db(values) * full_scale_v / 2**0.5
    return None


def relative_db(values: Array, unit: str) -> Array:
    """Levels in dB re anything: volts (their magnitude) are converted, dB kinds stand as they are."""
    return db_of_amplitude(np.abs(values)) if unit == "V" else values
