"""Distortion over power: crossings on log axes between the two points around them, never beyond the data."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from measured_sheets import all_of, card_of, column, conditions, measured, one, panel_of, quantities, run_from, sheet

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.session import Bench, Rating

POWER_W = [50.0, 55.0, 60.0]
PERCENT = [0.05, 0.3, 3.0]


def sweep(power=POWER_W, percent=PERCENT, channel="", header="THD+N (%)"):
    return sheet(column("power", power), column("distortion", percent, channel, "%", header))


def test_a_power_of_one_side_is_no_other_sides_until_columns_says_so():
    """The message holds the line to paste, and the line pasted settles it."""
    text = b"Power L (W),THD L (%),THD R (%)\n50,0.05,0.05\n55,0.3,0.3\n60,3,3\n"
    volts = text.replace(b"Power L (W)", b"Output L (V)")
    for file, line in ((text, 'power = "Power L (W)"'), (volts, 'level = "Output L (V)"')):
        with pytest.raises(InputError, match=re.escape(f"in session.toml columns = {{ {line} }}")):
            measured("distortion-power", parse_sheet(file, "m/p.csv"))
        key, _, header = line.partition(" = ")
        told = parse_sheet(file, "m/p.csv", columns={key: header.strip('"')})
        found = all_of(measured("distortion-power", told), "power_at_limit")
        assert {f.channel for f in found} == {"L", "R"}
        assert found[0].value == found[1].value


# straight on log axes: the steps of the sweep leave nothing open
STRAIGHT_W = np.array([50.0, 55.0, 60.0, 65.0])
STRAIGHT = 0.05 * (STRAIGHT_W / 50) ** 20


def test_power_at_one_percent():
    """On log axes ln 55 + ln(1/0.3)/ln 10 · ln(60/55): 57.5601 W; straight lines would give 56.2963 W."""
    found = one(measured("distortion-power", sweep(), frequency_hz=1000.0), "power_at_limit")
    assert found.value == pytest.approx(57.5601, abs=5e-5)
    assert found.unit == "W"
    assert found.at["limit"] == 1.0
    assert found.at["frequency"] == 1000.0
    assert found.at["figure"] == "THD+N"
    assert found.at["load"] == 8.0


@given(st.floats(0.2, 3.0), st.floats(1.0, 200.0), st.floats(0.01, 0.5))
def test_a_power_law_is_read_exactly(exponent, onset_w, floor_percent):
    """Distortion that rises as a power of the watts is a straight line on log axes, however coarse the points."""
    power = onset_w * np.array([1.0, 1.7, 3.1, 5.5, 11.0]) ** 1
    percent = floor_percent * (power / onset_w) ** exponent
    found = measured("distortion-power", sweep(power, percent))
    exact = onset_w * (1 / floor_percent) ** (1 / exponent)
    if exact <= power[-1] * (1 - 1e-9):
        assert one(found, "power_at_limit").value == pytest.approx(exact, rel=1e-9)
        assert "power_reached" not in quantities(found)
    elif exact > power[-1] * (1 + 1e-9):
        assert one(found, "power_reached").value == power[-1]
        assert "power_at_limit" not in quantities(found)


def test_noise_crosses_the_limit_lower_down():
    """At little power noise is more than 1 % too: only the rise above the minimum counts."""
    power = np.array([0.001, 0.01, 0.1, 1.0, 10.0, 40.0, 50.0])
    percent = np.array([5.0, 1.6, 0.5, 0.16, 0.05, 0.2, 8.0])
    found = measured("distortion-power", sweep(power, percent))
    exact = 40 * (50 / 40) ** (math.log(1 / 0.2) / math.log(8 / 0.2))
    assert one(found, "power_at_limit").value == pytest.approx(exact, rel=1e-9)
    lowest = one(found, "lowest_distortion")
    assert (lowest.value, lowest.at["power"]) == (0.05, 10.0)


def test_a_limit_that_is_not_reached():
    """ "At least 48 W": the highest power of the sweep, and no power at the limit."""
    found = measured("distortion-power", sweep([1.0, 20.0, 48.0], [0.02, 0.01, 0.4]))
    reached = one(found, "power_reached")
    assert (reached.value, reached.at["limit"]) == (48.0, 1.0)
    assert "power_at_limit" not in quantities(found)


def test_a_sweep_that_is_never_below_the_limit_gives_no_power():
    found = measured("distortion-power", sweep([1.0, 10.0, 50.0], [3.0, 2.0, 8.0], "R"))
    assert not {"power_at_limit", "power_reached"} & quantities(found)
    assert "channel R never gets below it" in found.withheld[0]
    assert one(found, "lowest_distortion", "R").value == 2.0


def test_each_rated_limit_is_asked_for():
    ratings = [
        Rating("power", "W", at_least=50.0, thd_percent=0.1),
        Rating("power", "W", at_least=55.0, thd_plus_noise_percent=0.5),
        Rating("power", "W", at_least=55.0, thd_percent=0.1),
        Rating("thd", "%", at_most=0.2),
    ]
    found = measured("distortion-power", sweep(), ratings=ratings)
    assert [f.at["limit"] for f in all_of(found, "power_at_limit")] == [1.0, 0.1, 0.5]
    exact = 50 * (55 / 50) ** (math.log(0.1 / 0.05) / math.log(0.3 / 0.05))
    assert one(found, "power_at_limit", limit=0.1).value == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("unit", ["V", "dBV", "dBW"])
@pytest.mark.parametrize("load_ohm", [4.0, 8.0])
def test_volts_become_watts_over_the_load(load_ohm, unit):
    """P = U²/R: the same sweep as volts, dBV or dBW gives the same watts."""
    volts = np.sqrt(np.array(POWER_W) * load_ohm)
    level = {"V": volts, "dBV": 20 * np.log10(volts), "dBW": 10 * np.log10(POWER_W)}[unit]
    data = sheet(column("level", level, "", unit), column("distortion", PERCENT))
    found = one(measured("distortion-power", data, load_ohm=load_ohm), "power_at_limit")
    assert found.value == pytest.approx(57.5601, abs=5e-5)
    assert found.at["load"] == load_ohm


def test_volts_without_a_load_are_asked_for():
    data = sheet(column("level", [1.0, 2.0, 3.0], "", "V", "Output (V)"), column("distortion", PERCENT))
    with pytest.raises(InputError, match=r'column "Output \(V\)" in V cannot be turned into watts.*load = "8 ohm"'):
        measured("distortion-power", data, load_ohm=None)


def test_each_channel_over_its_own_volts():
    data = sheet(
        column("level", np.sqrt(np.array(POWER_W) * 8), "L"),
        column("level", np.sqrt(np.array(POWER_W) * 8 * 0.9), "R"),
        column("distortion", PERCENT, "L"),
        column("distortion", PERCENT, "R"),
    )
    found = measured("distortion-power", data)
    assert one(found, "power_at_limit", "L").value == pytest.approx(57.5601, abs=5e-5)
    assert one(found, "power_at_limit", "R").value == pytest.approx(0.9 * 57.5601, abs=5e-5)


def test_distortion_in_decibels():
    """0.05, 0.3, 3 % as amplitudes re the signal: −66.02, −50.46, −30.46 dB."""
    data = sheet(column("power", POWER_W), column("distortion", [-66.0206, -50.4576, -30.4576], "", "dB", "THD (dB)"))
    found = measured("distortion-power", data)
    assert one(found, "power_at_limit").value == pytest.approx(57.5601, abs=2e-4)
    assert one(found, "power_at_limit").at["figure"] == "THD"
    assert one(found, "lowest_distortion").value == pytest.approx(0.05, rel=1e-5)


def test_a_sweep_in_any_order():
    found = measured("distortion-power", sweep([60.0, 50.0, 55.0], [3.0, 0.05, 0.3]))
    assert one(found, "power_at_limit").value == pytest.approx(57.5601, abs=5e-5)


def test_rows_at_zero_have_no_place_on_log_axes():
    found = measured("distortion-power", sweep([0.0, *POWER_W], [4.0, *PERCENT]))
    assert one(found, "power_at_limit").value == pytest.approx(57.5601, abs=5e-5)
    assert "fewer than two rows" in measured("distortion-power", sweep([0.0, 5.0], [4.0, 0.1])).withheld[0]


def test_the_level_uncertainty_widens_power():
    """GUM, first order: 0.1 dB of voltage is 2 · 0.1 · ln 10 / 20 = 2.303 % of the power (k = 2 as stated)."""
    bench = Bench(level_uncertainty_db=0.1)
    straight = sweep(STRAIGHT_W, STRAIGHT)
    at = one(measured("distortion-power", straight, bench=bench), "power_at_limit")
    assert at.uncertainty == pytest.approx(at.value * 2 * 0.1 * math.log(10) / 20, rel=1e-9)
    reached = one(measured("distortion-power", sweep([1.0, 40.0], [0.01, 0.1]), bench=bench), "power_reached")
    assert reached.uncertainty == pytest.approx(40 * 0.02302585, rel=1e-6)
    assert one(measured("distortion-power", sweep(), bench=bench), "lowest_distortion").uncertainty is None
    assert one(measured("distortion-power", straight), "power_at_limit").uncertainty is None


@pytest.mark.parametrize("level_db", [None, 0.1])
def test_coarse_steps_at_the_knee_widen_power(level_db):
    """From 0.3 to 3 % in one step, with none behind: 57.6 W, but anywhere from 55 W to where the line of the two points
    before goes on to, 55 W · (1/0.3)^(ln 1.1 / ln 6) = 58.6 W; a rectangle about its own middle, and how far off it is.
    """
    found = one(measured("distortion-power", sweep(), bench=Bench(level_uncertainty_db=level_db)), "power_at_limit")
    high = 55 * (1 / 0.3) ** (math.log(1.1) / math.log(6))
    steps = 2 * math.sqrt((high - 55) ** 2 / 12 + (57.5601 - (55 + high) / 2) ** 2)
    level = 0.0 if level_db is None else found.value * 0.02302585
    assert found.uncertainty == pytest.approx(math.hypot(steps, level), rel=1e-4)


def test_an_ideal_clipper():
    """A sine that stops at ±c: 1 % THD at 1.047506 times the power at the onset of clipping (closed form, r.m.s.)."""
    power, percent = [], []
    for level in np.linspace(0.999, 0.93, 60):
        t = math.asin(level)
        first = 2 / math.pi * (t + math.sin(t) * math.cos(t))
        mean_square = 2 / math.pi * ((t - math.sin(t) * math.cos(t)) / 2 + level**2 * (math.pi / 2 - t))
        # clipping sets in at 40 W: a peak of 1 there, and of c/level when overdriven
        power.append(40 * mean_square / level**2 / 0.5)
        percent.append(100 * math.sqrt(2 * mean_square / first**2 - 1))
    found = one(measured("distortion-power", sweep(power, percent)), "power_at_limit")
    assert found.value / 40 == pytest.approx(1.047506, abs=1e-4)


def test_the_worse_channels_power_at_the_limit_is_large():
    """Each crosses 1 % at a point of its own."""
    power = np.array([1.0, 10.0, 40.0, 42.0, 50.0, 60.0])
    left = np.array([0.05, 0.03, 0.02, 0.5, 1.0, 9.0])
    right = np.array([0.05, 0.03, 0.02, 1.0, 3.0, 9.0])
    data = sheet(
        column("power", power),
        column("distortion", left, "L", "%", "THD+N L (%)"),
        column("distortion", right, "R", "%", "THD+N R (%)"),
    )
    run = run_from(data, conditions("distortion-power", frequency_hz=1000.0))
    card = KINDS["distortion-power"].card([run], ())
    assert (card.hero.figure, card.hero.channel, card.hero.caption) == ("42.0 W", "R", "right, at 1 %")


def test_before_and_after_are_compared_at_one_watt():
    """On the straight line between 0.5 W and 2 W, both axes logarithmic: √(0.1 · 0.4) = 0.2."""
    data = sheet(column("power", np.array([0.5, 2.0, 40.0])), column("distortion", np.array([0.1, 0.4, 0.02])))
    found = one(measured("distortion-power", data), "distortion")
    assert found.value == pytest.approx(0.25)
    assert found.at["power"] == 1.0


def test_two_loads_on_one_card():
    """Each curve is named by its load."""
    runs = []
    for load_ohm, header in ((8.0, "THD+N"), (4.0, "THD")):
        columns = [column("distortion", PERCENT, c, "%", f"{header} {c} (%)") for c in "LR"]
        data = sheet(column("power", POWER_W), *columns)
        made = conditions("distortion-power", load_ohm=load_ohm, id=f"sweep-{load_ohm:.0f}", stage="after")
        runs.append(run_from(data, made))
    card = KINDS["distortion-power"].card(runs, ())
    assert [trace.label for trace in card.body.panels[0].traces] == ["L 8 Ω", "R 8 Ω", "L 4 Ω", "R 4 Ω"]
    alone = KINDS["distortion-power"].card(runs[:1], ())
    assert (alone.subject, alone.conditions) == ("Distortion (THD+N)", ("8 Ω",))
    assert [trace.label for trace in alone.body.panels[0].traces] == ["L", "R"]


def test_the_card_holds_what_the_file_says():
    watts, percent = [1.0, 5.0, 10.0, 20.0, 40.0, 45.0], [0.02, 0.01, 0.01, 0.02, 0.05, 1.5]
    card = card_of("distortion-power", sheet(column("power", watts), column("distortion", percent, "L")))
    assert panel_of(card).traces[0].x.tolist() == watts
    # 1 % on the line between 40 W and 45 W, both axes logarithmic
    share = math.log(1 / 0.05) / math.log(1.5 / 0.05)
    assert card.hero.findings[0].value == pytest.approx(40 * (45 / 40) ** share)
    assert (card.hero.figure, card.hero.caption) == ("44 W", "at 1 %")
