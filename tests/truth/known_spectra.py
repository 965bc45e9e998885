"""Spectra as analysers export them: averaged power, a tone on a line standing at its r.m.s. level.

Windows come from scipy.signal.windows in their periodic form. Nothing of reviewkit is imported.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import windows  # type: ignore[import-untyped]

Array = NDArray[np.float64]

# the names that reviewkit documents -> scipy's
SCIPY_NAMES = {
    "rectangular": "boxcar",
    "hann": "hann",
    "hamming": "hamming",
    "blackman": "blackman",
    "blackman-harris": "blackmanharris",
    "nuttall": "nuttall",
    "flat top": "flattop",
}


def window(name: str, count: int) -> Array:
    """Samples of a window, periodic form, shape (count,)."""
    return np.asarray(windows.get_window(SCIPY_NAMES[name], count, fftbins=True))


def exported(samples: Array, rate_hz: float, points: int, name: str) -> tuple[Array, Array]:
    """Frequencies (Hz) and levels (r.m.s. of a tone at its line) of all whole blocks, averaged as power."""
    shape = window(name, points)
    blocks = samples[: len(samples) // points * points].reshape(-1, points)
    power = np.mean(np.abs(np.fft.rfft(blocks * shape)) ** 2, axis=0)
    return np.fft.rfftfreq(points, 1 / rate_hz), np.sqrt(2 * power) / float(np.sum(shape))
