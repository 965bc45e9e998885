"""Curves by which a level is weighted or equalised: the A weighting and the RIAA replay curve, as pure functions.

A scalar gives a scalar, and an array gives an array of the same shape. Frequencies are in Hz, 0 or above.
"""

from __future__ import annotations

from typing import Any

import numpy as np

REFERENCE_HZ = 1000.0
# IEC 61672-1, Annex E: the poles of the A weighting, Hz
_A_POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
# IEC 60098: the time constants of the replay curve, s; the last is that of the 1976 amendment
_RIAA_BASS_S, _RIAA_MIDDLE_S, _RIAA_TREBLE_S, _AMENDMENT_S = 3180e-6, 318e-6, 75e-6, 7950e-6


def _a_shape(frequency_hz: Any) -> Any:
    square = np.asarray(frequency_hz, dtype=float) ** 2
    first, second, third, fourth = (pole**2 for pole in _A_POLES_HZ)
    middle = np.sqrt((square + second) * (square + third))
    return fourth * square**2 / ((square + first) * middle * (square + fourth))


def a_weighting(frequency_hz: Any) -> Any:
    """Return the A weighting as a ratio of amplitudes.

    Parameters
    ----------
    frequency_hz : Any
        Not below 0, a scalar or an array of any shape.

    Returns
    -------
    Any
        The ratio, 1 at 1 kHz and 0 at 0 Hz, same shape.

    Notes
    -----
    IEC 61672-1, Annex E, analytic form.
    """
    return (_a_shape(frequency_hz) / _a_shape(REFERENCE_HZ))[()]


def _replay_shape(frequency_hz: Any, amendment: bool) -> Any:
    omega = 2 * np.pi * np.asarray(frequency_hz, dtype=float)

    def rise(seconds: float) -> Any:
        return np.hypot(1.0, omega * seconds)

    shape = rise(_RIAA_MIDDLE_S) / (rise(_RIAA_BASS_S) * rise(_RIAA_TREBLE_S))
    return shape * omega * _AMENDMENT_S / rise(_AMENDMENT_S) if amendment else shape


def riaa_replay_db(frequency_hz: Any, *, amendment: bool = False) -> Any:
    """Return the RIAA replay curve in dB.

    Parameters
    ----------
    frequency_hz : Any
        Above 0, a scalar or an array of any shape.
    amendment : bool
        Whether to include the high-pass of 7950 µs that was added in 1976, on replay only.

    Returns
    -------
    Any
        In dB, 0 dB at 1 kHz, same shape.

    Notes
    -----
    (1 + s·318 µs) / ((1 + s·3180 µs)(1 + s·75 µs)), IEC 60098.
    """
    return 20 * np.log10(_replay_shape(frequency_hz, amendment) / _replay_shape(REFERENCE_HZ, amendment))[()]
