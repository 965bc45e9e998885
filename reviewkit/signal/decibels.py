"""Ratios and levels. A scalar gives a scalar, an array an array of its shape.

Reference voltages: dBV re 1 V; dBu and dBm (600 Ω) re sqrt(0.6) V (common practice, no source); dBW re 1 W.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from reviewkit.model.arrays import Array

DBU_REFERENCE_V = 0.6**0.5
HALF_POWER_DB = float(10 * np.log10(0.5))


def db_of_amplitude(ratio: Any) -> Any:
    """20 lg(ratio), dB; ratio of amplitudes, > 0."""
    return 20 * np.log10(ratio)


def amplitude_of_db(level_db: Any) -> Any:
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
    one_v = None
    if unit == "dBV":
        one_v = 1.0
    elif unit in ("dBu", "dBm"):
        one_v = DBU_REFERENCE_V
    elif unit == "dBW" and load_ohm:
        one_v = load_ohm**0.5
    elif unit == "dBFS" and full_scale_v:
        # 0 dBFS is the r.m.s. value of a sine whose peak just reaches full scale (AES17, from memory)
        one_v = full_scale_v / 2**0.5
    return None if one_v is None else np.asarray(amplitude_of_db(values) * one_v)


def relative_db(values: Array, unit: str) -> Array:
    """Levels in dB re anything: volts (their magnitude) are converted, dB kinds stand as they are."""
    return np.asarray(db_of_amplitude(np.abs(values))) if unit == "V" else values
