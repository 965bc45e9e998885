"""What the bench is not sure of, from its statement to the last digit shown and to the verdict.

The GUM is JCGM 100:2008 and the decision rule ILAC-G8:09/2019, w = U; both from memory, with arithmetic by hand.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from statistics import NormalDist

import known_waveforms as known
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from measure.measured_sheets import column, conditions, one, sheet
from rated_and_found import found, rated, verdict_of

from reviewkit.measure import figures
from reviewkit.measure.kinds import KINDS
from reviewkit.model.digits import MINUS
from reviewkit.model.quantities import show, shown
from reviewkit.model.session import Bench, Rating
from reviewkit.model.sheet import NO_FILE

# 0.5 % standard is 1 % expanded, in decibels 20 lg(1.01) to first order; 1 % standard of a rectangle is ±√3 %
HALF_A_PERCENT_DB = 0.01 * 20 / math.log(10)
ONE_PERCENT_LIMITS = math.sqrt(3)
FREQUENCY_HZ = np.geomspace(20, 20_000, 31)


# ------------------------------------------------------------------ the GUM's propagation


def test_twenty_volts_across_eight_ohms():
    """P = V²/R = 50 W; u(P)/P = √((2 · 0.5)² + 1²) % = 1.41421 %, so U = 1.4142136 W at k = 2: "50.0 W ± 1.4 W"."""
    bench = Bench(level_uncertainty_db=HALF_A_PERCENT_DB, load_tolerance_percent=ONE_PERCENT_LIMITS)
    phase = 2 * np.pi * 1000 * np.arange(24_000) / 48_000
    data = sheet(column("time", np.arange(24_000) / 48_000), column("level", 20 * math.sqrt(2) * np.sin(phase)))
    power = one(KINDS["tone"].findings(data, conditions("tone", bench=bench)), "power")
    assert power.value == pytest.approx(50.0, rel=1e-6)
    assert power.uncertainty == pytest.approx(1.4142136, rel=1e-6)
    assert show(power) == "50.0 W"
    assert shown(power.uncertainty, "watts", power.uncertainty) == "1.4 W"


@pytest.mark.parametrize(
    ("level_db", "tolerance", "expanded"),
    [
        (HALF_A_PERCENT_DB, None, 1.0),  # √((2 · 0.5 %)²) · 2 of 50 W
        (None, ONE_PERCENT_LIMITS, 1.0),
        (HALF_A_PERCENT_DB, ONE_PERCENT_LIMITS, 1.4142136),
        (0.1, None, 50 * 2 * 0.0115129),  # 0.1 dB is 1.15129 % of a voltage
        (None, 1.0, 50 * 2 * 0.0057735),  # ±1 % is u = 0.57735 %
        (None, None, None),
    ],
)
def test_watts(level_db, tolerance, expanded):
    bench = Bench(level_uncertainty_db=level_db, load_tolerance_percent=tolerance)
    got = figures.watts_uncertainty(conditions("tone", bench=bench), 50.0)
    assert got is expanded is None or got == pytest.approx(expanded, rel=1e-5)


@pytest.mark.parametrize("value", [20.0, -20.0])
def test_volts(value):
    """The factor of two is the square's alone; the load has no part in a voltage."""
    bench = Bench(level_uncertainty_db=HALF_A_PERCENT_DB, load_tolerance_percent=5.0)
    assert figures.volts_uncertainty(conditions("tone", bench=bench), value) == pytest.approx(0.2)
    assert figures.volts_uncertainty(conditions("tone"), value) is None


def test_watts_are_the_spread_of_many_draws():
    """Monte Carlo (JCGM 101:2008, from memory): a normal voltage, a load anywhere within its tolerance."""
    random = np.random.default_rng(11)
    drawn = random.normal(20.0, 0.005 * 20, 200_000) ** 2 / random.uniform(7.8, 8.2, 200_000)
    bench = Bench(level_uncertainty_db=HALF_A_PERCENT_DB, load_tolerance_percent=2.5)
    got = figures.watts_uncertainty(conditions("tone", bench=bench), 50.0)
    assert got == pytest.approx(2 * float(np.std(drawn)), rel=0.01)


