"""The wander of a tone's frequency within a record: a player's speed and flutter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Complex = NDArray[np.complex128]

_WITHIN = 0.05  # of the tone's frequency
_FEWEST_LINES = 25  # fewer don't resolve the phase over time
_END = 0.05  # of the record: limiting the band leaves an echo of the other end there
_LEAST_PHASE = 0.01  # rad r.m.s.: sidebands 40 dB below the tone
_LEAST_SHARE = 0.5
_LEAST_RATIO = 3.0  # noise, or a second tone, moves amplitude and phase by as much
_LEAST_WANDER = 1e-4  # the steadiest players wander by some hundredths of a percent (common practice, no source)


def hann_lines(samples: Array) -> Complex:
    """Return a record's half-spectrum through a Hann window.

    A steady tone that is cut off at the record's ends leaks so little that a band can be cut out of it.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.

    Returns
    -------
    Complex
        Shape (n // 2 + 1,), not scaled.
    """
    return np.fft.rfft((samples - np.mean(samples)) * np.hanning(len(samples)))


def wander_of(lines: Complex, cycles: float, least_rad: float = _LEAST_PHASE) -> float | None:
    """Measure how far a tone's frequency wanders to one side of its mean.

    Parameters
    ----------
    lines : Complex
        The record's `hann_lines`.
    cycles : float
        About how many cycles of the tone the record holds.
    least_rad : float
        How far its phase must move, r.m.s.; it must also hold most of the power.

    Returns
    -------
    float | None
        As a ratio of its frequency; None if it is steady.

    Notes
    -----
    The lines within 5 % of the tone, shifted to 0 Hz, are its amplitude and phase over time. It wanders if the phase
    moves and the amplitude doesn't. Nine tenths of the time it is within the figure: of a sine's peak, 99 %.
    """
    reach = int(_WITHIN * cycles)
    centre = round(cycles)
    if reach < _FEWEST_LINES or centre + reach >= len(lines) - 1:
        return None
    near = lines[centre - reach : centre + reach + 1]
    if np.sum(np.abs(near) ** 2) < _LEAST_SHARE * np.sum(np.abs(lines) ** 2):
        return None
    baseband = np.fft.ifft(np.fft.ifftshift(near))
    kept = slice(int(_END * len(baseband)) + 1, -int(_END * len(baseband)) - 1)
    amplitude = (np.abs(baseband) / np.hanning(len(baseband) + 1)[:-1].clip(1e-3))[kept]
    phase = np.unwrap(np.angle(baseband))[kept]
    place = np.arange(len(phase))
    moves = float(np.std(phase - np.polyval(np.polyfit(place, phase, 1), place)))
    breathes = float(np.std(amplitude) / np.mean(amplitude)) if amplitude.any() else np.inf
    if moves < max(least_rad, _LEAST_RATIO * breathes):
        return None
    offset = np.gradient(phase) * len(baseband) / (2 * np.pi)
    low, high = np.quantile(offset, [0.05, 0.95])
    wander = float((high - low) / 2 / (cycles + np.mean(offset)))
    return wander if wander >= _LEAST_WANDER else None
