"""Linearity against levels of closed form."""

from __future__ import annotations

import numpy as np
import pytest

from reviewkit.signal.level_steps import linearity_db


def test_a_converter_that_compresses():
    """1 LSB too little at each step: 20 lg(1 − 2^−15 / a), of 16 bits; an ideal one has no deviation."""
    nominal = np.arange(0.0, -91.0, -10.0)
    amplitude = 10 ** (nominal / 20)
    off = 20 * np.log10(amplitude - 2.0**-16)
    at, deviation = linearity_db(nominal, off)
    assert at.tolist() == nominal[::-1].tolist()
    true = 20 * np.log10(1 - 2.0**-16 / amplitude)
    assert deviation == pytest.approx((true - true[0])[::-1], abs=1e-9)
    assert np.max(np.abs(linearity_db(nominal, nominal - 3.7)[1])) == pytest.approx(0.0, abs=1e-12)