# ------------------------------------------------------------------ what cancels in a ratio, and what does not


def tone():
    phase = 2 * np.pi * 997 * np.arange(48_000) / 48_000
    rng = np.random.default_rng(2)
    noise = known.noise(rng, 48_000, 48_000.0, (100.0, 18_000.0), 1e-3)
    volts = 20 * math.sqrt(2) * (np.sin(phase) + 1e-3 * np.sin(2 * phase) + 1e-3 * np.sin(3 * phase) + noise)
    return sheet(column("time", np.arange(48_000) / 48_000), column("level", volts))


def response():
    level = 2.83 / np.hypot(1, FREQUENCY_HZ / 60_000)
    return sheet(column("frequency", FREQUENCY_HZ), column("level", level, "L"), column("level", 0.98 * level, "R"))


def crosstalk():
    return sheet(
        column("frequency", FREQUENCY_HZ),
        column("level", np.full(31, 6.3), "L"),
        column("level", np.full(31, 6.3e-3), "R"),
    )


def uncertainties(kind, data, bench, **told):
    return {
        f.quantity: f.uncertainty for f in KINDS[kind].findings(data, conditions(kind, bench=bench, **told)).findings
    }


@pytest.mark.parametrize(
    ("kind", "data", "told", "ratios"),
    [
        ("tone", tone, {}, {"thd", "thd_plus_noise", "sinad", "snr", "harmonic_2", "harmonic_3"}),
        ("response", response, {}, {"flatness", "deviation_low", "channel_balance", "channel_balance_worst"}),
    ],
)
def test_what_is_common_to_both_levels_of_a_ratio_cancels(kind, data, told, ratios):
    got = uncertainties(kind, data(), Bench(level_uncertainty_db=0.5, load_tolerance_percent=5.0), **told)
    assert ratios <= set(got)
    assert {got[quantity] for quantity in ratios} == {None}


def test_two_loads_with_one_meter():
    """Both readings 1 % high leave the quotient as it was."""
    told = {"file": "", "loads_ohm": (math.inf, 8.0), "volts": {"L": (2.83, 2.80)}, "volts_step": {"L": 1e-3}}
    plain = uncertainties("source-impedance", NO_FILE, Bench(), **told)
    assert plain == uncertainties("source-impedance", NO_FILE, Bench(level_uncertainty_db=0.5), **told)
    high = told | {"volts": {"L": (2.83 * 1.01, 2.80 * 1.01)}}
    low, moved = (
        one(KINDS["source-impedance"].findings(NO_FILE, conditions("source-impedance", **t)), "source_impedance", "L")
        for t in (told, high)
    )
    assert moved.value == pytest.approx(low.value, rel=1e-12)


def test_watts_and_volts_keep_it():
    got = uncertainties("tone", tone(), Bench(level_uncertainty_db=0.1))
    assert got["level"] == pytest.approx(20 * 0.0115129, rel=1e-4)
    assert got["power"] == pytest.approx(50 * 2 * 0.0115129, rel=1e-4)


def test_the_power_at_one_percent_keeps_it():
    power = np.array([50.0, 55.0, 60.0, 65.0])
    # straight on log axes, so that the steps of the sweep add nothing
    data = sheet(column("power", power), column("distortion", 0.05 * (power / 50) ** 20, "", "%", "THD (%)"))
    bench = Bench(level_uncertainty_db=HALF_A_PERCENT_DB, load_tolerance_percent=ONE_PERCENT_LIMITS)
    got = one(KINDS["distortion-power"].findings(data, conditions("distortion-power", bench=bench)), "power_at_limit")
    assert got.uncertainty == pytest.approx(got.value * 0.028284271, rel=1e-6)


