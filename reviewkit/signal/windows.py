"""Windows: their samples, noise bandwidth, and how a tone spreads over the lines of a spectrum taken with them.

The cosine-sum coefficients are those of Harris, "On the use of windows", Proc. IEEE 66 (1978) 51-83; flat top and
Nuttall as in scipy.signal.windows. Offsets are in lines (bins); a spread is 1 at offset 0.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

COSINE_SUMS: dict[str, tuple[float, ...]] = {
    "rectangular": (1.0,),
    "hann": (0.5, 0.5),
    "hamming": (0.54, 0.46),
    "blackman": (0.42, 0.5, 0.08),
    "blackman-harris": (0.35875, 0.48829, 0.14128, 0.01168),
    "nuttall": (0.3635819, 0.4891775, 0.1365995, 0.0106411),
    "flat top": (0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368),
}
_SPELLINGS = {
    "rect": "rectangular",
    "none": "rectangular",
    "uniform": "rectangular",
    "hanning": "hann",
    "blackmanharris": "blackman-harris",
    "blackman harris": "blackman-harris",
    "flattop": "flat top",
    "flat-top": "flat top",
}


def window_name(words: str) -> str | None:
    """Return the window of the table that a word names, or None."""
    name = " ".join(words.strip().lower().replace("_", " ").split())
    name = _SPELLINGS.get(name, name)
    return name if name in COSINE_SUMS else None


def samples(name: str, n: int) -> Array:
    """Return the periodic form of a window.

    Parameters
    ----------
    name : str
        A name in COSINE_SUMS.
    n : int
        The number of samples.

    Returns
    -------
    Array
        Shape (n,).
    """
    angle = 2 * np.pi * np.arange(n) / n
    return sum(a * (-1.0) ** m * np.cos(m * angle) for m, a in enumerate(COSINE_SUMS[name])) + np.zeros(n)


def noise_bandwidth(window: Array) -> float:
    """Return the equivalent noise bandwidth of a window.

    Parameters
    ----------
    window : Array
        Its samples, shape (n,).

    Returns
    -------
    float
        In lines: N Σw² / (Σw)².

    Notes
    -----
    Harris, Proc. IEEE 66 (1978).
    """
    return float(len(window) * np.sum(window**2) / np.sum(window) ** 2)


def noise_bandwidth_of(name: str) -> float:
    """Return a window's equivalent noise bandwidth in lines, from its coefficients: 1 + Σ(a_m/a_0)²/2."""
    first, *rest = COSINE_SUMS[name]
    return 1 + sum((a / first) ** 2 for a in rest) / 2


def lobe(name: str) -> int:
    """Return the half-width of the main lobe in lines: the offset of the first zero."""
    return len(COSINE_SUMS[name])


def spread(name: str, offset: Array) -> Array:
    """Return the amplitude that a tone leaves at a distance from its own line.

    Parameters
    ----------
    name : str
        A name in COSINE_SUMS.
    offset : Array
        Distance in lines.

    Returns
    -------
    Array
        1 at offset 0, same shape, for records of many samples.
    """
    coefficients = COSINE_SUMS[name]
    total = coefficients[0] * np.sinc(offset)
    for m, a in enumerate(coefficients[1:], start=1):
        total = total + 0.5 * a * (np.sinc(offset - m) + np.sinc(offset + m))
    return np.abs(total / coefficients[0])


@lru_cache(maxsize=4)
def kaiser(n: int, beta: float) -> Array:
    """Return a Kaiser window: periodic, symmetric about sample n / 2, read-only.

    Parameters
    ----------
    n : int
        The number of samples.
    beta : float
        Its shape.

    Returns
    -------
    Array
        Shape (n,).
    """
    rising = np.i0(beta * np.sqrt(1 - ((np.arange(n // 2 + 1) - n / 2) / (n / 2)) ** 2)) / np.i0(beta)
    window = np.concatenate((rising, rising[1 : n - n // 2][::-1]))
    window.setflags(write=False)
    return window


def kaiser_spread(offset: Array, beta: float) -> Array:
    """Return the signed spread of a tone seen through a Kaiser window.

    Parameters
    ----------
    offset : Array
        Distance in lines.
    beta : float
        The window's shape.

    Returns
    -------
    Array
        1 at offset 0, same shape: sinhc(√(β² − (πδ)²)) / sinhc(β), whose first zero is just beyond β/π lines.
    """
    square = beta**2 - (np.pi * np.asarray(offset, dtype=float)) ** 2
    root = np.sqrt(np.abs(square))
    root = np.where(root < 1e-6, 1e-6, root)
    inside = np.sinh(np.minimum(root, beta)) / root
    return np.asarray(np.where(square >= 0, inside, np.sin(root) / root) * (beta / np.sinh(beta)))
