"""Source impedance and damping factor. Two loads: Z = (Va − Vb) / (Vb/Rb − Va/Ra), circuit theory; damping factor is
load over source impedance (IEC 60268-3, from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from measured_sheets import (
    HERTZ,
    all_of,
    card_of,
    column,
    conditions,
    measured,
    one,
    panel_of,
    quantities,
    run_from,
    sheet,
)
from rated_and_found import found as found_one
from rated_and_found import rated, runs_of, session

from reviewkit.measure.kinds import KINDS
from reviewkit.measure.source_impedance import between, two_load, two_load_uncertainty
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Run
from reviewkit.model.gear import gear_of
from reviewkit.model.quantities import show
from reviewkit.model.session import Bench, Rating
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.verdict import judge

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


@pytest.mark.parametrize(
    ("type_", "damps"), [("preamplifier", False), ("player", False), ("headphone amplifier", True)]
)
@pytest.mark.parametrize("load_ohm", [None, 32.0])
def test_a_line_output_damps_nothing(type_, damps, load_ohm):
    told = {"volts": {"L": (2.0, 1.9)}, "volts_step": {"L": 1e-6}, "loads_ohm": (math.inf, 10_000.0)}
    of_type = {"gear": gear_of([type_])}
    two_loads = replace(conditions(KIND, file="", load_ohm=load_ohm, **told), **of_type)
    swept = sheet(column("frequency", HERTZ), column("impedance", np.full(len(HERTZ), 220.0)))
    for data, c in ((None, two_loads), (swept, replace(conditions(KIND, load_ohm=load_ohm), **of_type))):
        run = run_from(data, c)
        assert {"source_impedance"} <= {f.quantity for f in run.findings}
        damping = "damping_factor" in {f.quantity for f in run.findings}
        assert damping == (damps and (load_ohm is not None or data is None))
        assert bool(run.withheld) == (damps and not damping)
        assert KINDS[KIND].card([run], ()).subject == ("Damping factor" if damping else "Source impedance")
        assert KINDS[KIND].points(run, None)


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


def test_a_load_of_half_a_percent_and_a_meter_of_half_a_thousandth():
    """2.83 V open, 2.80 V at 8 Ω; standard uncertainties of 0.5 % of the load and of 0.05 % of 2.83 V. GUM first order
    by hand from Z = R (Vo/VL − 1): u = √((0.0107 · 0.04)² + (2.857 · 0.001415)² + (2.888 · 0.001415)²) = 0.00576 Ω, so
    at k = 2 the damping factor lies from 8 / (Z + U) = 82.3 to 8 / (Z − U) = 107.8.
    """
    u = two_load_uncertainty((2.83, 2.80), (math.inf, 8.0), (0.0005 * 2.83, 0.0005 * 2.83), (0.0, 0.005 * 8))
    assert u == pytest.approx(0.00576, abs=5e-6)
    z = two_load(2.83, math.inf, 2.80, 8.0)
    assert 8 / (z + 2 * u) == pytest.approx(82.3, abs=0.05)
    assert 8 / (z - 2 * u) == pytest.approx(107.8, abs=0.05)


@pytest.mark.parametrize("loads", [(8.0, 4.0), (4.0, 8.0), (math.inf, 8.0)])
def test_the_uncertainty_is_the_spread_of_many_draws(loads):
    """Monte Carlo (JCGM 101:2008, from memory) against the first order, every source of it switched on."""
    random = np.random.default_rng(5)
    volts = tuple(10 * load / (load + 0.1) if math.isfinite(load) else 10.0 for load in loads)
    drawn_v = [random.normal(v, 2e-3, 40_000) for v in volts]
    drawn_r = [random.normal(r, 0.02 * r, 40_000) if math.isfinite(r) else np.full(40_000, math.inf) for r in loads]
    z = (drawn_v[0] - drawn_v[1]) / (drawn_v[1] / drawn_r[1] - drawn_v[0] / drawn_r[0])
    u_loads = tuple(0.02 * r if math.isfinite(r) else 0.0 for r in loads)
    assert two_load_uncertainty(volts, loads, (2e-3, 2e-3), u_loads) == pytest.approx(float(np.std(z)), rel=0.02)


def test_the_loads_tolerance_enters():
    """±1 % are limits of a rectangle, u = 1 %/√3 (GUM); Z is proportional to the load where the other reading is open.
    A meter of a hundred thousandth of a volt adds nothing that shows.
    """
    volts = {"L": (2.83, 2.80)}
    found = read((math.inf, 8.0), volts, step=1e-5, bench=Bench(load_tolerance_percent=1.0))
    ohms = one(found, "source_impedance", "L")
    assert ohms.uncertainty == pytest.approx(2 * 0.01 / math.sqrt(3) * ohms.value, rel=0.02)
    without = one(read((math.inf, 8.0), volts, step=1e-5), "source_impedance", "L").uncertainty
    assert without < ohms.uncertainty / 10


def test_the_level_uncertainty_cancels():
    volts = {"L": (2.83, 2.80)}
    plain = read((math.inf, 8.0), volts, step=0.001)
    stated = read((math.inf, 8.0), volts, step=0.001, bench=Bench(level_uncertainty_db=0.5))
    assert [(f.value, f.uncertainty) for f in stated.findings] == [(f.value, f.uncertainty) for f in plain.findings]


def test_what_the_factor_lies_between():
    """8 / (Z ± U); on the card, and in the sentence's facts, to the digits that U carries."""
    found = read((math.inf, 8.0), {"L": (2.83, 2.80)}, step=0.004)
    ohms, factor = one(found, "source_impedance", "L"), one(found, "damping_factor", "L")
    assert factor.at["interval"] == pytest.approx(
        [8 / (ohms.value + ohms.uncertainty), 8 / (ohms.value - ohms.uncertainty)]
    )
    assert factor.bound == ""
    told = {"volts": {"L": (2.83, 2.8)}, "volts_step": {"L": 0.004}}
    run = Run(conditions(KIND, file="", loads_ohm=(math.inf, 8.0), frequency_hz=1000.0, **told), found.findings)
    card = KINDS[KIND].card([run], ())
    low, high = math.floor(factor.at["interval"][0]), math.ceil(factor.at["interval"][1])
    assert (low, high) == (84, 105)
    assert (card.body.figure, card.body.sentence) == ("93 ± 10", "Damping factor, left channel")
    judged = Verdict(
        Rating("damping_factor", "", at_least=110.0), "", "", "110", "93", "falls short", findings=(factor,)
    )
    assert KINDS[KIND].card([run], (judged,)).body.sentence == "Damping factor, left channel, rated 110: falls short"
    assert ("source impedance, left", "0.086 Ω") in card.readings
    (point,) = KINDS[KIND].points(run, None)
    assert point.facts["between"] == "84 to 105"


