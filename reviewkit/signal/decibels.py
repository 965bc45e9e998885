"""Ratios and levels. A scalar gives a scalar, and an array gives an array of the same shape.

Reference voltages: dBV relative to 1 V; dBu and dBm (600 Ω) relative to sqrt(0.6) V (common practice, no source); dBW
relative to 1 W; dBf relative to 1 fW into the antenna's impedance.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from reviewkit.model.arrays import Array

# 0 dB of each, V
REFERENCES_V = {"dBV": 1.0, "dBu": 0.6**0.5, "dBm": 0.6**0.5}
_FEMTOWATT = 1e-15
HALF_POWER_DB = float(10 * np.log10(0.5))


def db_of_amplitude(ratio: Any) -> Any:
    """Convert a ratio of amplitudes to dB: 20 lg(ratio).

    Parameters
    ----------
    ratio : Any
        Above 0, a scalar or an array of any shape.

    Returns
    -------
    Any
        In dB, same shape.
    """
    return 20 * np.log10(ratio)


def amplitude_of_db(level_db: Any) -> Any:
    """Convert a level in dB to a ratio of amplitudes: 10^(level / 20).

    Parameters
    ----------
    level_db : Any
        A scalar or an array of any shape.

    Returns
    -------
    Any
        The ratio, same shape.
    """
    return 10.0 ** (np.asarray(level_db) / 20)[()]


def dbf_of_volts(volts: Any, ohm: float) -> Any:
    """Convert the voltage at an antenna's terminals to dBf.

    Parameters
    ----------
    volts : Any
        V r.m.s. with the tuner connected, which is half of what the generator gives unloaded. A scalar or any shape.
    ohm : float
        The impedance, 75 or 300 Ω.

    Returns
    -------
    Any
        In dBf, same shape.

    Notes
    -----
    10 lg(V² / R / 1 fW), IHF-T-200 (from memory).
    """
    return 10 * np.log10(np.asarray(volts, dtype=float) ** 2 / ohm / _FEMTOWATT)[()]


def volts_of_dbf(level_dbf: Any, ohm: float) -> Any:
    """Convert dBf to V r.m.s. at an antenna's terminals: the opposite of `dbf_of_volts`."""
    return np.sqrt(ohm * _FEMTOWATT * 10 ** (np.asarray(level_dbf, dtype=float) / 10))[()]


def volts_of(
    values: Array, unit: str, load_ohm: float | None = None, full_scale_v: float | None = None
) -> Array | None:
    """Convert levels to volts r.m.s.

    Parameters
    ----------
    values : Array
        Levels in `unit`, any shape.
    unit : str
        V, dBV, dBu, dBm, dBW (needs the load) or dBFS (needs the full scale).
    load_ohm : float | None
        The load, Ω.
    full_scale_v : float | None
        The peak of a full-scale sine, V.

    Returns
    -------
    Array | None
        Volts r.m.s., same shape. None if the unit is relative (dB, dBr) or its reference isn't known: such levels can
        only be compared with each other.
    """
    if unit == "V":
        return values
    one_v = REFERENCES_V.get(unit)
    if unit == "dBW" and load_ohm:
        one_v = load_ohm**0.5
    elif unit == "dBFS" and full_scale_v:
        # 0 dBFS is the r.m.s. value of a sine whose peak just reaches full scale (AES17, from memory)
        one_v = full_scale_v / 2**0.5
    return None if one_v is None else np.asarray(amplitude_of_db(values) * one_v)


def relative_db(values: Array, unit: str) -> Array:
    """Convert levels to dB, relative to any reference.

    Parameters
    ----------
    values : Array
        Levels in `unit`, any shape.
    unit : str
        A kind of volt, whose magnitudes are converted, or of dB, which is left as it is.

    Returns
    -------
    Array
        Levels in dB, same shape.
    """
    return np.asarray(db_of_amplitude(np.abs(values))) if unit == "V" else values