def test_a_signal_to_noise_ratio_re_a_stated_power_keeps_it():
    """The reference is a number on paper, so the whole uncertainty of the noise stays: 0.1 dB, and what a record of T
    = 2 s scatters. Of a band B the r.m.s. value scatters by 1/√(4 B T) of itself (Bendat and Piersol, from memory); the
    window makes the record shorter, by less than half.
    """
    rng = np.random.default_rng(4)
    volts = known.noise(rng, 96_000, 48_000.0, (10.0, 23_000.0), 1e-3)
    data = sheet(column("time", np.arange(96_000) / 48_000), column("level", volts))
    told = {"ratings": [Rating("power", "W", at_least=40.0, load_ohm=8.0)]}
    stated = KINDS["noise"].findings(data, conditions("noise", bench=Bench(level_uncertainty_db=0.1), **told))
    scatter_db = 2 * 8.686 / math.sqrt(4 * 20_000 * 2)
    kept = [f for f in stated.findings if f.quantity == "snr" and "weighting" not in f.at]
    assert {f.at["reference"] for f in kept} == {1.0, 40.0}
    for f in kept:
        assert math.hypot(0.1, scatter_db) <= f.uncertainty <= math.hypot(0.1, math.sqrt(2) * scatter_db)
    plain = KINDS["noise"].findings(data, conditions("noise", **told))
    assert {f.uncertainty for f in plain.findings if f.quantity == "snr"} == {None}


# ------------------------------------------------------------------ the digits shown


@pytest.mark.parametrize(
    ("value", "style", "expanded", "text"),
    [
        # U to two digits where its first is 1 or 2, else to one; the value to the same place (NIST SP 811, GUM 7.2.6)
        (50.0, "watts", 1.4142, "50.0 W"),
        (50.0, "watts", 3.1, "50 W"),
        (50.0, "watts", 14.0, "50 W"),
        (57.5601, "watts", 0.04, "57.6 W"),  # never more than the three digits of a power
        (57.5601, "watts", 0.9, "57.6 W"),
        (57.5601, "watts", 5.0, "58 W"),
        (157.5601, "watts", 33.0, "160 W"),
        (0.2534, "watts", 0.026, "253 mW"),
        (20.0, "volts", 0.2, "20.0 V"),
        (0.0123, "volts", 0.004, "12 mV"),
        (2.8284, "volts", 0.3, "2.8 V"),
        (0.0213, "percent", 0.0028, "0.021 %"),
        (0.0213, "percent", 0.0089, "0.021 %"),
        (0.0213, "percent", 0.012, "0.021 %"),
        (0.0213, "percent", 0.03, "0.02 %"),
        (-64.27, "db", 0.9, "−64.3 dB"),
        (-64.27, "db", 3.4, "−64 dB"),
        (-64.27, "db", 40.0, "−60 dB"),
        (0.283, "flatness", 0.09, "+0.28 dB"),
        (0.283, "flatness", 0.4, "+0.3 dB"),
        (93.33, "factor", 12.5, "93"),
        (93.33, "factor", 31.0, "90"),
        (8.21, "factor", 0.3, "8.2"),
        (0.0857142857, "ohms", 0.0115, "0.086 Ω"),
        (0.0857142857, "ohms", 0.0006, "0.0857 Ω"),
        # exact ties to even (NIST SP 811 B.7.1)
        (50.5, "watts", 3.0, "50 W"),
        (51.5, "watts", 3.0, "52 W"),
        (2.25, "volts", 0.5, "2.2 V"),
        (-64.5, "db", 5.0, "−64 dB"),
        (0.283, "plus-minus", 0.5, "±0.3 dB"),
        (63_420.0, "corner", 5000.0, "63 kHz"),
        # a step of the first digit's own: 0.3 is no 0.29999
        (1.2345, "watts", 0.3, "1.2 W"),
        (43.123, "watts", 0.0, "43.1 W"),
        (43.123, "watts", math.inf, "43.1 W"),
    ],
)
def test_never_more_digits_than_the_uncertainty_carries(value, style, expanded, text):
    assert shown(value, style, expanded) == text


