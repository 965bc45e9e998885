"""The dynamic range of a player against signals of known power.

Ideal 16 bits with triangular dither: noise of (2 LSB²)/8 = LSB²/4 … 93.319 dB below full scale over the whole band, of
which 20 Hz – 20 kHz, A and CCIR-RMS take their shares (AES17-2015, 6.4.1 and 5.2.7; the curves' own integrals).
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from measured_sheets import column, conditions, one, panel_of, quantities, sheet
from rated_and_found import found, runs_of, session, verdict_of

from reviewkit.measure.kinds import KINDS
from reviewkit.model.finding import Run
from reviewkit.model.gear import gear_of
from reviewkit.model.level import Level
from reviewkit.model.session import Rating
from reviewkit.verdict.verdict import INCOMPARABLE, MEETS, NO_VERDICT, SHORT, judge

ROW = "dynamic range"
PEAK_V = 2.0 * math.sqrt(2)  # a full-scale sine of 2 V r.m.s.
LSB = 2 / 65536


def capture(values, rate_hz=44_100.0, unit="V"):
    return sheet(column("time", np.arange(len(values)) / rate_hz), column("level", values, "L", unit))


def sine(hz, dbfs, seconds=4.0, rate_hz=44_100.0):
    return PEAK_V * 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz + 0.4)


@cache
def dithered(dbfs, rate_hz, seed, seconds=16.0):
    random = np.random.default_rng(seed)
    full = sine(997.0, dbfs, seconds, rate_hz) / PEAK_V
    return PEAK_V * LSB * np.round(full / LSB + random.random(len(full)) - random.random(len(full)))


def run(values, *ratings, dbfs=-60.0, rate_hz=44_100.0, unit="V", without=()):
    c = conditions("tone", load_ohm=None, drive=Level(dbfs, "dBFS"), ratings=ratings, without_hz=without)
    c = replace(c, gear=gear_of(["player"]))
    measured = KINDS["tone"].findings(capture(values, rate_hz, unit), c)
    return Run(c, measured.findings, measured.withheld, measured.curves)


def figure(of, weighting=None):
    (only,) = [f for f in of.findings if f.quantity == "dynamic_range" and f.at.get("weighting") == weighting]
    return only


def test_a_line_at_2_khz_counts_as_ccir_rms_has_it(accuracy):
    """−100 dBFS at 2 kHz, where the curve is +5.6292 − 5.63 dB: 100.001; A is +1.2 dB there (IEC 61672-1, printed)."""
    of = run(sine(997.0, -60.0) + sine(2000.0, -100.0))
    accuracy(ROW, figure(of, "CCIR-RMS").value - 100.001)
    accuracy(ROW, figure(of).value - 100.0)
    assert figure(of, "A").value == pytest.approx(98.8, abs=0.1)


@pytest.mark.parametrize(
    ("rate_hz", "true_db"),
    [
        (44_100.0, {None: 93.747, "A": 95.796, "CCIR-RMS": 92.076}),
        (48_000.0, {None: 94.115, "A": 96.164, "CCIR-RMS": 92.444}),
    ],
)
def test_dither_of_16_bits(rate_hz, true_db, accuracy):
    of = run(dithered(-60.0, rate_hz, 3), rate_hz=rate_hz)
    for weighting, value in true_db.items():
        accuracy(ROW, figure(of, weighting).value - value)


def test_distortion_is_in_it(accuracy):
    """A third harmonic 40 dB under the tone is at −100 dBFS."""
    accuracy(ROW, figure(run(sine(997.0, -60.0) + sine(2991.0, -100.0))).value - 100.0)


def test_a_line_that_is_left_out_is_not_in_it(accuracy):
    of = run(sine(997.0, -60.0) + sine(2991.0, -100.0) + sine(15_000.0, -80.0), without=(15_000.0,))
    accuracy(ROW, figure(of).value - 100.0)


def test_fractions_of_full_scale_will_do(accuracy):
    accuracy(ROW, figure(run((sine(997.0, -60.0) + sine(2000.0, -96.0)) / PEAK_V, unit="ratio")).value - 96.0)


@pytest.mark.parametrize("dbfs", [0.0, -20.0, -70.0])
def test_no_other_tone_gives_one(dbfs):
    assert "dynamic_range" not in quantities(run(sine(997.0, dbfs) + sine(2000.0, -110.0), dbfs=dbfs))


def test_a_spectrum_without_its_window_gives_none():
    hz = np.arange(0.0, 20_001.0, 20.0)
    level = np.where(hz == 1000.0, -54.0, -140.0)
    c = conditions("tone", drive=Level(-60.0, "dBFS"))
    found_ = KINDS["tone"].findings(sheet(column("frequency", hz[1:]), column("level", level[1:], unit="dBV")), c)
    assert any("no dynamic range" in reason for reason in found_.withheld)


# ------------------------------------------------------------------ ratings


def rating(least, **keys):
    return Rating("dynamic_range", "dB", at_least=least, called="dynamic range", **keys)


@pytest.mark.parametrize(
    ("keys", "met"),
    [
        ({"weighting": "A"}, 95.7),
        ({"weighting": "CCIR-RMS"}, 92.0),
        ({"conditions": (("method", "EIAJ"),)}, 95.7),
        ({}, 93.7),
        ({"weighting": "A", "frequency_hz": 1000.0}, 95.7),
    ],
)
def test_each_rating_is_answered_by_its_own_weighting(keys, met):
    of = run(dithered(-60.0, 44_100.0, 5), rating(met, **keys))
    for least, word in ((met, MEETS), (met + 0.4, SHORT)):
        assert verdict_of(rating(least, **keys), *of.findings).verdict == word


def test_it_answers_no_distortion_at_full_scale():
    """At −60 dBFS the residual is 1.6 % of the tone."""
    of = run(dithered(-60.0, 44_100.0, 5))
    assert one(Run(of.conditions, of.findings), "thd_plus_noise", "L").value > 1
    for name in ("thd", "thd_plus_noise"):
        verdict = verdict_of(Rating(name, "%", at_most=0.005), *of.findings)
        assert (verdict.verdict, verdict.brief) == (INCOMPARABLE, "measured at −60 dBFS")


def test_its_card_and_its_sentence_are_of_the_range():
    asked = rating(90.0, weighting="CCIR-RMS")
    of = run(dithered(-60.0, 44_100.0, 5), asked)
    kind = KINDS["tone"]
    card = kind.card([of], ())
    assert (card.id, card.subject, card.hero.figure) == ("", "Dynamic range", "92.1 dB")
    assert panel_of(card).traces
    assert [each.id for each in kind.further([of])] == ["waveform", "spectrum"]  # if a note asks for them
    (point,) = kind.points(of, None)
    assert (point.name, point.facts["weighting"]) == ("range", "CCIR-RMS")
    loud = run(sine(997.0, 0.0) + sine(1994.0, -80.0), dbfs=0.0)
    assert kind.card([loud], ()).subject == "Distortion"


# ------------------------------------------------------------------ output level


def test_a_rated_output_level_is_that_of_full_scale():
    loud, soft = run(sine(997.0, 0.0), dbfs=0.0), run(sine(997.0, -60.0))
    for name in ("output_level", "output_voltage"):
        asked = Rating(name, "V", nominal=1.9, called=name.replace("_", " "))
        verdict = verdict_of(asked, *soft.findings, *loud.findings)
        assert (verdict.verdict, verdict.measured) == (NO_VERDICT, "2.00 V, +5 %")
        assert "at 0 dBFS" in verdict.assumed
        assert verdict_of(asked, *soft.findings).measured == ""
    at_60 = Rating("output_level", "V", nominal=0.002, level=Level(-60.0, "dBFS"), called="output level")
    assert verdict_of(at_60, *soft.findings, *loud.findings).measured == "2.00 mV, +0.0 %"
    # 20 lg 2 = 6.0206 dBV; 2 V over √0.6 V is 8.2391 dBu
    for unit, shown in (("dBV", "6.02 dBV"), ("dBu", "8.24 dBu")):
        decibels = Rating("output_level", unit, nominal=6.0, called="output level")
        assert verdict_of(decibels, *loud.findings).measured.startswith(shown)


def test_the_level_of_a_tone_that_somebody_set_is_no_output_level():
    asked = Rating("output_level", "V", nominal=1.0, called="output level")
    set_by_hand = found("level", 0.5, frequency=1000.0, voltage=0.5)
    assert verdict_of(asked, set_by_hand).measured == ""
    tuner = found("level", 0.8, frequency=1000.0, voltage=0.8, dbf=65.0)
    assert verdict_of(asked, tuner).measured == "800 mV, −20 %"


# ------------------------------------------------------------------ signal to noise


def test_a_player_s_ratio_without_a_reference_is_relative_to_full_scale():
    """2 V at 0 dBFS over 20 µV of noise: 100 dB."""
    loud = found("level", 2.0, frequency=997.0, dbfs=0.0, voltage=2.0)
    idle = found("noise", 20e-6, measurement="idle", weighting="A", band=[20.0, 20_000.0])
    asked = Rating("snr", "dB", at_least=99.0, weighting="A")
    of = session(asked)
    player = replace(of, unit=replace(of.unit, type=("player",)))
    (verdict,) = judge(player, runs_of(loud, idle))
    assert (verdict.verdict, verdict.measured) == (MEETS, "100.0 dB")
    assert "re 0 dBFS" in verdict.assumed
    (verdict,) = judge(of, runs_of(loud, idle))
    assert verdict.measured == ""


def test_a_ratio_relative_to_full_scale_next_to_one_relative_to_a_voltage():
    """2 V at 0 dBFS over 20 µV; the same noise is 94 dB below 1 V."""
    loud = found("level", 2.0, frequency=997.0, dbfs=0.0, voltage=2.0)
    idle = found("noise", 20e-6, measurement="idle", weighting="A", band=[20.0, 20_000.0])
    below_1_v = found(
        "snr", 93.98, measurement="idle", weighting="A", band=[20.0, 20_000.0], reference_level=[1.0, "V", ""]
    )
    ratings = [
        Rating("snr", "dB", at_least=93.0, weighting="A", reference=text, reference_level=level)
        for text, level in (("0 dBFS", Level(0.0, "dBFS")), ("1 V output", Level(1.0, "V")))
    ]
    verdicts = judge(session(*ratings), runs_of(loud, idle, below_1_v))
    assert [verdict.measured for verdict in verdicts] == ["100.0 dB", "94.0 dB"]
