"""Equalisation of tape and of FM radio by their time constants, as a pure function."""

from __future__ import annotations

from typing import Any

import numpy as np

from reviewkit.signal.weighting import REFERENCE_HZ


def _pole_db(frequency_hz: Any, seconds: float) -> Any:
    """Return how far one pole lowers a level: 10 lg(1 + (2πfτ)²), dB."""
    return 10 * np.log10(1 + (2 * np.pi * frequency_hz * seconds) ** 2)


def equalisation_db(frequency_hz: Any, seconds: tuple[float, ...]) -> Any:
    """Return an FM tuner's de-emphasis, or the level at which an ideal head replays a tape of constant flux.

    Parameters
    ----------
    frequency_hz : Any
        In Hz, above 0, a scalar or an array of any shape.
    seconds : tuple[float, ...]
        One time constant: of FM, 50e-6 in Europe, 75e-6 in the Americas (ITU-R BS.450-3, 1.2). Two: of treble and bass
        of a tape, such as 120e-6 or 70e-6 and 3180e-6 for cassettes; the bass is infinite if the standard has none.

    Returns
    -------
    Any
        In dB, same shape, 0 dB at 1 kHz. The opposite of a tape's is the flux level that is recorded.

    Notes
    -----
    Tape: IEC 60094-1:1981, 15.1: 10 lg(1 + (2πf·τ₁)²) − 10 lg(1 + 1/(2πf·τ₂)²), the formula from memory.
    """

    def shape(hz: Any) -> Any:
        if len(seconds) == 1:
            return -_pole_db(hz, seconds[0])
        treble_s, bass_s = seconds
        return _pole_db(hz, treble_s) - 10 * np.log10(1 + (2 * np.pi * hz * bass_s) ** -2.0)

    return (shape(np.asarray(frequency_hz, dtype=float)) - shape(REFERENCE_HZ))[()]
