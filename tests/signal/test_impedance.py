"""Impedance curves against drivers of closed form (tests/truth/known_drivers.py), a data sheet and IEC 60268-5."""

from __future__ import annotations

import known_drivers as known
import numpy as np
import pytest
from accuracy import grid
from scipy import optimize

from reviewkit.signal.impedance import NoResonance, bass_peaks, fit_resonance, minimum_of, rated_ohm, tuning_of

DRIVERS = {"A": known.A, "B": known.B, "C": known.C, "D": known.D, "headphone": known.HEADPHONE, "sheet": known.PRINTED}
ROW, MINIMUM = "fs and Q", "least impedance"


def sweep(driver, per_octave=24, low_hz=10.0, high_hz=20_000.0, noise=0.0, seed=0):
    frequency = np.geomspace(low_hz, high_hz, round(np.log2(high_hz / low_hz) * per_octave) + 1)
    ohm = np.abs(driver.ohms(frequency))
    return frequency, ohm * np.exp(np.random.default_rng(seed).normal(0, noise, len(ohm)) if noise else 0.0)


@pytest.mark.parametrize(("dc_known", "per_octave", "name"), grid([True, False], [12, 24, 48], [*DRIVERS]))
def test_resonance_of_a_bare_driver(name, per_octave, dc_known, accuracy):
    driver = DRIVERS[name]
    found = fit_resonance(*sweep(driver, per_octave), driver.re if dc_known else None)
    for value, true in (
        (found.frequency_hz, driver.fs),
        (found.q_mechanical, driver.qms),
        (found.q_electrical, driver.qes),
        (found.q_total, driver.qts),
    ):
        accuracy(ROW, 100 * (value / true - 1))


@pytest.mark.parametrize("seed", range(5))
def test_resonance_with_a_noisy_meter(seed, accuracy):
    """Half a percent from point to point."""
    found = fit_resonance(*sweep(known.B, noise=0.005, seed=seed), known.B.re)
    for value, true in ((found.frequency_hz, 30.0), (found.q_total, known.B.qts)):
        accuracy(ROW, 100 * (value / true - 1))


def test_a_data_sheet():
    """A driver's circuit elements, and the figures that its sheet prints."""
    cmes, lces = 302.84e-6, 6.88e-3
    assert 1 / (2 * np.pi * np.sqrt(cmes * lces)) == pytest.approx(110.3, abs=0.05)
    found = fit_resonance(*sweep(known.PRINTED), 6.18)
    assert found.frequency_hz == pytest.approx(110.3, abs=0.05)
    assert found.q_mechanical == pytest.approx(4.537, abs=2e-3)
    assert found.q_electrical == pytest.approx(1.297, abs=1e-3)
    assert found.q_total == pytest.approx(1.009, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "least_ohm", "at_hz", "peak_ohm", "peak_hz"),
    [
        ("B", 6.522604, 413.47, 71.50011, 29.99547),
        ("C", 3.331552, 487.60, 17.05037, 54.95346),
        ("D", 5.846316, 303.16, 75.40098, 44.98696),
    ],
)
def test_minimum_and_peak(name, least_ohm, at_hz, peak_ohm, peak_hz, accuracy):
    """Worked examples of the circuit; the minimum is shallow, so its place is known less well than its value."""
    frequency, ohm = sweep(DRIVERS[name], low_hz=20.0)
    least = minimum_of(frequency, ohm)
    accuracy(MINIMUM, 100 * (least.ohm / least_ohm - 1))
    assert least.frequency_hz == pytest.approx(at_hz, rel=0.01)
    (peak,) = bass_peaks(frequency, ohm)
    assert peak.frequency_hz == pytest.approx(peak_hz, rel=2e-3)
    assert peak.ohm == pytest.approx(peak_ohm, rel=0.01)


@pytest.mark.parametrize("per_octave", [12, 24])
def test_two_peaks_of_a_vented_box(per_octave, accuracy):
    frequency, ohm = sweep(known.VENTED, per_octave)
    peaks = bass_peaks(frequency, ohm)

    def size(hz):
        return abs(complex(known.VENTED.ohms(hz)))

    bounds = [(15, 30), (30, 48), (48, 90)]
    signs = (-1, 1, -1)
    true = [
        optimize.minimize_scalar(lambda hz, sign=sign: sign * size(hz), bounds=ends, method="bounded").x
        for ends, sign in zip(bounds, signs, strict=True)
    ]
    dip = tuning_of(frequency, ohm, peaks)
    for found, hz in zip((peaks[0], dip, peaks[1]), true, strict=True):
        accuracy(ROW, 100 * (found.frequency_hz / hz - 1))
    assert dip.frequency_hz == pytest.approx(38.0, rel=0.02)
    with pytest.raises(NoResonance, match="two peaks"):
        fit_resonance(frequency, ohm)


def test_the_peak_of_a_crossover_is_no_second_resonance():
    """A closed box of 60 Hz whose crossover peaks at 1.2 kHz."""
    frequency = np.geomspace(10, 20_000, 265)
    crossover = known.Driver(0.0, 0.0, 1200.0, 1.5, 1.0)
    both = known.Driver(5.6, 0.3e-3, 60.0, 3.0, 0.9).ohms(frequency)
    turned = frequency / crossover.fs
    both = both + 12 / (1 + 1.5j * (turned - 1 / turned))
    assert [round(peak.frequency_hz) for peak in bass_peaks(frequency, np.abs(both))] == [60]
    assert fit_resonance(frequency, np.abs(both)).frequency_hz == pytest.approx(60, rel=0.01)


@pytest.mark.parametrize(
    ("least_ohm", "rated"),
    [(3.2, 4), (3.19, 3), (4.8, 6), (6.4, 8), (6.39, 6), (12.8, 16), (5.1, 6), (3.4, 4), (1.5, None)],
)
def test_rated_impedance_by_the_80_percent_rule(least_ohm, rated):
    """IEC 60268-5, 16.1: 3.2 Ω for 4 Ω, 4.8 for 6, 6.4 for 8, 12.8 for 16."""
    assert rated_ohm(least_ohm) == rated


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "words"),
    [(25.0, 20_000.0, "both sides"), (100.0, 20_000.0, "no resonance peak")],
)
def test_a_peak_that_is_not_surrounded_gives_no_q(low_hz, high_hz, words):
    with pytest.raises(NoResonance, match=words):
        fit_resonance(*sweep(known.B, low_hz=low_hz, high_hz=high_hz))
