"""Corners, slopes and crossings through the kinds that give them, against analogue filters by scipy.signal.freqs and
closed forms: eight points an octave, corner frequencies and the grid's place by chance.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from known_filters import BandPass
from measured_sheets import column, conditions, measured, one, sheet
from scipy import optimize, signal

from reviewkit.measure.kinds import KINDS

PER_OCTAVE = 8
ROW = "corners, slopes, crossings"
HALF_POWER_DB = 10 * math.log10(0.5)
# quality factors of two poles: Butterworth 1/√2, Bessel 1/√3 (filter theory), two that peak; None: one pole
SHAPES = {"one pole": None, "Butterworth": 2**-0.5, "Bessel": 3**-0.5, "peak of 6 dB": 2.0, "peak of 12 dB": 4.0}


def level_db(shape, corner_hz, kind, frequency_hz):
    """A low-pass or a high-pass of one or two poles, dB."""
    omega, quality = 2 * math.pi * corner_hz, SHAPES[shape]
    denominator = [1, omega] if quality is None else [1, omega / quality, omega**2]
    order = len(denominator) - 1
    numerator = [omega**order] if kind == "low-pass" else [1] + [0] * order
    asked = 2 * math.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    return 20 * np.log10(np.abs(signal.freqs(numerator, denominator, worN=asked)[1]))


def deviation_db(shape, corner_hz, kind, frequency_hz):
    """The same re 1 kHz."""
    return level_db(shape, corner_hz, kind, frequency_hz) - level_db(shape, corner_hz, kind, 1000.0)


def half_power_hz(shape, corner_hz, kind):
    """Where the power is half that at 1 kHz."""
    ends = (1000.0, 1e7) if kind == "low-pass" else (1e-3, 1000.0)
    return optimize.brentq(lambda f: deviation_db(shape, corner_hz, kind, f)[0] - HALF_POWER_DB, *ends, xtol=1e-9)


def grid(random, per_octave=PER_OCTAVE, low_hz=1.0, high_hz=400_000.0):
    """Frequencies at so many points an octave, anywhere on the axis."""
    octaves = np.arange(0, math.log2(high_hz / low_hz), 1 / per_octave)
    return low_hz * 2 ** (octaves + random.uniform(0, 1 / per_octave))


def drawn_corner(random, kind, nearest):
    """A corner at least `nearest` times 1 kHz above it, or below it."""
    away = math.exp(random.uniform(math.log(nearest), math.log(60)))
    return 1000.0 * away if kind == "low-pass" else 1000.0 / away


@pytest.mark.parametrize("kind", ["low-pass", "high-pass"])
@pytest.mark.parametrize("shape", SHAPES)
def test_corners_of_a_response(shape, kind, accuracy):
    random = np.random.default_rng(20)
    for _ in range(12):
        corner_hz, frequency = drawn_corner(random, kind, 2.5), grid(random)
        data = sheet(
            column("frequency", frequency), column("level", level_db(shape, corner_hz, kind, frequency), "", "dBV")
        )
        found = one(measured("response", data), "corner_high" if kind == "low-pass" else "corner_low").value
        accuracy(ROW, 100 * (found / half_power_hz(shape, corner_hz, kind) - 1))


@pytest.mark.parametrize("kind", ["low-pass", "high-pass"])
@pytest.mark.parametrize("shape", SHAPES)
def test_corners_and_slopes_of_a_contour(shape, kind, accuracy):
    """A filter switched in, against the same unit without it; neither sweep has the other's frequencies."""
    random = np.random.default_rng(21)
    for _ in range(12):
        corner_hz, own, its = drawn_corner(random, kind, 1.3), grid(random), grid(random)
        unit = ("one pole", 90_000.0, "low-pass")
        data = sheet(
            column("frequency", own),
            column("level", level_db(shape, corner_hz, kind, own) + level_db(*unit, own), "", "dBV"),
        )
        reference = sheet(column("frequency", its), column("level", 10 ** (level_db(*unit, its) / 20), "", "V"))
        told = conditions("contour", against="flat")
        found = KINDS["contour"].findings(data, told.__class__(told.measurement, told.bench, reference=reference))
        side, step = ("corner_high", 1) if kind == "low-pass" else ("corner_low", -1)
        exact_hz = half_power_hz(shape, corner_hz, kind)
        corner = one(found, side)
        accuracy(ROW, 100 * (corner.value / exact_hz - 1))
        near, far = (deviation_db(shape, corner_hz, kind, exact_hz * 2.0 ** (step * octaves))[0] for octaves in (1, 2))
        slope = one(found, "slope", frequency=corner.value)
        accuracy(ROW, 100 * (slope.value / (far - near) - 1))


def test_power_at_a_limit_by_a_straight_line_on_log_axes(accuracy):
    """50, 55, 60 W at 0.05, 0.3, 3 %: ln 55 + ln(1/0.3)/ln(3/0.3) · ln(60/55) = ln 57.5601 (closed form)."""
    data = sheet(column("power", [50.0, 55.0, 60.0], "L"), column("distortion", [0.05, 0.3, 3.0], "L"))
    found = one(measured("distortion-power", data), "power_at_limit", "L", limit=1.0).value
    accuracy(ROW, 100 * (found / 57.5601 - 1))


def test_power_at_a_limit_of_a_power_law(accuracy):
    """Distortion a·Pⁿ is a straight line on log axes, so its crossing is (1/a)^(1/n) wherever the points lie."""
    random = np.random.default_rng(22)
    for _ in range(12):
        exact_w, exponent = random.uniform(5, 200), random.uniform(1, 20)
        power = exact_w * 2 ** (np.arange(-4, 1, 1 / PER_OCTAVE) + random.uniform(0, 1 / PER_OCTAVE))
        data = sheet(column("power", power), column("distortion", (power / exact_w) ** exponent))
        found = one(measured("distortion-power", data), "power_at_limit", limit=1.0).value
        accuracy(ROW, 100 * (found / exact_w - 1))


@pytest.mark.parametrize("per_octave", [3, 8])
@pytest.mark.parametrize("start_hz", [17.3, 18.6, 19.9])
def test_the_edges_of_a_band_are_read_as_the_rest_is(accuracy, per_octave, start_hz):
    """A sweep of a few points an octave that has none at 20 Hz or 20 kHz: the truth is the filter's own there."""
    filtered = BandPass(22.0, 19_000.0, 2)
    frequency = start_hz * 2 ** (np.arange(np.ceil(10.6 * per_octave)) / per_octave)
    level = column("level", filtered.level_db(frequency), unit="dB")
    found = measured("response", sheet(column("frequency", frequency), level))
    lowest = one(found, "deviation_low")
    assert lowest.at["band"] == [20.0, 20_000.0]
    accuracy("response at the edges of a band", lowest.value - filtered.extremes_db((20.0, 20_000.0))[1])
