"""What the sentences of templates/words/ say: facts in, words out, one case a line."""

from __future__ import annotations

import pytest
from rated_and_found import found, rated, verdict_of

from reviewkit.build import pipeline
from reviewkit.build.cache import open_cache
from reviewkit.model import places
from reviewkit.model.finding import Point
from reviewkit.model.rating_words import label
from reviewkit.model.repair import RepairRow
from reviewkit.render.pages.bench_words import framing_sentences
from reviewkit.render.pages.page import Pages

PAGES = Pages(places.templates(), places.templates())
BAND = (10.0, 50_000.0)


def sentences(kind, name, **facts):
    """The first wording of each sentence."""
    return [line for line in PAGES.sentences(Point(kind, name, facts, "m")) if not line.startswith("or:")]


def flat(*values):
    sides = [""] if len(values) == 1 else "LR"
    return [found("flatness", value, side) for value, side in zip(values, sides, strict=True)]


@pytest.mark.parametrize(
    ("values", "before", "said"),
    [
        ((0.4,), None, "It's within 0.40 dB from 10 Hz to 50 kHz."),
        # the worse channel speaks for both
        ((0.4, 0.6), None, "It's within 0.60 dB from 10 Hz to 50 kHz."),
        # what is off is where, and which way
        ((3.0, 2.9), None, "From 10 Hz to 50 kHz, the worst is 3.0 dB down at 20 Hz on the left."),
        # one side is far worse: the good one is not blamed for it
        ((0.4, 15.9), None, "The left is within 0.40 dB from 10 Hz to 50 kHz. The right is 15.9 dB down at 20 Hz."),
        ((3.0, 0.5), None, "The right is within 0.50 dB from 10 Hz to 50 kHz. The left is 3.0 dB down at 20 Hz."),
        # twice as much, and nothing to speak of
        ((0.1, 0.3), None, "It's within 0.30 dB from 10 Hz to 50 kHz."),
        ((0.4, 0.6), -15.9, "It's within 0.60 dB from 10 Hz to 50 kHz. It was 15.9 dB down at 20 Hz, before."),
    ],
)
def test_how_flat_and_which_side_is_not(values, before, said):
    findings = flat(*values)
    worse = max(findings, key=lambda f: f.value)
    furthest = found("deviation_low", -worse.value, worse.channel, frequency=20.0)
    was = found("deviation_low", before, "R", frequency=20.0) if before else None
    facts = {"findings": findings, "worse": worse, "furthest": furthest, "band": BAND, "before": was, "setting": ""}
    facts |= {"to": ""}
    assert sentences("response", "flatness", **facts) == [said]


def test_a_card_with_two_loads_has_the_load_said():
    band, worse = (20.0, 20_000.0), found("worst_distortion", 0.02, "R", frequency=20_000.0)
    facts = {"drive": "5 W into 4 Ω", "band": band, "worse": worse, "before": None}
    for differ, start in ((False, "5 W across the band:"), (True, "5 W into 4 Ω across the band:")):
        said = PAGES.sentences(Point("distortion-frequency", "worst", facts, "m"), loads_differ=differ)
        assert said[0].startswith(start)
    flatness = found("flatness", 0.4)
    facts = {"findings": [flatness], "worse": flatness, "furthest": None, "band": band, "before": None, "setting": ""}
    facts |= {"to": ""}
    for differ, end in ((False, "20 kHz."), (True, "20 kHz into 4 Ω.")):
        said = PAGES.sentences(Point("response", "flatness", {**facts, "load": 4.0}, "m"), loads_differ=differ)
        assert said[0].endswith(end)


def test_the_load_is_said_where_it_is_another_after_the_repair(sample_copy):
    """The same volts into half the load: twice the watts."""
    path = sample_copy / "session.toml"
    text = path.read_text(encoding="utf-8")
    old = 'file = "measurements/tone-after.txt"\nkind = "tone"\ncard = "tone"\ndrive = "4 W"'
    assert old in text
    path.write_text(text.replace(old, old.replace("4 W", "8 W") + '\nload = "4 ohm"'), encoding="utf-8")
    said = [line for segment in pipeline.check(sample_copy, open_cache()).segments for line in segment.sentences]
    assert any(text.startswith("8 W into 4 Ω, 1 kHz") for text in said)


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        ((61.8, "R"), None, "At the bottom, it's 3 dB down at 61.8 Hz on the right."),
        (None, (13e3, "L"), "At the top, it's 3 dB down at 13.0 kHz on the left."),
        ((61.8, ""), (13e3, ""), "It's 3 dB down at 61.8 Hz and at 13.0 kHz."),
    ],
)
def test_where_it_is_3_db_down_and_on_which_side(low, high, said):
    facts = {"low": found("corner_low", *low) if low else None, "high": found("corner_high", *high) if high else None}
    assert sentences("response", "corners", **facts) == [said]


@pytest.mark.parametrize(
    ("value", "other", "opposite", "said"),
    [
        (8.2, 3.7, None, "Bass: 8.2 dB up at 50 Hz. At 12 kHz, 3.7 dB up."),
        (8.2, 0.4, None, "Bass: 8.2 dB up at 50 Hz."),
        (8.2, 0.4, -8.2, "Bass: 8.2 dB up or down at 50 Hz."),
        (-8.4, 0.4, 8.2, "Bass: 8.2 dB up, 8.4 dB down at 50 Hz."),
    ],
)
def test_what_a_control_does(value, other, opposite, said):
    largest = found("boost_low", value, "", frequency=50.0)
    facts = {
        "largest": largest,
        "other": found("boost_high", other, "", frequency=12_000.0),
        "opposite": opposite and found("boost_low", opposite, "", frequency=50.0),
    }
    assert sentences("contour", "boost", setting="bass", flat=False, before=None, **facts) == [said]


