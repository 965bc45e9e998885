"""Linearity and tracking against levels of closed form."""

from __future__ import annotations

import numpy as np
import pytest

from reviewkit.signal.level_steps import linearity_db, tracking_db


def test_a_converter_that_compresses():
    """1 LSB too little at each step: 20 lg(1 − 2^−15 / a), of 16 bits; an ideal one has no deviation."""
    nominal = np.arange(0.0, -91.0, -10.0)
    amplitude = 10 ** (nominal / 20)
    off = 20 * np.log10(amplitude - 2.0**-16)
    at, deviation = linearity_db(nominal, off)
    assert at.tolist() == nominal.tolist()
    true = 20 * np.log10(1 - 2.0**-16 / amplitude)
    assert deviation == pytest.approx(true - true[0], abs=1e-9)
    assert np.max(np.abs(linearity_db(nominal, nominal - 3.7)[1])) == pytest.approx(0.0, abs=1e-12)


def test_noise_adds_as_power_and_ends_it():
    """A level n dB over the noise reads 10 lg(1 + 10^(−n/10)) too much: 0.41 dB at 10 dB; nearer ones aren't used."""
    nominal = np.array([-100.0, -60.0, -80.0, 0.0, -90.0])
    noise_db = -98.0
    measured = 10 * np.log10(10 ** (nominal / 10) + 10 ** (noise_db / 10))
    at, deviation = linearity_db(nominal, measured, noise_db)
    assert at.tolist() == [0.0, -60.0, -80.0]
    assert deviation[-1] == pytest.approx(10 * np.log10(1 + 10**-1.8), abs=1e-6)


def test_tracking_of_a_volume_control():
    """Two tracks whose attenuation differs by 2 % of what it is in dB."""
    left = np.array([0.0, -10.0, -20.0, -40.0, -60.0])
    right = 1.02 * left - 0.5
    assert tracking_db(left, right) == pytest.approx([0.5, 0.7, 0.9, 1.3, 1.7])
    assert tracking_db(left, right, reference=0) == pytest.approx([0.0, 0.2, 0.4, 0.8, 1.2])
