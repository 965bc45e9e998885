"""A response against a target: FM's de-emphasis, a tape's replay equalisation, the curve of a file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from measured_sheets import card_of, column, conditions, measured, one, panel_of, run_from, sheet
from rated_and_found import verdict_of
from scipy import signal

from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.gear import gear_of
from reviewkit.model.session import Measurement, Rating
from reviewkit.verdict.verdict import INCOMPARABLE, MEETS, SHORT

ROW = "response against a target"
HZ = np.geomspace(20.0, 18_000.0, 90)
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Tune 7"\n'


def circuit_db(seconds, frequency_hz=HZ):
    """One RC low-pass, or (1 + sτ₁) / (1 + 1/(sτ₂)) of a replay amplifier, by scipy, dB."""
    treble_s, *bass = seconds
    if not bass:
        numerator, denominator = [1.0], [treble_s, 1.0]
    else:
        numerator, denominator = [treble_s * bass[0], bass[0], 0.0], [bass[0], 1.0]
    return 20 * np.log10(np.abs(signal.freqs(numerator, denominator, worN=2 * np.pi * frequency_hz)[1]))


def sweep(level_db, frequency_hz=HZ):
    return sheet(column("frequency", frequency_hz), column("level", level_db, "L", "dBV"))


def of(target, **keys):
    """A measurement as session.toml gives it: the target is one of its conditions, too."""
    text = f'{UNIT}[[measurement]]\nkind = "response"\nfile = "m.csv"\ntarget = "{target}"\n'
    (m,) = parse_session(text, Path(__file__).parent, kinds=KINDS).measurements
    return {"target": m.target, "conditions": m.conditions, **keys}


@pytest.fixture(autouse=True)
def _file(tmp_path, monkeypatch):
    """The file that the table names."""
    (tmp_path / "m.csv").write_text("Frequency (Hz),Level (dBV)\n20,0\n")
    monkeypatch.setattr(f"{__name__}.__file__", str(tmp_path / "x"))


@pytest.mark.parametrize(
    ("target", "seconds"),
    [("50 µs", (50e-6,)), ("75us", (75e-6,)), ("3180 + 120 µs", (120e-6, 3180e-6)), ("70 + 1590 µs", (70e-6, 1590e-6))],
)
def test_a_circuit_of_these_constants_is_on_target(target, seconds, accuracy):
    for off_db in (0.0, 1.3):
        level_db = circuit_db(seconds) - off_db * (HZ > 5000)
        found = measured("response", sweep(level_db), **of(target))
        accuracy(ROW, one(found, "deviation_low", "L").value + off_db)


def test_a_tape_without_a_constant_in_the_bass(accuracy):
    """35 µs at 38 cm/s (IEC1): a zero alone."""
    found = measured("response", sweep(-circuit_db((35e-6,))), **of("inf + 35 µs"))
    accuracy(ROW, one(found, "flatness", "L").value)


@pytest.mark.parametrize(
    ("target", "seconds", "to_hz", "at_hz", "true_db"),
    [
        # 10 lg of (1 + (2πfτ)²) of the two, relative to 1 kHz
        ("50 µs", (75e-6,), 1000.0, 5000.0, -2.3013),
        ("50 µs", (75e-6,), 1000.0, 10_000.0, -2.8318),
        ("50 µs", (75e-6,), 1000.0, 15_000.0, -2.9544),
        # a 120 µs replay of a 70 µs tape, relative to 315 Hz
        ("3180 + 70 µs", (120e-6, 3180e-6), 315.0, 3150.0, 3.4135),
        ("3180 + 70 µs", (120e-6, 3180e-6), 315.0, 10_000.0, 4.3828),
    ],
)
def test_the_wrong_constant(target, seconds, to_hz, at_hz, true_db, accuracy):
    rated = Rating("flatness", "dB", within=(-5.0, 5.0), band_hz=(to_hz, at_hz))
    found = measured("response", sweep(circuit_db(seconds)), ratings=[rated], **of(target, relative_to=to_hz))
    accuracy(ROW, one(found, "flatness", "L", band=[to_hz, at_hz]).value - abs(true_db))


def test_the_curve_of_a_file_as_far_as_it_reaches(accuracy):
    """A target that falls 1 dB an octave from 100 Hz to 10 kHz, and a response that does so 0.5 dB more from 4 kHz."""
    its_hz = np.geomspace(100.0, 10_000.0, 25)
    c = conditions("response", **of("m.csv"))
    level_db = -np.log2(HZ / 1000.0) - 0.5 * (HZ > 4000) + 7.0
    target = sheet(column("frequency", its_hz), column("level", 30 - np.log2(its_hz), unit="dB"))
    run = run_from(sweep(level_db), replace(c, reference=target))
    low = run.get("deviation_low", "L")
    accuracy(ROW, low.value + 0.5)
    assert 99.5 <= low.at["band"][0] < low.at["band"][1] <= 10_050.0
    assert low.at["conditions"] == {"target": "m"}
    with pytest.raises(InputError, match="2 columns of levels"):
        run_from(sweep(level_db), replace(c, reference=sheet(*target.columns, column("level", its_hz, "R", "dB"))))
    with pytest.raises(InputError, match="covers nothing"):
        run_from(sweep(level_db, HZ / 1000), replace(c, reference=target))


# ------------------------------------------------------------------ which of two a file is


def test_a_level_response_is_not_compared_with_time_constants():
    with pytest.raises(InputError, match=r"near level.* leave target out"):
        measured("response", sweep(HZ * 0.0), **of("50 µs"))


def test_a_tuner_that_falls_as_its_de_emphasis_is_asked_about():
    falling = sweep(circuit_db((75e-6,)))
    tuner = replace(conditions("response"), gear=gear_of(["tuner"]))
    with pytest.raises(InputError, match='write target = "50 µs" or "75 µs", or target = "flat"'):
        run_from(falling, tuner)
    stated = replace(tuner, measurement=replace(tuner.measurement, target="flat"))
    assert run_from(falling, stated).get("deviation_low", "L").value < -10
    assert run_from(sweep(HZ * 0.0), tuner).get("flatness", "L").value == 0
    # an amplifier with such a fall has one
    assert run_from(falling, conditions("response")).get("deviation_low", "L").value < -10


# ------------------------------------------------------------------ ratings


def test_it_answers_the_deviation_of_its_name_on_both_sides():
    """A de-emphasis 0.2 dB up at 5 kHz and 0.6 dB down at 15 kHz."""
    bend = np.interp(np.log(HZ), np.log([20, 1000, 5000, 15_000, 18_000]), [0, 0, 0.2, -0.6, -0.8])
    level_db = circuit_db((50e-6,)) + bend
    for side, word in ((-0.7, MEETS), (-0.5, SHORT)):
        rated = Rating(
            "de_emphasis_deviation",
            "dB",
            within=(side, 0.3),
            band_hz=(1000.0, 15_000.0),
            called="de-emphasis deviation",
        )
        found = measured("response", sweep(level_db), ratings=[rated], **of("50 µs"))
        assert verdict_of(rated, *found.findings).verdict == word
        assert measured("response", sweep(level_db), ratings=[rated]).findings[0].quantity == "deviation_high"
        panel = panel_of(card_of("response", sweep(level_db), ratings=[rated], **of("50 µs")))
        assert [(limit.low, limit.high) for limit in panel.limits] == [(side, 0.3)]


@pytest.mark.parametrize(
    ("named", "target", "word"),
    [
        ({}, "50 µs", MEETS),
        ({"de-emphasis": "50 µs"}, "50 µs", MEETS),
        ({"de-emphasis": "75 µs"}, "50 µs", INCOMPARABLE),
        ({"equalisation": "120 µs"}, "3180 + 120 µs", MEETS),
        ({"equalisation": "70 µs"}, "3180 + 120 µs", INCOMPARABLE),
        ({"equalisation": "1590 + 120 µs"}, "3180 + 120 µs", INCOMPARABLE),
    ],
)
def test_a_rating_is_compared_with_its_own_target(named, target, word):
    seconds = (120e-6, 3180e-6) if "+" in target else (50e-6,)
    rated = Rating("flatness", "dB", within=(-1.0, 1.0), band_hz=(30.0, 15_000.0), conditions=tuple(named.items()))
    found = measured("response", sweep(circuit_db(seconds)), ratings=[rated], **of(target))
    verdict = verdict_of(rated, *found.findings)
    assert verdict.verdict == word
    assert named or "de-emphasis 50 µs" in verdict.assumed


# ------------------------------------------------------------------ as it is written


@pytest.mark.parametrize(
    ("written", "read", "condition"),
    [
        ("75us", "75 µs", (("de-emphasis", "75 µs"),)),
        ("120 µs + 3180 µs", "3180 + 120 µs", (("equalisation", "3180 + 120 µs"),)),
        ("∞ + 17.5 µs", "inf + 17.5 µs", (("equalisation", "inf + 17.5 µs"),)),
        ("Flat", "flat", ()),
        ("m.csv", "m.csv", (("target", "m"),)),
    ],
)
def test_a_target_as_written(written, read, condition):
    assert of(written) == {"target": read, "conditions": condition}


@pytest.mark.parametrize(
    ("written", "remedy"),
    [("70 µs", "inf"), ("120 + 70 µs", "3180"), ("no.csv", "no such file"), ("../m.csv", "folder"), ("", "target")],
)
def test_what_is_no_target(written, remedy):
    with pytest.raises(InputError, match=remedy):
        of(written)


def test_the_sentence_says_what_zero_is():
    for target, zero in (("50 µs", "the de-emphasis"), ("3180 + 120 µs", "the replay curve")):
        seconds = (120e-6, 3180e-6) if "+" in target else (50e-6,)
        run = run_from(sweep(circuit_db(seconds)), conditions("response", **of(target)))
        (point,) = (each for each in KINDS["response"].points(run, None) if each.name == "flatness")
        assert point.facts["to"] == zero
        assert target in point.facts["setting"]
    assert Measurement("m", "response").target == ""
