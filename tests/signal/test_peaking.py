"""Bands of equalisers against closed forms: a circuit of second order, and digital filters by scipy.

Truth comes from the filter's own response: its extreme, where that is, and the two places with half of the gain in dB.
"""

from __future__ import annotations

import numpy as np
import pytest
from accuracy import grid
from scipy import optimize, signal

from reviewkit.signal.peaking import NoPeak, fit_band

GAIN, PLACE = "gain of an equaliser's band", "centre and Q of an equaliser's band"
SHAPES = [(gain, q) for gain in (12.0, -12.0, 3.0) for q in (0.7, 1.4, 4.3)]
CASES = [(f0, *shape) for f0 in (63.0, 1000.0, 8000.0) for shape in SHAPES]


def circuit(centre_hz, gain_db, q):
    """A series RLC that shunts an amplifier's feedback: (s² + sω₀√K/Q + ω₀²) / (s² + sω₀/(√K·Q) + ω₀²), by scipy."""
    turn, root = 2 * np.pi * centre_hz, 10 ** (gain_db / 40)
    numerator, denominator = ([1, turn * each / q, turn**2] for each in (root, 1 / root))
    return lambda hz: 20 * np.log10(np.abs(signal.freqs(numerator, denominator, worN=2 * np.pi * np.atleast_1d(hz))[1]))


def biquad(centre_hz, gain_db, q, rate_hz=48_000.0):
    """The usual digital peaking filter (an audio equaliser cookbook, from memory)."""
    turn, root = 2 * np.pi * centre_hz / rate_hz, 10 ** (gain_db / 40)
    share = np.sin(turn) / (2 * q)
    numerator, denominator = ([1 + share * each, -2 * np.cos(turn), 1 - share * each] for each in (root, 1 / root))
    return lambda hz: (
        20 * np.log10(np.abs(signal.freqz(numerator, denominator, worN=2 * np.pi * np.atleast_1d(hz) / rate_hz)[1]))
    )


def true_band(response_db, centre_hz, gain_db):
    """Gain, centre and Q as they are defined."""
    half = lambda hz: response_db(hz)[0] - gain_db / 2  # noqa: E731
    low_hz = optimize.brentq(half, centre_hz / 16, centre_hz)
    high_hz = optimize.brentq(half, centre_hz, min(16 * centre_hz, 23_900.0))
    return float(response_db(centre_hz)[0]), centre_hz, centre_hz / (high_hz - low_hz)


@pytest.mark.parametrize(
    ("centre_hz", "gain_db", "q", "filter_of"), grid([63.0, 1000.0, 8000.0], SHAPES, [circuit, biquad])
)
def test_gain_centre_and_q(filter_of, centre_hz, gain_db, q, accuracy):
    response_db = filter_of(centre_hz, gain_db, q)
    gain, centre, true_q = true_band(response_db, centre_hz, gain_db)
    for per_octave, start_hz in ((24, 10.0), (24, 10.15), (48, 10.0)):
        hz = start_hz * 2 ** (np.arange(11 * per_octave) / per_octave)
        found = fit_band(hz, response_db(hz))
        assert found.q is not None
        accuracy(GAIN, found.gain_db - gain)
        accuracy(PLACE, 100 * (found.centre_hz / centre - 1))
        accuracy(PLACE, 100 * (found.q / true_q - 1))


@pytest.mark.parametrize(("centre_hz", "gain_db", "q"), [case for case in CASES if abs(case[1]) > 6])
def test_a_circuit_read_by_a_noisy_meter(centre_hz, gain_db, q, accuracy):
    """0.02 dB r.m.s. on each point, 24 an octave."""
    random = np.random.default_rng(4)
    hz = 10 * 2 ** (np.arange(264) / 24)
    for _ in range(5):
        found = fit_band(hz, circuit(centre_hz, gain_db, q)(hz) + random.normal(0, 0.02, len(hz)))
        accuracy(GAIN, found.gain_db - gain_db)
        accuracy(PLACE, 100 * (found.centre_hz / centre_hz - 1))
        accuracy(PLACE, 100 * (found.q / q - 1))


def test_q_needs_half_of_the_gain_on_both_sides():
    """31.5 Hz with a Q of 0.7: the lower place is at 31.5·(√(1 + 1/1.96) − 1/1.4) = 16.2 Hz."""
    response_db = circuit(31.5, 12.0, 0.7)
    assert fit_band(np.geomspace(16.0, 500.0, 100), response_db(np.geomspace(16.0, 500.0, 100))).q is not None
    short = fit_band(np.geomspace(16.5, 500.0, 100), response_db(np.geomspace(16.5, 500.0, 100)))
    assert short.q is None
    assert short.centre_hz == pytest.approx(31.5, rel=1e-3)


def test_what_is_no_band():
    hz = np.geomspace(20.0, 20_000.0, 121)
    with pytest.raises(NoPeak, match="shelf"):
        fit_band(hz, 12 / (1 + (hz / 200) ** 2))
    with pytest.raises(NoPeak, match="one band"):
        fit_band(hz, 12.0 * ((hz > 500) & (hz < 2000)))
    with pytest.raises(NoPeak, match="too few"):
        fit_band(hz[::6], circuit(1000.0, 12.0, 4.3)(hz[::6]))
