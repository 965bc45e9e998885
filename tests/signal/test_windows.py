"""Windows against Harris, "On the use of windows", Proc. IEEE 66 (1978) 51–83, and against scipy.signal.windows.

The numbers are that paper's quantities worked out from its coefficients to six digits; the flat top and the Kaiser
windows follow scipy's definitions.
"""

from __future__ import annotations

import math

import known_spectra
import numpy as np
import pytest
from accuracy import grid
from scipy import signal

from reviewkit.signal import windows

# equivalent noise bandwidth (lines), scalloping loss at half a line (dB), first zero (lines), coherent gain
HARRIS = {
    "rectangular": (1.00000, 3.9224, 1, 1.00000),
    "hann": (1.50000, 1.4236, 2, 0.50000),
    "hamming": (1.36283, 1.7514, 2, 0.54000),
    "blackman": (1.72676, 1.0989, 3, 0.42000),
    "blackman-harris": (2.00435, 0.8256, 4, 0.35875),
    "nuttall": (1.97611, 0.8506, 4, 0.36358),
    "flat top": (3.77025, 0.0098, 5, 0.21558),
}
# the same of Kaiser windows: β -> equivalent noise bandwidth, scalloping loss
KAISER = {2 * math.pi: (1.49634, 1.4527), 3 * math.pi: (1.79524, 1.0226), 38.0: (3.50713, 0.2747)}


def test_every_window_is_checked():
    assert set(HARRIS) == set(windows.COSINE_SUMS) == set(known_spectra.SCIPY_NAMES)


@pytest.mark.parametrize("name", HARRIS)
def test_figures_of_harris(name):
    bandwidth, scalloping_db, zero, gain = HARRIS[name]
    samples = windows.samples(name, 4096)
    assert windows.noise_bandwidth_of(name) == pytest.approx(bandwidth, abs=6e-6)
    assert windows.noise_bandwidth(samples) == pytest.approx(bandwidth, abs=6e-6)
    assert -20 * np.log10(windows.spread(name, np.array([0.5]))[0]) == pytest.approx(scalloping_db, abs=6e-5)
    assert windows.lobe(name) == zero
    assert windows.spread(name, np.array([float(zero)]))[0] == pytest.approx(0, abs=1e-12)
    assert float(np.mean(samples)) == pytest.approx(gain, abs=6e-6)


@pytest.mark.parametrize(("name", "count"), grid([*HARRIS], [64, 1000, 4096]))
def test_samples_are_those_of_scipy(name, count):
    assert windows.samples(name, count) == pytest.approx(known_spectra.window(name, count), abs=1e-9)


@pytest.mark.parametrize("name", HARRIS)
def test_spread_is_the_transform_of_scipys_window(name):
    # a transform padded sixteen times shows the lines between the lines
    count, padding = 8192, 16
    shown = np.abs(np.fft.fft(known_spectra.window(name, count), count * padding))
    offset = np.arange(0, 12 * padding) / padding
    assert windows.spread(name, offset) == pytest.approx(shown[: len(offset)] / shown[0], abs=2e-6)


@pytest.mark.parametrize("beta", KAISER)
def test_kaiser_windows(beta):
    bandwidth, scalloping_db = KAISER[beta]
    samples = windows.kaiser(4096, beta)
    assert samples == pytest.approx(signal.windows.kaiser(4096, beta, sym=False), abs=1e-12)
    assert windows.noise_bandwidth(samples) == pytest.approx(bandwidth, abs=6e-6)
    assert -20 * np.log10(windows.kaiser_spread(np.array([0.5]), beta)[0]) == pytest.approx(scalloping_db, abs=1e-4)


@pytest.mark.parametrize("beta", [5.0, 15.24, 28.0])
def test_kaiser_spread_is_the_windows_transform(beta):
    count = 16_384
    window = signal.windows.kaiser(count, beta, sym=False)
    index = np.arange(count) - count / 2  # the window is symmetric about its middle sample
    for offset in (0.0, 0.3, 1.7, 4.25, beta / math.pi, 12.5):
        turned = np.sum(window * np.cos(2 * np.pi * offset * index / count)) / np.sum(window)
        assert windows.kaiser_spread(np.array([offset]), beta)[0] == pytest.approx(turned, abs=3e-7)


def test_kaiser_is_read_only():
    with pytest.raises(ValueError, match="read-only"):
        windows.kaiser(64, 8.0)[0] = 1.0


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Hann", "hann"),
        ("hanning", "hann"),
        (" Blackman-Harris ", "blackman-harris"),
        ("blackman_harris", "blackman-harris"),
        ("BLACKMANHARRIS", "blackman-harris"),
        ("flattop", "flat top"),
        ("Flat-Top", "flat top"),
        ("uniform", "rectangular"),
        ("none", "rectangular"),
    ],
)
def test_spellings(written, name):
    assert windows.window_name(written) == name


@pytest.mark.parametrize("written", ["", "hannn", "welch", "4-term", "bh4", "kaiser"])
def test_a_window_that_is_not_known_is_not_guessed(written):
    assert windows.window_name(written) is None