@given(
    value=st.floats(1e-3, 1e4),
    relative=st.floats(1e-4, 1.0),
    style=st.sampled_from(["watts", "volts", "percent", "ohms", "factor", "db", "flatness"]),
)
def test_any_figure_stops_at_the_place_where_its_uncertainty_does(value, relative, style):
    """Shown is a whole multiple of the uncertainty's last digit, worked out here on its decimal figures."""
    expanded = value * relative
    text = shown(value, style, expanded).replace(MINUS, "-")
    number, unit = re.fullmatch(r"([-+]?[\d.]+) ?(\D*)", text).groups()
    prefix = Decimal({"m": "1e-3", "µ": "1e-6"}.get(unit[:1] if unit[1:] in ("W", "V") else "", "1"))
    place = place_of(expanded)
    multiple = Decimal(number) * prefix / Decimal(1).scaleb(place)
    assert multiple == multiple.to_integral_value()
    # rounded, not cut off: half the uncertainty's last digit, or half the figure's own (two digits; 0.1 dB)
    off = abs(float(Decimal(number) * prefix) - value)
    assert off <= max(0.5 * 10.0**place, 0.05 * value, 0.05 * (style in ("db", "flatness"))) * (1 + 1e-9)


def place_of(expanded):
    """The decimal place at which an uncertainty is rounded: −1 is tenths."""
    _, digits, exponent = Decimal(repr(expanded)).as_tuple()
    return len(digits) - 1 + exponent - (digits[0] in (1, 2))


# ------------------------------------------------------------------ the decision rule

CLOSE = "too close to call"


@pytest.mark.parametrize(
    ("y", "u", "p", "word"),
    [
        (0.080, 0.008, 0.99379, "meets"),
        (0.095, 0.008, 0.73401, CLOSE),
        (0.100, 0.008, 0.50000, CLOSE),
        (0.105, 0.008, 0.26599, CLOSE),
        (0.120, 0.008, 0.00621, "falls short"),
    ],
)
def test_an_upper_limit(y, u, p, word):
    """Of THD at most 0.10 %: the conformance probability Φ((T − y)/u) of JCGM 106:2012 (from memory). Its "within
    uncertainty" on either side of the limit is one word here.
    """
    assert NormalDist().cdf((0.10 - y) / u) == pytest.approx(p, abs=5e-6)
    assert verdict_of(rated("thd", at_most=0.10), found("thd", y, frequency=1e3, uncertainty=2 * u)).verdict == word


@pytest.mark.parametrize(
    ("y", "u", "p", "word"),
    [
        (52.0, 0.3, 1.00000, "meets"),
        (50.4, 0.3, 0.90879, CLOSE),
        (49.8, 0.3, 0.25249, CLOSE),
        (49.2, 0.3, 0.00383, "falls short"),
    ],
)
def test_a_lower_limit(y, u, p, word):
    """Of a power of at least 50 W; 49.2 W is 10 lg(49.2/50) = −0.0700 dB short."""
    assert NormalDist().cdf((y - 50.0) / u) == pytest.approx(p, abs=5e-6)
    power = found("power_at_limit", y, frequency=1e3, limit=1.0, load=8.0, uncertainty=2 * u)
    assert verdict_of(rated("power", at_least=50.0), power).verdict == word


@given(y=st.floats(0.05, 0.15), u=st.floats(0.001, 0.02))
def test_a_word_is_said_with_no_more_than_one_chance_in_forty_four_to_be_wrong(y, u):
    """With w = U a false word has at most the probability 1 − Φ(2) = 0.0227501 (ILAC-G8:09/2019)."""
    chance = 1 - NormalDist().cdf(2)
    assert chance == pytest.approx(0.0227501, abs=5e-8)
    conforms = NormalDist(y, u).cdf(0.10)
    word = verdict_of(rated("thd", at_most=0.10), found("thd", y, frequency=1e3, uncertainty=2 * u)).verdict
    if word == "meets":
        assert conforms >= 1 - chance - 1e-9
    elif word == "falls short":
        assert conforms <= chance + 1e-9
    else:
        assert word == CLOSE
        # what is printed as the limit itself, 0.10 %, is too close to call whatever its uncertainty
        assert chance - 1e-9 <= conforms <= 1 - chance + 1e-9 or f"{y:.2f}" == "0.10"
