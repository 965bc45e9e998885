"""Equalisation of tape and of FM radio by their time constants, as pure functions.

A scalar gives a scalar, and an array gives an array of the same shape. Frequencies are in Hz, time constants in s.
"""

from __future__ import annotations

from typing import Any

import numpy as np

REFERENCE_HZ = 1000.0


def _pole_db(frequency_hz: Any, seconds: float) -> Any:
    """Return how far one pole lowers a level: 10 lg(1 + (2πfτ)²), dB."""
    return 10 * np.log10(1 + (2 * np.pi * np.asarray(frequency_hz, dtype=float) * seconds) ** 2)


def de_emphasis_db(frequency_hz: Any, seconds: float, *, reference_hz: float = REFERENCE_HZ) -> Any:
    """Return an FM tuner's de-emphasis.

    Parameters
    ----------
    frequency_hz : Any
        Not below 0, a scalar or an array of any shape.
    seconds : float
        50e-6 in Europe, 75e-6 in the Americas (ITU-R BS.450-3, 1.2).
    reference_hz : float
        Where it is 0 dB.

    Returns
    -------
    Any
        In dB, same shape.
    """
    return (_pole_db(reference_hz, seconds) - _pole_db(frequency_hz, seconds))[()]


def equalisation_db(frequency_hz: Any, seconds: tuple[float, ...]) -> Any:
    """Return the de-emphasis of one time constant, or the replay equalisation of two: treble and bass.

    Parameters
    ----------
    frequency_hz : Any
        Above 0, a scalar or an array of any shape.
    seconds : tuple[float, ...]
        One or two; the bass is infinite if the standard has none.

    Returns
    -------
    Any
        In dB, same shape, 0 dB at 1 kHz.
    """
    return (de_emphasis_db if len(seconds) == 1 else tape_replay_db)(frequency_hz, *seconds)


def tape_replay_db(
    frequency_hz: Any, treble_s: float, bass_s: float | None = None, *, reference_hz: float = REFERENCE_HZ
) -> Any:
    """Return the level at which an ideal head replays a tape of constant flux: the replay equalisation.

    Parameters
    ----------
    frequency_hz : Any
        Above 0, a scalar or an array of any shape.
    treble_s : float
        Such as 120e-6 or 70e-6 for cassettes.
    bass_s : float | None
        Such as 3180e-6; None if the standard has none.
    reference_hz : float
        Where it is 0 dB: 315 Hz for cassettes.

    Returns
    -------
    Any
        In dB, same shape. Its opposite is the flux level that is recorded.

    Notes
    -----
    IEC 60094-1:1981, 15.1: 10 lg(1 + (2πf·τ₁)²) − 10 lg(1 + 1/(2πf·τ₂)²), the formula from memory.
    """

    def shape(hz: Any) -> Any:
        hz = np.asarray(hz, dtype=float)
        bass = 0.0 if bass_s is None else 10 * np.log10(1 + (2 * np.pi * hz * bass_s) ** -2.0)
        return _pole_db(hz, treble_s) - bass

    return (shape(frequency_hz) - shape(reference_hz))[()]
