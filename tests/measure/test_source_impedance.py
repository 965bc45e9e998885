"""Source impedance and damping factor. Two loads: Z = (Va − Vb) / (Vb/Rb − Va/Ra), circuit theory; damping factor is
load over source impedance (IEC 60268-3, from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from measured_sheets import all_of, column, measured, one, quantities, sheet

from reviewkit.errors import InputError
from reviewkit.measure.source_impedance import two_load
from reviewkit.model import Rating

KIND = "source-impedance"


def read(loads, volts, step=1e-6, **told):
    steps = dict.fromkeys(volts, step)
    return measured(KIND, None, file="", loads_ohm=loads, volts=volts, volts_step=steps, **told)


# ------------------------------------------------------------------ two loads


@pytest.mark.parametrize(
    ("loads", "volts", "load_ohm", "ohms", "factor"),
    [
        ((math.inf, 8.0), (10.0, 9.9), 8.0, 0.0808080808, 99.0),
        ((8.0, 4.0), (10.0, 9.92), 8.0, 0.0650406504, 123.0),
        ((8.0, 4.0), (10.0, 9.92), 4.0, 0.0650406504, 61.5),  # referred to the load stated
        ((math.inf, 8.0), (2.83, 2.80), 8.0, 0.0857142857, 93.333333),
        ((8.0, math.inf), (2.80, 2.83), 8.0, 0.0857142857, 93.333333),  # in the other order
        ((math.inf, 8.0), (10.0, 9.9), None, 0.0808080808, 99.0),  # no load stated: the one that was on
    ],
)
def test_two_loads(loads, volts, load_ohm, ohms, factor):
    found = read(loads, {"L": volts}, load_ohm=load_ohm)
    assert one(found, "source_impedance", "L").value == pytest.approx(ohms, rel=1e-9)
    assert one(found, "damping_factor", "L").value == pytest.approx(factor, rel=1e-8)
    assert one(found, "damping_factor", "L").at["load"] == (load_ohm or 8.0)


@given(st.floats(1e-3, 5.0), st.floats(2.0, 16.0), st.floats(1.1, 10.0), st.floats(0.5, 40.0))
def test_any_divider(source_ohm, load_ohm, ratio, open_v):
    """Voltages of an ideal source behind a resistance give the resistance back."""
    loads = (load_ohm * ratio, load_ohm)
    volts = tuple(open_v * r / (r + source_ohm) for r in loads)
    assert two_load(volts[0], loads[0], volts[1], loads[1]) == pytest.approx(source_ohm, rel=1e-6)
    opened = two_load(open_v, math.inf, volts[1], loads[1])
    assert opened == pytest.approx(source_ohm, rel=1e-6)


def test_the_meters_resolution():
    """GUM, first order: a step d is rectangular, u = d/√12, k = 2; Z = R (Vo/VL − 1), so ∂Z/∂Vo = R/VL and
    ∂Z/∂VL = −R Vo/VL²; a damping factor carries the same share.
    """
    found = read((math.inf, 8.0), {"L": (12.71, 12.46)}, step=0.01)
    u_volts = 0.01 / math.sqrt(12)
    u_ohms = math.hypot(8 / 12.46 * u_volts, 8 * 12.71 / 12.46**2 * u_volts)
    ohms, factor = one(found, "source_impedance", "L"), one(found, "damping_factor", "L")
    assert ohms.uncertainty == pytest.approx(2 * u_ohms, rel=1e-4)
    assert factor.uncertainty == pytest.approx(2 * u_ohms / ohms.value * factor.value, rel=1e-4)


def test_the_resolution_of_two_loads():
    """The same by a sum over a fine grid of what the last digits may hide: u is the standard deviation of Z."""
    hidden = (np.arange(400) + 0.5) / 400 - 0.5
    first, second = 10.0 + 0.001 * hidden[:, None], 9.92 + 0.001 * hidden[None, :]
    spread = (first - second) / (second / 4 - first / 8)
    found = read((8.0, 4.0), {"R": (10.0, 9.92)}, step=0.001)
    assert one(found, "source_impedance", "R").uncertainty == pytest.approx(2 * float(np.std(spread)), rel=1e-3)


@pytest.mark.parametrize("volts", [(12.71, 12.71), (12.70, 12.71), (12.713, 12.710)])
def test_readings_that_differ_by_no_more_than_the_meter_resolves(volts):
    found = read((math.inf, 8.0), {"L": volts}, step=0.01)
    assert not found.findings
    assert "no source impedance for L" in found.withheld[0]
    assert "one more digit" in found.withheld[0]


def test_each_channel_for_itself():
    found = read((math.inf, 8.0), {"L": (10.0, 9.9), "R": (10.0, 9.8)}, frequency_hz=1000.0, setting="at the terminals")
    assert one(found, "damping_factor", "L").value == pytest.approx(99)
    assert one(found, "damping_factor", "R").value == pytest.approx(49)
    at = one(found, "damping_factor", "R").at
    assert at == {"frequency": 1000.0, "method": "two loads", "load": 8.0, "setting": "at the terminals"}
    assert one(found, "source_impedance", "R").source == "session.toml"


@pytest.mark.parametrize(("loads", "volts"), [((), {}), ((8.0,), {"L": (1.0,)}), ((8.0, 4.0), {})])
def test_readings_that_are_missing_are_asked_for(loads, volts):
    with pytest.raises(InputError, match="give a file, or two readings"):
        read(loads, volts)


# ------------------------------------------------------------------ over frequency

FREQUENCY_HZ = np.geomspace(10, 40_000, 61)


def magnitude(frequency_hz, ohm=0.15, henry=1.8e-6):
    """|R + jωL|."""
    return np.hypot(ohm, 2 * np.pi * np.asarray(frequency_hz) * henry)


def swept(frequency=FREQUENCY_HZ, **channels):
    return sheet(
        column("frequency", frequency),
        *(column("impedance", ohms, "" if n == "mono" else n) for n, ohms in channels.items()),
    )


def test_over_frequency():
    """A coil behind a resistance: at 1 kHz, and lowest where the impedance is highest, at the top of the band."""
    found = measured(KIND, swept(L=magnitude(FREQUENCY_HZ), R=magnitude(FREQUENCY_HZ, 0.2)), load_ohm=8.0)
    for channel, ohm in (("L", 0.15), ("R", 0.2)):
        exact = float(magnitude(1000.0, ohm))
        assert one(found, "source_impedance", channel).value == pytest.approx(exact, rel=1e-4)
        assert one(found, "source_impedance", channel).at["frequency"] == 1000.0
        assert one(found, "damping_factor", channel).value == pytest.approx(8 / exact, rel=1e-4)
        lowest = one(found, "damping_factor_lowest", channel)
        assert lowest.value == pytest.approx(8 / float(magnitude(20_000.0, ohm)), rel=1e-3)
        assert lowest.at["frequency"] == 20_000.0
        assert lowest.at["band"] == [20.0, 20_000.0]


@pytest.mark.parametrize("load_ohm", [4.0, 16.0])
def test_the_factor_is_referred_to_the_load_stated(load_ohm):
    found = measured(KIND, swept(mono=np.full(61, 0.1)), load_ohm=load_ohm)
    assert one(found, "damping_factor").value == pytest.approx(load_ohm / 0.1)


def test_a_hump_in_the_middle():
    ohms = np.full(61, 0.1)
    ohms[20] = 0.25
    lowest = one(measured(KIND, swept(mono=ohms)), "damping_factor_lowest")
    assert lowest.value == pytest.approx(8 / 0.25)
    assert lowest.at["frequency"] == pytest.approx(FREQUENCY_HZ[20])


def test_rated_bands():
    rating = Rating("damping_factor", "", at_least=50, band_hz=(30.0, 1000.0))
    found = measured(KIND, swept(mono=magnitude(FREQUENCY_HZ)), ratings=[rating])
    assert [f.at["band"] for f in all_of(found, "damping_factor_lowest")] == [[20.0, 20_000.0], [30.0, 1000.0]]
    banded = one(found, "damping_factor_lowest", band=[30.0, 1000.0])
    assert banded.value == pytest.approx(8 / float(magnitude(1000.0)), rel=1e-4)


def test_without_a_load_there_is_no_factor():
    found = measured(KIND, swept(L=magnitude(FREQUENCY_HZ)), load_ohm=None)
    assert quantities(found) == {"source_impedance"}
    assert 'the load is not stated; write load = "8 ohm"' in found.withheld[0]


def test_data_that_do_not_reach_1_khz():
    frequency = np.geomspace(20, 500, 10)
    found = measured(KIND, swept(frequency, mono=magnitude(frequency)))
    assert quantities(found) == {"damping_factor_lowest"}
    assert one(found, "damping_factor_lowest").at["band"] == pytest.approx([20.0, 500.0])
