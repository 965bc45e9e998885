"""Verdicts that were wrong or could be: each case with its truth worked out beside it.

The rules are this project's own, except where a source is named. Every case says what the maker printed, what was
measured, and what a bench owner can put his name to.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from measure.measured_sheets import column, conditions, sheet
from rated_and_found import found, rated, runs_of, session, verdict_of

from reviewkit.episode import session_cards
from reviewkit.episode.score import make_score_card
from reviewkit.measure import figures
from reviewkit.measure.kinds import KINDS
from reviewkit.model.finding import Run
from reviewkit.model.level import Level
from reviewkit.model.rating_words import labels
from reviewkit.model.session import Bench, Rating
from reviewkit.model.sheet import NO_FILE
from reviewkit.verdict.spec_table import spec_table
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, NO_VERDICT, SHORT, UNMEASURED, judge

BAND = (20.0, 20_000.0)
FORTY = rated("power", at_least=40.0, load_ohm=8.0, thd_percent=0.1)
AT_40_W = {"power": 40.0, "load": 8.0, "figure": "THD"}


def judged(rating: Rating, *findings: Any, others: tuple[Rating, ...] = (FORTY,), **keys: Any) -> Any:
    """The verdict on one rating of a unit that is rated for 40 W into 8 Ω as well."""
    return judge(session(rating, *others, **keys), runs_of(*findings))[0]


# ------------------------------------------------------------------ no frequency named means 1 kHz, and only 1 kHz


def test_a_damping_factor_at_no_frequency_is_the_one_at_1_khz():
    """318 ≥ 60 at 1 kHz; 29 at 20 kHz was never promised, and is told."""
    figures = [
        found("damping_factor", 318.0, frequency=1000.0),
        found("damping_factor_lowest", 29.0, frequency=20_000.0, band=BAND),
    ]
    verdict = judged(rated("damping_factor", at_least=60.0), *figures)
    assert (verdict.verdict, verdict.measured, verdict.margin) == (MEETS, "320", "+430 %")
    assert verdict.remark == "29 at 20 kHz"
    # over the band it is what the maker would have to name
    over_band = judged(rated("damping_factor", at_least=60.0, band_hz=BAND), *figures)
    assert (over_band.verdict, over_band.measured) == (SHORT, "29")


def test_a_separation_at_no_frequency_is_the_one_at_1_khz():
    """67.2 ≥ 55 dB at 1 kHz; the worst of the band, 42.0 dB, is told."""
    verdict = judged(
        rated("separation", at_least=55.0),
        *(found("crosstalk", -67.2, way, frequency=1000.0) for way in ("L>R", "R>L")),
        *(found("crosstalk", -48.0, way, frequency=10_000.0) for way in ("L>R", "R>L")),
        *(found("crosstalk_worst", -42.0, way, frequency=20_000.0, band=BAND) for way in ("L>R", "R>L")),
    )
    assert (verdict.verdict, verdict.measured, verdict.margin) == (MEETS, "67.2 dB", "+12.2 dB")
    assert verdict.remark == "42.0 dB at 20 kHz"


def test_a_distortion_at_no_frequency_is_the_one_at_1_khz():
    """0.011 ≤ 0.1 % at 1 kHz; 0.17 % at 20 kHz is told."""
    verdict = judged(
        rated("thd", at_most=0.1, power_w=40.0),
        found("distortion", 0.011, frequency=1000.0, **AT_40_W),
        found("worst_distortion", 0.17, frequency=20_000.0, band=BAND, **AT_40_W),
    )
    assert (verdict.verdict, verdict.measured, verdict.margin) == (MEETS, "0.011 %", "9.1 ×")
    assert verdict.remark == "0.17 % at 20 kHz"
    assert "at 1 kHz" in verdict.assumed


# ------------------------------------------------------------------ the limit is exact, and rounding hides little

# ASTM E29, absolute method (from memory): the limit is exact. A miss of 0.05 dB, or of 5 % of the limit, at most, that
# the limit's last printed digit does not show, is not called one.
DB = [
    # within, high, low, word
    ((-0.5, 0.5), 0.515, -0.1, CLOSE),  # 0.5 to one decimal; 0.015 dB
    ((-0.5, 0.5), 0.549, -0.1, CLOSE),  # 0.049 dB
    ((-0.5, 0.5), 0.56, -0.1, SHORT),  # 0.6
    ((-0.5, 0.5), 0.5, -0.1, MEETS),
    ((-0.25, 0.25), 0.256, -0.1, SHORT),  # 0.26
    ((-0.25, 0.25), 0.2545, -0.1, MEETS),  # prints as 0.25
    ((-1.0, 0.0), 0.013, -1.005, CLOSE),
    ((-1.0, 0.0), 0.004, -1.0, MEETS),  # +0.00 against +0
    ((-1.0, 0.0), 0.06, -0.5, SHORT),
    ((-1.0, 0.0), 0.0, -1.06, SHORT),  # 1 to no decimals, but 0.06 dB
    ((-3.0, 3.0), 3.049, -0.5, MEETS),  # prints as 3.0
    ((-3.0, 3.0), 3.06, -0.5, SHORT),
]


@pytest.mark.parametrize(("within", "high", "low", "word"), DB)
def test_a_response_near_its_tolerance(within, high, low, word):
    if -within[0] == within[1]:
        figures = [found("flatness", max(high, -low), band=BAND)]
    else:
        figures = [found("deviation_high", high, band=BAND), found("deviation_low", low, band=BAND)]
    verdict = judged(rated("flatness", within=within), *figures)
    assert verdict.verdict == word
    assert (verdict.remark == "rounds to the limit") == (word == CLOSE)


@pytest.mark.parametrize(
    ("limit", "value", "word"),
    [
        (0.1, 0.149, SHORT),  # 0.1 to one digit, but half as much again
        (0.1, 0.104, MEETS),  # prints as 0.10
        (0.03, 0.0314, CLOSE),  # 0.03; 4.7 %
        (0.03, 0.0316, SHORT),  # 5.3 %
        (0.05, 0.0524, CLOSE),  # 4.8 %
        (1.0, 1.04, MEETS),  # prints as 1.0
        (1.0, 1.06, SHORT),
    ],
)
def test_a_distortion_near_its_limit(limit, value, word):
    verdict = judged(rated("thd", at_most=limit, power_w=40.0), found("thd", value, frequency=1000.0, power=40.0))
    assert verdict.verdict == word


@pytest.mark.parametrize(
    ("limit", "value", "word"),
    [(40.0, 39.6, CLOSE), (40.0, 39.4, SHORT), (62.5, 62.46, MEETS), (62.5, 62.44, SHORT), (7.0, 6.6, SHORT)],
)
def test_a_power_near_its_limit(limit, value, word):
    """39.6 is 40 to the watt, 39.4 is 39; 62.46 prints as 62.5; 6.6 is 7 to the watt, but 5.7 % less."""
    rating = replace(FORTY, at_least=limit)
    sweep = found("power_at_limit", value, limit=0.1, frequency=1000.0, load=8.0, figure="THD")
    assert judged(rating, sweep, others=()).verdict == word


def test_a_stated_uncertainty_does_not_make_a_miss_of_what_rounds():
    rating = rated("flatness", within=(-0.5, 0.5))
    assert judged(rating, found("flatness", 0.515, band=BAND, uncertainty=0.005)).verdict == CLOSE


# ------------------------------------------------------------------ two loads


@pytest.mark.parametrize(
    ("limit", "word"),
    [(57.0, CLOSE), (45.0, CLOSE), (50.0, CLOSE), (44.0, MEETS), (43.0, MEETS), (58.0, SHORT), (60.0, SHORT)],
)
def test_a_factor_from_two_loads_is_judged_by_what_it_lies_between(limit, word):
    """50, from 44 to 58: 57 lies in it, though it is 7 away and ± is 6.8."""
    factor = found("damping_factor", 50.0, frequency=1000.0, uncertainty=6.8, interval=[44.0, 58.0], method="two loads")
    verdict = judged(rated("damping_factor", at_least=limit), factor)
    assert (verdict.verdict, verdict.measured) == (word, "50 ± 7")


def test_the_interval_is_the_one_of_the_meter_s_steps():
    """Z = 8 (V0/V1 − 1); each reading may be half a step of 10 mV off, u = step/√12, expanded by k = 2."""
    c = conditions("source-impedance", loads_ohm=(math.inf, 8.0), volts={"L": (12.70, 12.45)}, frequency_hz=1000.0)
    c = replace(c, measurement=replace(c.measurement, volts_step={"L": 0.01}, load_ohm=None))
    measured = KINDS["source-impedance"].findings(NO_FILE, c).findings
    factor = next(f for f in measured if f.quantity == "damping_factor")
    low, high = factor.at["interval"]
    u = 2 * math.hypot(8 / 12.45, 8 * 12.70 / 12.45**2) * 0.01 / math.sqrt(12)
    z = 8 * (12.70 / 12.45 - 1)
    assert (low, high) == pytest.approx((8 / (z + u), 8 / (z - u)), rel=1e-6)
    for limit, word in ((low - 0.5, MEETS), (low + 0.5, CLOSE), (high - 0.5, CLOSE), (high + 0.5, SHORT)):
        assert judged(rated("damping_factor", at_least=limit), factor).verdict == word


# ------------------------------------------------------------------ a distortion at no level is meant at the output


@pytest.mark.parametrize("value", [0.02, 0.3])
def test_a_distortion_at_one_watt_says_nothing_of_the_rated_output(value):
    verdict = judged(rated("thd", at_most=0.1), found("thd", value, frequency=1000.0, power=1.0, load=8.0))
    assert verdict.verdict == INCOMPARABLE
    assert verdict.why == "rated at no level, which means its output, 40 W, measured at 1 W"
    assert verdict.brief == "measured at 1 W"


def test_at_the_rated_output_it_is_judged_and_the_row_says_so():
    rating = rated("thd", at_most=0.1)
    for value, word in ((0.02, MEETS), (0.3, SHORT)):
        verdict = judged(rating, found("thd", value, frequency=1000.0, power=40.5, load=8.0))
        assert verdict.verdict == word
        assert "at 40.5 W" in verdict.assumed
    # above it is the harder test
    assert judged(rating, found("thd", 0.02, frequency=1000.0, power=45.0, load=8.0)).verdict == MEETS
    assert judged(rating, found("thd", 0.3, frequency=1000.0, power=45.0, load=8.0)).verdict == INCOMPARABLE


def test_the_rated_output_is_the_lowest_continuous_power_for_that_load():
    others = (
        replace(FORTY, at_least=55.0, rule="music"),
        replace(FORTY, at_least=45.0, frequency_hz=1000.0),
        FORTY,
        replace(FORTY, at_least=60.0, load_ohm=4.0),
    )
    rating = rated("thd", at_most=0.1)
    for load, power, word in (
        (8.0, 40.0, MEETS),
        (8.0, 30.0, INCOMPARABLE),
        (4.0, 60.0, MEETS),
        (4.0, 45.0, INCOMPARABLE),
    ):
        figure = found("thd", 0.02, frequency=1000.0, power=power, load=load)
        assert judged(rating, figure, others=others).verdict == word


def test_without_a_rated_power_the_level_is_the_bench_s():
    verdict = judged(rated("thd", at_most=0.1), found("thd", 0.02, frequency=1000.0, power=1.0), others=())
    assert (verdict.verdict, "at 1 W" in verdict.assumed) == (MEETS, True)


def test_an_intermodulation_at_no_level_too():
    figure = found("imd", 0.02, power=1.0, load=8.0, tones=[60.0, 7000.0])
    assert judged(rated("imd", at_most=0.1), figure).verdict == INCOMPARABLE
    assert judged(rated("imd", at_most=0.1), replace(figure, at={**figure.at, "power": 40.0})).verdict == MEETS


# ------------------------------------------------------------------ a power holds from 250 mW up


OVER_BAND = replace(FORTY, band_hz=BAND, thd_percent=0.05)


def swept(percent: float, power: float, **more: Any) -> list[Any]:
    return [
        found(
            "worst_distortion",
            percent,
            side,
            **{"band": BAND, **AT_40_W, "power": power, "measurement": f"{power} W", **more},
        )
        for side in "LR"
    ]


def test_crossover_at_one_watt_makes_a_power_fall_short():
    """0.02 % at 40 W and 0.2 % at 1 W: 0.05 % is promised from 250 mW up (16 CFR 432, from memory)."""
    assert judged(OVER_BAND, *swept(0.02, 40.0), others=()).verdict == MEETS
    verdict = judged(OVER_BAND, *swept(0.02, 40.0), *swept(0.2, 1.0), others=())
    assert (verdict.verdict, verdict.measured, verdict.limit) == (SHORT, "0.20 % at 1 W", "0.05 % from 250 mW to 40 W")
    assert verdict.remark == "the rating holds from 250 mW up"
    # clean at 1 W, nothing changes; under 250 mW nothing is promised; noise is no distortion
    for at_low in (swept(0.02, 1.0), swept(0.2, 0.2), swept(0.2, 1.0, figure="THD+N")):
        assert judged(OVER_BAND, *swept(0.02, 40.0), *at_low, others=()).verdict == MEETS


def test_a_tone_at_one_watt_shows_crossover_too():
    tones = [found("thd", 0.2, side, frequency=1000.0, measurement="tone", power=1.0, load=8.0) for side in "LR"]
    assert judged(OVER_BAND, *swept(0.02, 40.0), *tones, others=()).verdict == SHORT
    noisy = [replace(tone, quantity="thd_plus_noise") for tone in tones]
    assert judged(OVER_BAND, *swept(0.02, 40.0), *noisy, others=()).verdict == MEETS


def test_a_distortion_read_into_a_load_without_a_rated_power_is_held_to_the_rated_output_all_the_same():
    """0.1 % is printed, and 40 W into 8 Ω: a reading at 1 W into 4 Ω says nothing of it."""
    rating = rated("thd", at_most=0.1)
    found_4 = found("thd", 0.08, frequency=1000.0, power=1.0, load=4.0)
    verdict = judged(rating, found_4)
    assert (verdict.verdict, verdict.brief) == (INCOMPARABLE, "measured at 1 W")
    assert judged(rating, replace(found_4, at={**found_4.at, "power": 40.0})).verdict == MEETS


def test_so_does_a_tone_whose_level_is_in_volts():
    """2.828 V into 8 Ω is 1 W."""
    tones = [found("thd", 0.2, side, frequency=1000.0, measurement="tone", voltage=8**0.5, load=8.0) for side in "LR"]
    assert judged(OVER_BAND, *swept(0.02, 40.0), *tones, others=()).verdict == SHORT
    quiet = [replace(tone, at={**tone.at, "voltage": 1.0}) for tone in tones]  # 125 mW: nothing is promised there
    assert judged(OVER_BAND, *swept(0.02, 40.0), *quiet, others=()).verdict == MEETS


def power_sweep(percent_of: Any, header: str = "THD (%)", lowest_w: float = 0.05) -> Run:
    """A sweep at 1 kHz from 50 mW to 60 W, eight points a decade, which rises through 1 % at 50 W."""
    watts = np.geomspace(lowest_w, 60.0, 60)
    percent = percent_of(watts) + 1.0 * (watts / 50.0) ** 40
    data = sheet(
        column("power", watts, unit="W"),
        *(replace(column("distortion", percent, side, "%"), header=f"{header} {side}") for side in "LR"),
    )
    rating = replace(FORTY, frequency_hz=1000.0)
    c = conditions("distortion-power", frequency_hz=1000.0, load_ohm=8.0)
    c = replace(c, ratings=(rating,))
    made = KINDS["distortion-power"].findings(data, c)
    return Run(c, made.findings)


@pytest.mark.parametrize(
    ("percent_of", "header", "lowest_w", "word", "remark"),
    [
        # flat: under the limit everywhere
        (lambda w: 0.03 + 0 * w, "THD (%)", 0.05, MEETS, ""),
        # crossover, falling with the root of the power: 0.2 % at 1 W, 0.4 % at 250 mW, 0.032 % at 40 W
        (lambda w: 0.2 / np.sqrt(w), "THD (%)", 0.05, SHORT, "the rating holds from 250 mW up"),
        # the same as THD+N: noise may be what rises, and the row says that it does
        (lambda w: 0.2 / np.sqrt(w), "THD+N (%)", 0.05, MEETS, "0.40 % at 250 mW, noise or crossover"),
        # over the limit at 100 mW, but from 250 mW on under it: 0.1 % at 160 mW, 0.08 % at 250 mW
        (lambda w: 0.04 / np.sqrt(w), "THD (%)", 0.05, MEETS, ""),
        (lambda w: 0.03 + 0 * w, "THD (%)", 2.0, MEETS, "below 2 W not checked"),
    ],
)
def test_a_sweep_of_power_is_looked_at_from_250_mw_up(percent_of, header, lowest_w, word, remark):
    run = power_sweep(percent_of, header, lowest_w)
    (rating,) = run.conditions.ratings
    (verdict,) = judge(session(rating), [run])
    assert (verdict.verdict, verdict.remark) == (word, remark)
    if word == SHORT:
        assert (verdict.measured, verdict.limit) == ("0.40 % at 250 mW", "0.1 % from 250 mW to 40 W")


def test_with_data_at_rated_power_alone_the_row_says_what_was_not_checked():
    assert judged(OVER_BAND, *swept(0.02, 40.0), others=()).remark == "below rated power not checked"


# ------------------------------------------------------------------ nominal values


def test_a_nominal_value_without_a_tolerance_gets_no_verdict():
    """147 / 150 = 0.98."""
    rating = rated("input_sensitivity", nominal=0.15)
    figure = found("input_sensitivity", 0.147, frequency=1000.0, power=40.0, load=8.0)
    verdict = judged(rating, figure)
    assert (verdict.verdict, verdict.limit, verdict.measured, verdict.margin) == (
        NO_VERDICT,
        "150 mV",
        "147 mV, −2 %",
        "",
    )
    assert verdict.position is None
    assert judged(rating, replace(figure, value=0.4)).measured == "400 mV, +167 %"
    gain = judged(rated("gain", nominal=29.0), found("gain", 29.4, frequency=1000.0))
    assert (gain.verdict, gain.measured) == (NO_VERDICT, "29.4 dB, +0.4 dB")


@pytest.mark.parametrize(
    ("value", "word"), [(0.147, MEETS), (0.135, MEETS), (0.165, MEETS), (0.12, SHORT), (0.18, SHORT), (0.1655, CLOSE)]
)
def test_a_nominal_value_with_a_tolerance_is_judged_both_ways(value, word):
    """150 mV ± 10 %: from 135 to 165 mV."""
    rating = rated("input_sensitivity", nominal=0.15, tolerance=(0.135, 0.165))
    figure = found("input_sensitivity", value, frequency=1000.0, power=40.0, load=8.0)
    verdict = judged(rating, replace(figure, uncertainty=0.001 if word == CLOSE else None))
    assert verdict.verdict == word
    assert (verdict.limit_source, verdict.shown_limit) == ("rated 150 mV: within", "135 – 165 mV")


def test_a_typical_value_never_fails():
    rating = rated("thd", at_most=0.1, power_w=40.0, typical=True)
    figure = found("thd", 0.3, frequency=1000.0, power=40.0)
    verdict = judged(rating, figure)
    assert (verdict.verdict, verdict.brief) == (INCOMPARABLE, "a typical value promises nothing")
    assert judged(rating, replace(figure, value=0.02)).verdict == MEETS


# ------------------------------------------------------------------ counts, labels, signs


def test_only_what_was_judged_is_counted():
    """Nine met, one short, one too close, one not comparable, one not measured: 9 of 11."""
    ratings = [rated("hum", at_most=-80.0 + n, source=str(n)) for n in range(9)]
    ratings += [
        rated("damping_factor", at_least=60.0, frequency_hz=1000.0),
        rated("snr", at_least=90.0),
        rated("thd", at_most=0.1, power_w=40.0),
        rated("gain", at_least=29.0),
    ]
    findings = [
        found("hum", -85.0),
        found("damping_factor", 52.0, frequency=1000.0),
        found("snr", 90.1, reference=1.0, uncertainty=0.3),
        found("thd", 0.02, frequency=1000.0, power=5.0),
    ]
    verdicts = judge(session(*ratings), runs_of(*findings))
    words = [v.verdict for v in verdicts]
    assert [words.count(word) for word in (MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED)] == [9, 1, 1, 1, 1]
    card = make_score_card(verdicts, repaired=False)
    assert (card.finding.facts["met"], card.finding.facts["judged"]) == (9, 11)
    # a nominal value is not judged either
    nominal = rated("input_sensitivity", nominal=0.15)
    more = judge(session(*ratings, nominal), runs_of(*findings, found("input_sensitivity", 0.147, frequency=1000.0)))
    card = make_score_card(more, repaired=False)
    assert (card.finding.facts["met"], card.finding.facts["judged"]) == (9, 11)


def test_ratings_of_one_quantity_are_told_apart_by_their_labels():
    eight = {"load_ohm": 8.0, "at_least": 40.0}
    ratings = [
        rated("power", **eight, thd_percent=0.2, band_hz=BAND, channels="both"),
        rated("power", **eight, thd_percent=1.0, frequency_hz=1000.0, channels="both"),
        rated("power", at_least=60.0, load_ohm=4.0),
        rated("hum", at_most=-80.0),
        rated("hum", at_most=-90.0),
        rated("gain", at_least=29.0, source="manual"),
        rated("gain", at_least=29.0, source="leaflet"),
    ]
    assert labels(ratings) == [
        "Power into 8 Ω (at 0.2 % THD, 20 Hz – 20 kHz)",
        "Power into 8 Ω (at 1 % THD, 1 kHz)",
        "Power into 4 Ω",
        "Hum (−80 dB)",
        "Hum (−90 dB)",
        "Gain (manual)",
        "Gain (leaflet)",
    ]
    assert [v.label for v in judge(session(*ratings), ())] == labels(ratings)


def test_a_separation_at_the_bench_s_floor_is_at_least_that():
    """Crosstalk of −83 dB at a floor of −80 dB is −80 dB at most: the separation is 80 dB at least."""
    crosstalk = replace(found("crosstalk", -83.0, "L>R", frequency=1000.0, bound="at most"), floor=-80.0)
    verdict = judged(rated("separation", at_least=55.0), crosstalk)
    assert (verdict.verdict, verdict.measured) == (MEETS, "≥ 80.0 dB")
    assert judged(rated("crosstalk", at_most=-55.0), crosstalk).measured == "≤ −80.0 dB"
    above = replace(crosstalk, floor=-84.0)
    assert judged(rated("separation", at_least=55.0), above).measured == "≥ 83.0 dB"
    # rounded outwards: 83.07 dB at least is 83.0 dB at least
    assert judged(rated("separation", at_least=55.0), replace(above, value=-83.07)).measured == "≥ 83.0 dB"


# ------------------------------------------------------------------ mains


@pytest.mark.parametrize(
    ("watts", "had", "word"),
    [
        # 2 · 2/240 = 1.67 %: 41 ± 0.68 W, 40.3 ± 0.67 W, 39 ± 0.65 W
        (41.0, "238 V", MEETS),
        (40.3, "238 V", CLOSE),
        (39.0, "238 V", SHORT),
        (41.0, "242 V", MEETS),
        (40.3, "242 V", CLOSE),
        (39.0, "242 V", SHORT),
        # 4.8 V are two percent, 5 V are more
        (39.0, "235.2 V", CLOSE),
        (38.0, "235.2 V", SHORT),
        (38.0, "235 V", INCOMPARABLE),
        (42.0, "235 V", MEETS),
        (42.0, "245 V", INCOMPARABLE),
        (38.0, "245 V", SHORT),
    ],
)
def test_mains_within_two_percent_are_the_rated_mains(watts, had, word):
    sweep = found("power_at_limit", watts, limit=0.1, frequency=1000.0, load=8.0, figure="THD")
    verdict = judged(FORTY, sweep, others=(), wants="240 V 50 Hz", had=had)
    assert verdict.verdict == word
    if (watts, had) == (40.3, "238 V"):
        assert verdict.measured == "40.3 ± 0.7 W"
        assert "at 238 V mains" in verdict.assumed


# ------------------------------------------------------------------ a frequency is known everywhere or nowhere


def test_a_frequency_that_was_not_written_is_nowhere_printed():
    sweep = found("power_at_limit", 43.0, limit=0.05, load=8.0, figure="THD")
    tone = found("gain", 30.0, frequency=1000.0)
    ratings = (OVER_BAND, rated("gain", at_least=29.0), replace(FORTY, thd_percent=0.05))
    of, runs = session(*ratings), runs_of(sweep, tone)
    verdicts = judge(of, runs)
    assert verdicts[0].why.startswith("rated over 20 Hz – 20 kHz, the frequency measured at is not stated")
    card = session_cards.make_table_card(of, spec_table(of, runs, verdicts), verdicts, repaired=False)
    unstated = [card.body.rows[0], card.body.rows[2]]
    assert not any("1 kHz" in text for row in unstated for text in (*row.cells, row.note))
    written = judge(of, runs_of(replace(sweep, at={**sweep.at, "frequency": 1000.0}), tone))
    assert "measured at 1 kHz" in written[0].why


# ------------------------------------------------------------------ loads and taps


# ------------------------------------------------------------------ levels


def test_a_capture_at_minus_60_dbfs_does_not_decide_about_full_scale():
    full, soft = (found("thd_plus_noise", v, frequency=1000.0, dbfs=dbfs) for v, dbfs in ((0.003, 0.0), (3.0, -60.0)))
    for rating in (
        rated("thd_plus_noise", at_most=0.01, level=Level(0.0, "dBFS")),
        rated("thd_plus_noise", at_most=0.01),  # full scale is a player's rated output
    ):
        assert judged(rating, soft, others=()).verdict == INCOMPARABLE
        assert judged(rating, full, soft, others=()).verdict == MEETS
        assert judged(rating, replace(full, value=0.02), soft, others=()).verdict == SHORT
    at_60 = rated("thd_plus_noise", at_most=5.0, level=Level(-60.0, "dBFS"))
    assert judged(at_60, full, soft, others=()).measured == "3.0 %"


def test_a_level_in_volts_is_a_condition_too():
    rating = rated("thd_plus_noise", at_most=0.01, level=Level(2.0, "V"))
    two, half = (found("thd_plus_noise", 0.02, frequency=1000.0, voltage=v) for v in (2.0, 0.5))
    assert judged(rating, two, others=()).verdict == SHORT
    verdict = judged(rating, half, others=())
    assert (verdict.verdict, verdict.brief) == (INCOMPARABLE, "measured at 500 mV")
    assert verdict.why == "rated at 2 V, measured at 500 mV"


# 20 lg 2 = 6.02 dB, 10 lg 2 = 3.01 dB, U² = P·R
@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        (Level(2.0, "V"), Level(1.0, "V"), 6.0206),
        (Level(2.0, "W"), Level(1.0, "W"), 3.0103),
        (Level(20.0, "V", 8.0), Level(50.0, "W", 8.0), 0.0),
        (Level(50.0, "W", 8.0), Level(10.0, "V"), 6.0206),
        (Level(20.0, "V"), Level(50.0, "W"), None),
        (Level(20.0, "V", math.inf), Level(50.0, "W"), None),
        (Level(-60.0, "dBFS"), Level(0.0, "dBFS"), -60.0),
        (Level(-60.0, "dBFS"), Level(0.002, "V"), None),
        (Level(-20.0, "dB", reference="250 nWb/m"), Level(0.0, "dB", reference="250 nWb/m"), -20.0),
        (Level(-20.0, "dB", reference="250 nWb/m"), Level(0.0, "dB", reference="200 nWb/m"), None),
    ],
)
def test_levels_are_compared_in_decibels(one, other, apart):
    assert one.decibels_above(other) == (None if apart is None else pytest.approx(apart, abs=1e-4))


# ------------------------------------------------------------------ what a card says


def test_what_differs_takes_six_words_at_most_on_a_card():
    at = {"frequency": 1000.0, "load": 8.0, "power": 40.0, "input": "aux", "channels": "one"}
    long = "moving coil through the step-up transformer, high gain"
    cases = [
        (rated("thd", at_most=0.1, load_ohm=4.0), found("thd", 0.02, **at)),
        (rated("thd", at_most=0.1, channels="both"), found("thd", 0.02, **at)),
        (rated("thd", at_most=0.1, band_hz=BAND), found("thd", 0.02, **at)),
        (rated("thd", at_most=0.1, band_hz=BAND), found("worst_distortion", 0.02, band=(100.0, 1e4), figure="THD")),
        (rated("thd", at_most=0.1, frequency_hz=100.0), found("thd", 0.02, **at)),
        (rated("thd", at_most=0.1, power_w=80.0), found("thd", 0.02, **at)),
        (rated("thd", at_most=0.1), found("thd_plus_noise", 0.2, **at)),
        (rated("snr", at_least=90.0, termination="1 kΩ"), found("snr", 95.0, reference=40.0, termination=long)),
        (rated("snr", at_least=90.0, weighting="A"), found("snr", 95.0, reference=1.0, weighting="CCIR")),
        (rated("snr", at_least=90.0, reference="1 W", reference_w=1.0), found("snr", 95.0, reference=40.0)),
        (rated("snr", at_least=90.0, termination="1 kΩ"), found("snr", 95.0, reference=40.0, termination="shorted")),
        (rated("snr", at_least=90.0, volume="half"), found("snr", 95.0, reference=40.0)),
        (rated("imd", at_most=0.1, tones_hz=(60.0, 7000.0)), found("imd", 0.02, power=40.0, tones=(19e3, 20e3))),
        (replace(FORTY, rule="music"), found("power_at_limit", 30.0, limit=0.1, **{**at, "figure": "THD"})),
        (FORTY, found("power_reached", 30.0, limit=0.1, frequency=1000.0, load=8.0, figure="THD")),
        (rated("thd", at_most=0.001), found("thd", 0.002, bound="at most", **at)),
    ]
    for rating, figure in cases:
        verdict = judged(rating, figure)
        assert verdict.verdict == INCOMPARABLE, rating
        assert 1 <= len(verdict.brief.split()) <= 6, verdict.brief


def test_every_level_and_condition_of_a_bench_reaches_its_figures():
    """What is written with a measurement is among what its figures hold under."""
    c = conditions("tone", termination="shorted", volume="full", drive=Level(-60.0, "dBFS"))
    made = figures.finding(replace(c, bench=Bench()), "gain", "L", 30.0)
    assert {k: made.at[k] for k in ("termination", "volume", "dbfs")} == {
        "termination": "shorted",
        "volume": "full",
        "dbfs": -60.0,
    }
    assert verdict_of(rated("gain", at_least=29.0, volume="half"), made).verdict == INCOMPARABLE
