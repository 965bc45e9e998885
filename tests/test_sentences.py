"""What the sentences of templates/words/ say: facts in, words out, one case a line."""

from __future__ import annotations

import pytest
from rated_and_found import found, rated, verdict_of

from reviewkit.model import places
from reviewkit.model.finding import Point
from reviewkit.model.rating_words import label
from reviewkit.model.repair import RepairRow
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.text_outputs import framing_sentences

PAGES = Pages(places.templates(), places.templates())
BAND = (10.0, 50_000.0)


def sentences(kind, name, **facts):
    return PAGES.sentences(Point(kind, name, facts, "m"))


def flat(*values):
    sides = [""] if len(values) == 1 else "LR"
    return [found("flatness", value, side) for value, side in zip(values, sides, strict=True)]


@pytest.mark.parametrize(
    ("values", "before", "said"),
    [
        ((0.4,), None, "From 10 Hz to 50 kHz it stays within ±0.40 dB of its level at 1 kHz."),
        ((0.4, 0.6), None, "From 10 Hz to 50 kHz both channels stay within ±0.60 dB of their level at 1 kHz."),
        # one side is far worse: the good one is not blamed for it
        (
            (0.4, 15.9),
            None,
            "From 10 Hz to 50 kHz the left stays within ±0.40 dB of its level at 1 kHz, the right within ±15.9 dB.",
        ),
        (
            (3.0, 0.5),
            None,
            "From 10 Hz to 50 kHz the right stays within ±0.50 dB of its level at 1 kHz, the left within ±3.0 dB.",
        ),
        # twice as much, and nothing to speak of
        ((0.1, 0.3), None, "From 10 Hz to 50 kHz both channels stay within ±0.30 dB of their level at 1 kHz."),
        (
            (0.4, 0.6),
            found("flatness", 15.9, "R"),
            "From 10 Hz to 50 kHz both channels stay within ±0.60 dB of their level at 1 kHz. "
            "Before the repair that was ±15.9 dB on the right.",
        ),
    ],
)
def test_how_flat_and_which_side_is_not(values, before, said):
    findings = flat(*values)
    worse = max(findings, key=lambda f: f.value)
    facts = {"findings": findings, "worse": worse, "band": BAND, "before": before, "setting": ""}
    assert sentences("response", "flatness", **facts) == [said]


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        ((61.8, "R"), None, "At the bottom the right is 3 dB down at 61.8 Hz; at the top the sweep ends before that."),
        (None, (30e3, "L"), "At the top the left is 3 dB down at 30.0 kHz; at the bottom the sweep ends before that."),
        ((61.8, ""), None, "At the bottom it is 3 dB down at 61.8 Hz; at the top the sweep ends before that."),
        ((61.8, "R"), (30e3, "R"), "On the right it is 3 dB down at 61.8 Hz and at 30.0 kHz."),
        (
            (61.8, "R"),
            (30e3, "L"),
            "It is 3 dB down at 61.8 Hz on the right and at 30.0 kHz on the left, the narrower side each time.",
        ),
        ((61.8, ""), (30e3, ""), "It is 3 dB down at 61.8 Hz and at 30.0 kHz."),
    ],
)
def test_where_it_is_3_db_down_and_on_which_side(low, high, said):
    facts = {"low": found("corner_low", *low) if low else None, "high": found("corner_high", *high) if high else None}
    assert sentences("response", "corners", **facts) == [said]


def test_what_a_contour_does_on_the_other_side():
    largest = found("boost_low", 8.2, "", frequency=50.0)
    other = found("boost_high", 3.7, "", frequency=12_000.0)
    facts = {"findings": [largest], "largest": largest, "flat": False, "before": None, "against": "flat", "setting": ""}
    (said,) = sentences("contour", "boost", other=other, **facts)
    assert said == "At 50 Hz it is +8.2 dB, re flat. Above 1 kHz the most is +3.7 dB, at 12 kHz."


@pytest.mark.parametrize(
    ("distortion", "said"),
    [
        (0.032, "they printed 0.03 % at 62 W, I get 0.032 % at 62 W. That falls short."),
        (0.025, "they printed 0.03 % at 62 W, I get 0.025 % at 62 W. That holds. Below rated power not checked."),
    ],
)
def test_a_power_that_distortion_answers_says_what_it_was_promised_at(distortion, said):
    band = (20.0, 20_000.0)
    power = rated("power", at_least=62.0, load_ohm=8.0, thd_percent=0.03, band_hz=band, channels="both")
    at = {"band": list(band), "frequency": 20_000.0, "power": 62.0, "load": 8.0, "channels": "both"}
    figures = [found("worst_distortion", distortion, side, figure="THD", **at) for side in "LR"]
    lines = [one.text for one in framing_sentences(PAGES, (), [verdict_of(power, *figures)], None)["verdict"]]
    assert lines[1] == f"Power into 8 Ω: {said}"


def point(name, value, action=""):
    return RepairRow(name, 18.0, "18 mV", value, f"{value:g} mV", "mV", 2.0, "2 mV", action, "")


def test_what_was_out_as_found_is_no_fault_of_the_finished_unit():
    rows = [
        point("DC offset R, before", 38.0),
        point("Bias R", 2.1, "trimmer replaced"),
        point("Bias R, after", 18.1, "go"),
        point("Bias L", 18.2, "none"),
    ]
    last = framing_sentences(PAGES, rows, [], None)["repair"][-1].text
    assert last == (
        "Of 4 readings that have a tolerance, 2 are inside it; outside as found: DC offset R, before; Bias R."
    )
    still = framing_sentences(PAGES, [*rows, point("Ripple", 40.0, "go")], [], None)["repair"][-1].text
    assert still.endswith("outside as found: DC offset R, before; Bias R; outside: Ripple.")


def test_what_is_of_an_input_by_its_name_does_not_name_it_again():
    overload = found("phono_overload", 0.212, "L", frequency=1000.0, input="phono")
    facts = {"findings": [overload], "label": "phono overload", "frequency": 1000.0, "input": "phono", "rest": []}
    empty = {"before": [], "unchanged": False, "level": "", "load": None, "first": True}
    (said,) = sentences("reading", "value", **facts, **empty)
    assert said == "By meter the phono overload is 212 mV on the left, 1 kHz."
    assert label(rated("riaa_deviation", within=(-0.3, 0.3), input="phono")) == "Phono response"
    assert label(rated("riaa_deviation", within=(-0.3, 0.3), input="phono MM")) == "Phono response, phono MM"
