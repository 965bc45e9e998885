"""The part of a record that isn't its tone or harmonics, as power per line.

Tones are found through a window with low side lobes, which sees little but the middle of the record. Noise has to be
measured over all of it, so the residual is seen again through a cosine-tapered (Tukey) window, flat over three
quarters, and each harmonic is subtracted with that window's closed-form spread, as far as it reaches.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from reviewkit.signal.windows import kaiser

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

TAPER = 0.25  # of the record, half of it at each end
# two shapes are fitted to each tone, and its lines are slightly correlated: 1 / mean of the squared window each
LINES_TAKEN = 2 / (1 - 5 / 8 * TAPER)
_NEAR = 4  # lines
_MOST_SLOW, _STRETCHES_A_SINE = 320, 12
_REACH = 1000  # lines; the spread has fallen to 5e-9 there


@lru_cache(maxsize=2)
def tapered(n: int) -> Array:
    """Return the cosine-tapered window: periodic, symmetric about sample n / 2, read-only.

    Parameters
    ----------
    n : int
        The number of samples.

    Returns
    -------
    Array
        Shape (n,).

    Notes
    -----
    Harris, Proc. IEEE 66 (1978).
    """
    from_end = np.minimum(np.arange(n), n - np.arange(n)) / n
    window = np.where(from_end < TAPER / 2, 0.5 - 0.5 * np.cos(2 * np.pi * from_end / TAPER), 1.0)
    window.setflags(write=False)
    return window


def tapered_spread(offset: Array) -> Array:
    """Return the signed spread of a tone seen through the tapered window.

    Parameters
    ----------
    offset : Array
        Distance from the tone, in lines.

    Returns
    -------
    Array
        Amplitude, 1 at offset 0, same shape: a rectangle convolved with half a cosine.
    """
    across = TAPER * np.asarray(offset, dtype=float)
    # at across = ±1 numerator and denominator are zero; the limit is π/4
    safe = np.where(np.abs(np.abs(across) - 1) < 1e-6, 0.0, across)
    taper = np.where(safe == across, np.cos(np.pi / 2 * safe) / (1 - safe**2), np.pi / 4)
    return np.asarray(np.sinc((1 - TAPER / 2) * offset) * taper)


def without_drift(samples: Array, highest: float, harmonics: Mapping[float, complex]) -> Array:
    """Return a record without what lies below a frequency, which no window keeps apart from the band above it.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    highest : float
        That frequency in lines (cycles of the record). Records of more than 160 such cycles are returned as they are:
        there the window's own side lobes are low enough.
    harmonics : Mapping[float, complex]
        What else the record holds: place -> amplitude, half the peak, phase relative to the middle of the record. They
        are kept, but not taken for a slow course.

    Returns
    -------
    Array
        Shape (n,), in the record's unit.

    Notes
    -----
    Any slow course over the record is a sum of sines of twice its length (a Fourier extension), fitted by least
    squares to averages over short stretches. An average over m samples lowers a sine by sin(mx)/(m sin x).
    """
    n, orders = len(samples), np.arange(int(2 * highest) + 1)
    if not 1 <= len(orders) <= _MOST_SLOW:
        return samples
    stretch = max(1, n // (_STRETCHES_A_SINE * len(orders)))
    # three averages in a row all but remove harmonics, which would otherwise alias to something slow
    once = np.ones(stretch) / stretch
    weights = np.convolve(np.convolve(once, once), once)
    means = np.lib.stride_tricks.sliding_window_view(samples, len(weights))[::stretch] @ weights
    centres = np.arange(len(means)) * stretch + (len(weights) - 1) / 2
    for place, amplitude in harmonics.items():
        turned = 2 * np.pi * place * (centres - n / 2) / n + np.angle(amplitude)
        means = means - 2 * abs(amplitude) * _lowered(place / n, stretch) * np.cos(turned)
    angle = np.pi * orders / n
    lowered = _lowered(orders / 2 / n, stretch)
    turns = np.outer(centres, angle)
    columns = np.hstack([np.cos(turns) * lowered, np.sin(turns[:, 1:]) * lowered[1:]])
    shares = np.linalg.pinv(columns.T @ columns, rcond=1e-12, hermitian=True) @ (columns.T @ means)
    values: NDArray[np.complex128] = np.zeros(n + 1, dtype=np.complex128)
    values[orders] = shares[: len(orders)]
    values[orders[1:]] -= 1j * shares[len(orders) :]
    values[1:] /= 2
    return np.asarray(samples - np.fft.irfft(values * 2 * n, 2 * n)[:n])


def _lowered(cycles_per_sample: Any, stretch: int) -> Any:
    """Return what is left of a sine after three averages over a stretch of samples, as a ratio, shape kept."""
    return (np.sinc(cycles_per_sample * stretch) / np.sinc(cycles_per_sample)) ** 3


def residual_power(
    rest: Array, fundamental: float, harmonics: Mapping[float, complex]
) -> tuple[Array, dict[float, complex]]:
    """Return what a record holds besides its tone and harmonics.

    Parameters
    ----------
    rest : Array
        The record without offset and fundamental, shape (n,).
    fundamental : float
        Its place in lines.
    harmonics : Mapping[float, complex]
        Place -> amplitude, half the peak, phase relative to the middle of the record.

    Returns
    -------
    tuple[Array, dict[float, complex]]
        Power of each line, shape (n // 2 + 1,), in the square of the data's unit, which add up to its mean square; and
        what was left of each harmonic, by place: the first fit sees little but the middle of the record, and so more of
        the noise.
    """
    n = len(rest)
    window = tapered(n)
    lines = np.fft.rfft(rest * window) / np.sum(window)
    lines[1::2] *= -1
    for place, amplitude in harmonics.items():
        # the image below 0 Hz reaches up to here, and the one above half the rate reaches down
        for centre, peak in ((place, amplitude), (-place, np.conj(amplitude)), (n - place, np.conj(amplitude))):
            low, high = max(0, round(centre) - _REACH), min(len(lines), round(centre) + _REACH + 1)
            if low < high:
                lines[low:high] -= peak * tapered_spread(np.arange(low, high).astype(np.float64) - centre)
    _refine(lines, fundamental)
    left = {place: _refine(lines, place) for place in harmonics}
    return np.asarray(2 * np.abs(lines) ** 2 * np.sum(window) ** 2 / (n * np.sum(window**2))), left


def _refine(lines: NDArray[np.complex128], place: float) -> complex:
    """Subtract, in place, what noise left in the first fit, and return the tone's share.

    The fit is of a tone and its slope, since over the whole record a small error of frequency matters more than in the
    middle.
    """
    low, high = max(0, round(place) - _NEAR), min(len(lines), round(place) + _NEAR + 1)
    offset = np.arange(low, high).astype(np.float64) - place
    slope = tapered_spread(offset + 1e-4) - tapered_spread(offset - 1e-4)
    shapes = np.stack([tapered_spread(offset), slope / 2e-4])
    shares = np.linalg.solve(shapes @ shapes.T, shapes @ lines[low:high])
    lines[low:high] -= shares @ shapes
    return complex(shares[0])


@lru_cache(maxsize=8)
def fitted_noise_lines(n: int, beta: float) -> float:
    """Return the white noise in an amplitude fitted through a Kaiser window, as a number of lines.

    Notes
    -----
    N Σg², where g is the window squared over its sum.
    """
    weight = kaiser(n, beta) ** 2
    return float(n * np.sum(weight**2) / np.sum(weight) ** 2)
