"""Curves by which a level is weighted (A, C, 468, rumble), and the RIAA replay curve, as pure functions.

A scalar gives a scalar, and an array gives an array of the same shape. Frequencies are in Hz, 0 or above.
"""

from __future__ import annotations

from typing import Any

import numpy as np

REFERENCE_HZ = 1000.0
# IEC 61672-1, Annex E: the poles of the A weighting, Hz
_A_POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
# ITU-R BS.468-4, Fig. 1a: the poles of the passive network, rad/s; its zero is at the origin
_468_POLES = (
    -25903.70104781628,
    -62675.1700584679,
    complex(-23615.53521363528, 36379.90893732929),
    complex(-23615.53521363528, -36379.90893732929),
    complex(-18743.74669072136, 62460.15645250649),
    complex(-18743.74669072136, -62460.15645250649),
)
# AES17-2015, 5.2.7: 0 dB moves from 1 kHz to about 2 kHz
_ARM_DB = -5.63
# the corner of a stand-in: IEC 60098's table of rumble weighting isn't available
_RUMBLE_HZ = 315.0
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


def c_weighting(frequency_hz: Any) -> Any:
    """Return the C weighting as a ratio of amplitudes.

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
    low, high = _A_POLES_HZ[0] ** 2, _A_POLES_HZ[3] ** 2

    def shape(hz: Any) -> Any:
        square = np.asarray(hz, dtype=float) ** 2
        return square / ((square + low) * (square + high))

    return (shape(frequency_hz) / shape(REFERENCE_HZ))[()]


def weighting_468(frequency_hz: Any, *, arm: bool = False) -> Any:
    """Return the weighting of ITU-R BS.468-4 as a ratio of amplitudes.

    Parameters
    ----------
    frequency_hz : Any
        Not below 0, a scalar or an array of any shape.
    arm : bool
        Whether the curve is 5.63 dB lower, with its 0 dB near 2 kHz: CCIR/ARM, and the CCIR-RMS of AES17.

    Returns
    -------
    Any
        The ratio, 1 at 1 kHz (without `arm`) and 0 at 0 Hz, same shape.

    Notes
    -----
    One zero at the origin and six poles, which are those of the network in Fig. 1a of the Recommendation. The
    quasi-peak meter that belongs to it isn't included: with an r.m.s. value, say so. The meter of CCIR/ARM responds to
    the average, and reads noise 1.05 dB below its r.m.s. value.
    """

    def shape(hz: Any) -> Any:
        s = 2j * np.pi * np.asarray(hz, dtype=float)
        total = s
        for pole in _468_POLES:
            total = total / (1 - s / pole)
        return np.abs(total)

    return (shape(frequency_hz) / shape(REFERENCE_HZ) * (10 ** (_ARM_DB / 20) if arm else 1.0))[()]


def rumble_b_type(frequency_hz: Any) -> Any:
    """Return a stand-in for the weighted rumble filter of IEC 60098 ("B-type"), as a ratio of amplitudes.

    Its readings can't be compared with ratings by that standard, whose table isn't available: another choice of poles
    moves them by up to 5 dB.

    Parameters
    ----------
    frequency_hz : Any
        Not below 0, a scalar or an array of any shape.

    Returns
    -------
    Any
        The ratio, 1 at 315 Hz and 0 at 0 Hz, same shape.

    Notes
    -----
    Its peak at 315 Hz is that of the test record of DIN 45544; two poles on each side (Butterworth), from memory.
    """
    ratio = np.asarray(frequency_hz, dtype=float) / _RUMBLE_HZ
    return (2 * ratio**2 / (1 + ratio**4))[()]


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