def test_of_two_loads_the_worse_channel_is_large():
    """8 / (0.4 / (8.0 / 8)) = 20, and 8 / (0.8 / (8.0 / 8)) = 10."""
    volts, loads = {"L": (8.4, 8.0), "R": (8.8, 8.0)}, (math.inf, 8.0)
    found = read(loads, volts, step=0.001)
    told = {"volts": volts, "volts_step": {"L": 0.001, "R": 0.001}, "loads_ohm": loads}
    body = KINDS[KIND].card([Run(conditions(KIND, file="", **told), found.findings)], ()).body
    assert (body.figure.split(" ")[0], body.sentence) == ("10", "Damping factor, right channel")


@pytest.mark.parametrize(
    ("value", "uncertainty", "interval", "text"),
    [
        (93.33, 12.6, [82.27, 107.84], "82 to 108"),
        (180.0, 40.0, [147.3, 231.4], "140 to 240"),  # an uncertainty of one digit, in tens
        (120.4, 4.0, [116.5, 124.5], "116 to 125"),
        (8.21, 0.3, [7.92, 8.52], "7.9 to 8.6"),
        (93.33, 0.02, [93.31, 93.35], ""),  # both read like the figure
    ],
)
def test_the_ends_carry_the_uncertaintys_digits(value, uncertainty, interval, text):
    """Two digits of it if the first is 1 or 2, else one (after GUM 7.2.6, from memory); whole numbers from ten up, and
    the true value lies between the two that are read.
    """
    assert between(found_one("damping_factor", value, uncertainty=uncertainty, interval=interval)) == text