@pytest.mark.parametrize(
    ("now", "before", "said"),
    [
        ((0.021, 1.4), None, "5 W, 1 kHz. Left, 0.021 % distortion. Right: 1.4."),
        ((0.021, 0.026), None, "5 W, 1 kHz. Distortion is 0.026 % on the right, the worse side."),
        ((0.021, 0.026), 1.4, "5 W, 1 kHz. The right came in at 1.4 %. Now it's 0.026."),
        ((0.021, 0.026), 0.026, "5 W, 1 kHz: the right still reads 0.026 %."),
    ],
)
def test_a_tone_before_and_after(now, before, said):
    findings = [found("thd_plus_noise", value, side) for value, side in zip(now, "LR", strict=True)]
    was = found("thd_plus_noise", before, "R") if before else None
    facts = {"findings": findings, "worse": findings[1], "before": was, "drive": "5 W into 8 Ω", "frequency": 1000.0}
    assert sentences("tone", "distortion", **facts) == [said]


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        ({"mostly": True, "odd": True}, ["It's mostly 3rd harmonic, 40.0 dB down."]),
        ({"mostly": False, "odd": True}, ["It's odd harmonics that don't die away."]),
        ({"mostly": False, "odd": False}, []),
    ],
)
def test_harmonics_are_named_only_where_they_say_what_it_is(shape, said):
    leading = found("harmonic_3", -40.0, "R")
    assert sentences("tone", "harmonics", leading=leading, order="3rd harmonic", **shape) == said


@pytest.mark.parametrize(
    ("distortion", "said"),
    [
        (0.032, "rated 0.03 % at 62 W. I get 0.032 at 62 W. That's a miss."),
        (0.025, "rated 0.03 % at 62 W. I get 0.025 at 62 W. Below rated power not checked."),
    ],
)
def test_a_power_that_distortion_answers_says_what_it_was_promised_at(distortion, said):
    band = (20.0, 20_000.0)
    power = rated("power", at_least=62.0, load_ohm=8.0, thd_percent=0.03, band_hz=band, channels="both")
    at = {"band": list(band), "frequency": 20_000.0, "power": 62.0, "load": 8.0, "channels": "both"}
    figures = [found("worst_distortion", distortion, side, figure="THD", **at) for side in "LR"]
    lines = [one.text for one in framing_sentences(PAGES, (), [verdict_of(power, *figures)], None)["verdict"]]
    assert lines[1] == f"Power into 8 Ω: {said}"


def point(name, value, action="", say="", expected=18.0):
    text = "open" if value is None else f"{value:g} mV"
    return RepairRow(name, expected, f"{expected:g} mV", value, text, "mV", 2.0, "2 mV", action, "", say=say)


def repair_words(*rows):
    said = framing_sentences(PAGES, rows, [], None)
    return [one.text for one in said["fault"]], [one.text for one in said["repair"]]


def test_what_was_out_as_found_is_the_hunt_and_no_fault_of_the_finished_unit():
    rows = [
        point("DC offset R, before", 38.0),
        point("Bias R", 2.1, "trimmer replaced"),
        point("Bias R, after", 18.1, "go"),
        point("Bias L", 18.2, "none"),
    ]
    hunt, repair = repair_words(*rows)
    assert hunt == [
        "The right DC offset: the schematic calls for 18 mV; I get 38.",
        "The right bias: the schematic calls for 18 mV; I get 2.1.",
    ]
    assert repair == ["The right bias: trimmer replaced.", "The one other reading was in tolerance."]
    assert repair_words(*rows, point("Ripple", 40.0, "go"))[1][-1] == "Still out of tolerance: Ripple."
    assert repair_words(rows[-1])[1] == ["The one reading was in tolerance."]


def test_rows_that_belong_together_are_one_sentence():
    hunt, repair = repair_words(
        point("Bias R, before", 2.1, "traced to the spreader", "the bias"),
        point("Spreader R", 8.0, "traced to the trimmer", "the spreader", expected=25.0),
        point("Trimmer R, base arm", None, "replaced"),
        point("Trimmer L, base arm", 18.0, "replaced"),
        point("Relay", 18.0, "cleaned", "the relay contacts"),
        point("Fuse holder", 18.0, "cleaned", "the fuse holder"),
    )
    assert hunt[-2:] == [
        "The bias led me to the spreader, the spreader to the trimmer.",
        "The right trimmer should be 18 mV, and it's open.",
    ]
    assert repair == [
        "The trimmer, right and left: replaced.",
        "The relay contacts and the fuse holder: cleaned.",
    ]


def test_the_same_reading_on_both_channels_is_one_sentence():
    (hunt, _) = repair_words(point("Bias R", 2.1), point("Bias L", 2.1))
    assert hunt == ["The bias, right and left: the schematic calls for 18 mV; I get 2.1."]


def test_what_is_of_an_input_by_its_name_does_not_name_it_again():
    overload = found("phono_overload", 0.212, "L", frequency=1000.0, input="phono")
    facts = {"findings": [overload], "label": "phono overload", "frequency": 1000.0, "input": "phono", "rest": []}
    empty = {"before": [], "unchanged": False, "level": "", "load": None}
    (said,) = sentences("reading", "value", **facts, **empty)
    assert said == "Phono overload: 212 mV on the left."
    assert label(rated("riaa_deviation", within=(-0.3, 0.3), input="phono")) == "Phono response"
    assert label(rated("riaa_deviation", within=(-0.3, 0.3), input="phono MM")) == "Phono response, phono MM"
