"""Levels against the definitions of the units: dBV re 1 V; dBu re √0.6 V and dBm in 600 Ω, where 1 mW stands at that
voltage; dBW re 1 W; dBFS re a full-scale sine (AES17, from memory). The figures are those definitions worked out.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.signal import decibels


@pytest.mark.parametrize(
    ("level", "unit", "volts"),
    [
        (-10.0, "dBV", 0.316227766),
        (0.0, "dBV", 1.0),
        (0.0, "dBu", 0.7745966692),
        (4.0, "dBu", 1.2276530),
        (-7.7815125, "dBu", 0.316227766),  # −10 dBV
        (0.0, "dBm", 0.7745966692),  # 1 mW in 600 Ω
        (16.9897, "dBW", 20.0),  # 50 W into 8 Ω
        (20.0, "dBW", 28.2842712),
        (2.5, "V", 2.5),
    ],
)
def test_volts(level, unit, volts):
    assert decibels.volts_of(np.array([level]), unit, 8.0)[0] == pytest.approx(volts, rel=2e-6)


def test_full_scale_is_a_sine():
    # a sine whose peak just reaches 10 V full scale is 7.07 V r.m.s., and 0 dBFS
    volts = decibels.volts_of(np.array([0.0, -20.0]), "dBFS", full_scale_v=10.0)
    assert volts == pytest.approx([7.0710678, 0.70710678])


@pytest.mark.parametrize(("unit", "told"), [("dB", {}), ("dBr", {}), ("dBW", {}), ("dBFS", {"load_ohm": 8.0})])
def test_a_level_without_its_reference_is_no_voltage(unit, told):
    assert decibels.volts_of(np.array([0.0]), unit, **told) is None


@pytest.mark.parametrize(
    ("ratio", "db"),
    # 1 %: 20 lg 1.01 = 0.0864275 dB; a square's crest over a sine's 3.0103 dB
    [(1.0, 0.0), (1.01, 0.0864275), (10.0, 20.0), (2.0, 6.0205999), (math.sqrt(2), 3.0103), (1e-6, -120.0)],
)
def test_ratios(ratio, db):
    assert decibels.db_of_amplitude(ratio) == pytest.approx(db, abs=1e-6)
    assert decibels.amplitude_of_db(db) == pytest.approx(ratio, rel=1e-6)


def test_half_power():
    assert pytest.approx(-3.0102999566, abs=1e-9) == decibels.HALF_POWER_DB


@given(st.floats(-200, 200))
def test_there_and_back(level_db):
    assert decibels.db_of_amplitude(decibels.amplitude_of_db(level_db)) == pytest.approx(level_db, abs=1e-9)


def test_scalars_and_arrays_keep_their_shape():
    assert np.ndim(decibels.amplitude_of_db(-6.0)) == 0
    assert decibels.amplitude_of_db(np.zeros((2, 3))).shape == (2, 3)
    assert decibels.db_of_amplitude(np.ones(4)).shape == (4,)


def test_relative_levels():
    # volts below zero are readings in opposite phase: only their size counts
    assert decibels.relative_db(np.array([1.0, -10.0]), "V") == pytest.approx([0.0, 20.0])
    assert decibels.relative_db(np.array([-3.0, 4.0]), "dBr") == pytest.approx([-3.0, 4.0])


@pytest.mark.parametrize(
    ("microvolts", "dbf_300", "dbf_75"),
    [(0.5, -0.792, 5.229), (1.0, 5.229, 11.249), (1.9, 10.804, 16.824), (5.0, 19.208, 25.229), (1000, 65.229, 71.249)],
)
def test_dbf_at_an_antenna(microvolts, dbf_300, dbf_75):
    """10 lg(V² / R / 1 fW), the arithmetic of IHF-T-200's change from microvolts to power, printed to 0.001 dB."""
    assert decibels.dbf_of_volts(microvolts * 1e-6, 300.0) == pytest.approx(dbf_300, abs=6e-4)
    assert decibels.dbf_of_volts(microvolts * 1e-6, 75.0) == pytest.approx(dbf_75, abs=6e-4)
    assert decibels.volts_of_dbf(dbf_300, 300.0) == pytest.approx(microvolts * 1e-6, rel=1e-4)


def test_dbf_of_worked_examples():
    """14.043648 dBf is 1.379472 µV at 75 Ω and 2.758945 µV at 300 Ω."""
    assert decibels.volts_of_dbf(np.array([14.043648]), 75.0) == pytest.approx(1.379472e-6, rel=1e-6)
    assert decibels.volts_of_dbf(14.043648, 300.0) == pytest.approx(2.758945e-6, rel=1e-6)