@pytest.mark.parametrize("volts", [(12.71, 12.71), (12.713, 12.710), (12.72, 12.71)])
def test_readings_that_differ_by_little_more_than_the_meter_resolves(volts):
    """A bound instead of a number: Z at most Z + U, the factor at least R / (Z + U); U by hand from d/√12, k = 2. Where
    the loaded reading is the higher one by less than that, Z counts as it comes out.
    """
    found = read((math.inf, 8.0), {"L": volts}, step=0.01)
    z = 8 * (volts[0] / volts[1] - 1)
    u = 2 * 0.01 / math.sqrt(12) * math.hypot(8 / volts[1], 8 * volts[0] / volts[1] ** 2)
    ohms, factor = one(found, "source_impedance", "L"), one(found, "damping_factor", "L")
    assert (ohms.bound, factor.bound) == ("at most", "at least")
    assert ohms.value == pytest.approx(z + u, rel=1e-6)
    assert factor.value == pytest.approx(8 / (z + u), rel=1e-6)
    assert ohms.uncertainty is factor.uncertainty is None
    assert "interval" not in factor.at
    assert show(factor).startswith("≥ ")


def test_a_bound_confirms_a_rating_and_denies_none():
    found = read((math.inf, 8.0), {"L": (12.71, 12.71), "R": (12.71, 12.71)}, step=0.01)
    made = runs_of(*found.findings)
    for limit, word in ((60, "meets"), (1500, "meets"), (2000, "not comparable")):
        (verdict,) = judge(session(rated("damping_factor", at_least=limit)), made)
        assert verdict.verdict == word


@pytest.mark.parametrize(
    ("loads", "volts"),
    [
        ((math.inf, 8.0), (12.60, 12.71)),  # rises under the load
        ((8.0, 4.0), (10.0, 5.0)),  # one current through both: no voltage behind it
        ((8.0, 4.0), (10.0, 4.0)),
    ],
)
def test_readings_that_no_source_gives(loads, volts):
    found = read(loads, {"L": volts}, step=0.01)
    assert not found.findings
    assert "no source impedance for L" in found.withheld[0]
    assert "check which of them was read at which load" in found.withheld[0]


def test_each_channel_for_itself():
    found = read((math.inf, 8.0), {"L": (10.0, 9.9), "R": (10.0, 9.8)}, frequency_hz=1000.0, setting="at the terminals")
    assert one(found, "damping_factor", "L").value == pytest.approx(99)
    assert one(found, "damping_factor", "R").value == pytest.approx(49)
    at = dict(one(found, "damping_factor", "R").at)
    assert at.pop("interval") == pytest.approx([49, 49], rel=1e-4)
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


def test_the_card_holds_what_the_file_says():
    ohms = [0.1, 0.1, 0.16, 0.2, 0.3]
    card = card_of("source-impedance", sheet(column("frequency", HERTZ), column("impedance", ohms)))
    assert panel_of(card).traces[0].y.tolist() == [8 / z for z in ohms]
    assert card.hero.figure == "50"  # 8 Ω / 0.16 Ω
    bare = card_of("source-impedance", sheet(column("frequency", HERTZ), column("impedance", ohms)), load_ohm=None)
    assert panel_of(bare).traces[0].y.tolist() == ohms
    assert panel_of(bare).y.unit == "Ω"
    assert bare.hero.figure == "0.160 Ω"


def test_the_card_and_what_is_said_are_of_the_rated_frequency():
    rating = Rating("damping_factor", "", at_least=30, frequency_hz=100.0)
    data = sheet(column("frequency", HERTZ), column("impedance", [0.1, 0.2, 0.16, 0.2, 0.3]))
    card = card_of("source-impedance", data, ratings=[rating])
    assert (card.hero.figure, card.hero.caption) == ("40", "damping factor, at 100 Hz")
    (point,) = KINDS["source-impedance"].points(run_from(data, conditions(KIND, ratings=[rating])), None)
    assert (point.facts["frequency"], point.facts["worse"].value) == (100.0, 40.0)
