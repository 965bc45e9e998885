"""Whatever mixture of findings answers a rating, the row has words and the outline a sentence: none may fail."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rated_and_found import found, rated, verdict_of

from reviewkit.model import places
from reviewkit.model.session import Rating
from reviewkit.render.pages.bench_words import framing_sentences
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, SHORT, UNMEASURED

BAND = (20.0, 20_000.0)
PAGES = Pages(Path("no-session"), places.templates())
RATINGS = [
    rated("power", at_least=40.0, thd_percent=0.1),
    rated("power", at_least=40.0, thd_percent=0.1, band_hz=BAND, load_ohm=8.0, channels="both"),
    rated("power", at_least=40.0, rule="music"),
    rated("thd", at_most=0.1, power_w=40.0, frequency_hz=1000.0),
    rated("distortion", at_most=0.1, band_hz=BAND),
    rated("flatness", within=(-1.0, 0.5), band_hz=BAND),
    rated("separation", at_least=50.0, frequency_hz=1000.0),
    rated("damping_factor", at_least=60.0, load_ohm=8.0),
]
_FIGURES = {
    "power_at_limit": {"limit": 0.1, "frequency": 1000.0},
    "power_reached": {"limit": 0.1},
    "worst_distortion": {"band": list(BAND), "frequency": 20_000.0, "power": 40.0},
    "distortion": {"frequency": 1000.0, "power": 40.0},
    "thd": {"frequency": 1000.0},
    "thd_plus_noise": {"frequency": 1000.0, "power": 5.0},
    "flatness": {"band": list(BAND)},
    "crosstalk": {"frequency": 1000.0},
    "damping_factor": {"frequency": 1000.0},
}


@st.composite
def findings(draw):
    quantity = draw(st.sampled_from(sorted(_FIGURES)))
    sides = ("L>R", "R>L") if quantity == "crosstalk" else ("L", "R", "")
    at = dict(_FIGURES[quantity])
    at |= {k: v for k, v in {"load": 8.0, "channels": "both", "figure": "THD+N"}.items() if draw(st.booleans())}
    value = draw(st.sampled_from([0.01, 0.1, 0.3, 38.0, 40.0, 44.0, 70.0]))
    return found(
        quantity,
        -value if quantity == "crosstalk" else value,
        draw(st.sampled_from(sides)),
        measurement=draw(st.sampled_from("abc")),
        uncertainty=draw(st.sampled_from([None, 1.0])),
        bound="at most" if "distortion" in quantity and draw(st.booleans()) else "",
        **at,
    )


@settings(max_examples=200)
@given(st.sampled_from(RATINGS), st.lists(findings(), max_size=6))
def test_every_verdict_can_be_said(rating, given_findings):
    verdict = verdict_of(rating, *given_findings)
    assert verdict.verdict in {MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED}
    said = [one.text for one in framing_sentences(PAGES, (), [verdict], None)["verdict"]]
    assert any(verdict.label.casefold() in sentence.casefold() for sentence in said)
    assert not any(word in " ".join(said) for word in ("None", "nan", "Undefined", "  "))


@pytest.mark.parametrize("order", [1, -1])
def test_two_sweeps_that_both_meet_a_power(order):
    """One under the rated conditions with room, one under harder ones with less: the row tells of the first."""
    plain = found("power_at_limit", 44.6, "", limit=0.1, frequency=1000.0, figure="THD", measurement="a")
    harder = replace(plain, value=41.2, measurement="b", at={**plain.at, "figure": "THD+N"})
    verdict = verdict_of(RATINGS[0], *[plain, harder][::order])
    assert (verdict.verdict, verdict.measured, verdict.measurements) == (MEETS, "44.6 W", ("a",))
    said = [one.text for one in framing_sentences(PAGES, (), [verdict], None)["verdict"]]
    assert "Power: rated 40 W. It makes 44.6 at 0.1 % distortion." in said[1]


def said_of(rating, *figures):
    return [one.text for one in framing_sentences(PAGES, (), [verdict_of(rating, *figures)], None)["verdict"]]


@pytest.mark.parametrize(
    ("volts", "said"), [(0.147, []), (0.21, ["Input sensitivity: nominally 150 mV. I get 210 mV, +40 %."])]
)
def test_a_nominal_value_is_told_only_if_it_surprises_and_is_not_counted(volts, said):
    figure = found("input_sensitivity", volts, "", frequency=1000.0)
    assert said_of(rated("input_sensitivity", nominal=0.15), figure) == said


def test_what_rounds_to_the_limit_is_told_so():
    (_, said) = said_of(rated("flatness", within=(-0.5, 0.5)), found("flatness", 0.515, "", band=BAND))
    assert said == "Response: rated 0.5 dB, I get 0.52. That rounds to the rating: too close to call."


def test_what_1_khz_hides_is_told_behind_it():
    rating = rated("damping_factor", at_least=60.0)
    at_1k = found("damping_factor", 318.0, "", frequency=1000.0)
    said = said_of(rating, at_1k, found("damping_factor_lowest", 29.0, "", frequency=20_000.0, band=BAND))
    assert said[1] == "Damping factor: rated 60, does 320. But 29 at 20 kHz."


def test_crossover_is_told_with_where_it_is():
    rating = rated("power", at_least=40.0, thd_percent=0.05, frequency_hz=1000.0)
    (_, said) = said_of(rating, found("thd", 0.2, "", frequency=1000.0, power=1.0))
    assert said == (
        "Power: rated 0.05 % from 250 mW to 40 W. I get 0.20 at 1 W. That's a miss. The rating holds from 250 mW up."
    )


def test_misses_come_first_and_what_is_met_without_more_is_one_sentence():
    ratings = [
        (rated("flatness", within=(-0.5, 0.5)), found("flatness", 0.4, "", band=BAND)),
        (rated("imd", at_most=0.1), found("imd", 0.09, "", tones=[60.0, 7000.0], method="x")),
        (rated("separation", at_least=50.0, frequency_hz=1000.0), found("crosstalk", -40.0, "L>R", frequency=1000.0)),
    ]
    verdicts = [verdict_of(rating, figure) for rating, figure in ratings]
    assert [v.verdict for v in verdicts] == [MEETS, MEETS, SHORT]
    said = [one.text for one in framing_sentences(PAGES, (), verdicts, None)["verdict"]]
    assert said == [
        "Two of the three ratings were met.",
        "Separation, 1 kHz: rated 50 dB, I get 40.0. That's the one miss.",
        "Response and intermodulation both meet spec.",
    ]


def test_what_a_rating_means_is_said_after_it():
    rating = Rating("impedance", "Ω", nominal=8.0, called="impedance")
    lowest = replace(found("minimum_impedance", 5.93, frequency=294.0), kind="load-impedance")
    verdict = verdict_of(rating, lowest)
    said = framing_sentences(PAGES, (), [verdict], None)["verdict"]
    assert "Impedance: rated 8 Ω, so at least 6.4 Ω. I get 5.93. That's a miss." in [line.text for line in said]
