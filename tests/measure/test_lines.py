"""Named lines through the kind: figures with their reference, what is asked and withheld, recognition, ratings.

Truth: noise and lines of known power (tests/truth/known_waveforms.py), the pilot's share of the deviation in 47 CFR
73.322, the sidebands of a jittering clock in closed form, and the model of the sample turntable.
"""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from known_waveforms import noise
from measured_sheets import captured, card_of, column, conditions, measured, one, panel_of, quantities, run_from, sheet
from rated_and_found import session

from reviewkit.build import pipeline
from reviewkit.build.recognising import recognise_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.gear import gear_of
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating
from reviewkit.model.weightings import RUMBLE_B_TYPE
from reviewkit.verdict.verdict import judge

KIND = "lines"
TURNTABLE = Path(__file__).resolve().parents[2] / "sample_session" / "turntable"
RUMBLE = {"rumble": (10.0, 315.0)}
STEREO = {"pilot": 19_000.0, "subcarrier": 38_000.0}
VOLT = Level(1.0, "V")
TEN_CM = Level(10.0, "cm/s")


def groove(rms=1e-2, lines=((25.0, 4e-3),), rate_hz=8000, seconds=12, seed=1):
    """A silent groove: noise and lines of known power, a warp below the band and hiss above it that don't count."""
    t = np.arange(seconds * rate_hz) / rate_hz
    made = noise(np.random.default_rng(seed), len(t), rate_hz, (10.0, 315.0), rms)
    made += 0.02 * np.sin(2 * np.pi * 0.5556 * t) + noise(np.random.default_rng(9), len(t), rate_hz, (400, 3900), 5e-3)
    for hz, peak in lines:
        made += peak * np.sin(2 * np.pi * hz * t)
    return made


def stereo(pilot=0.09, subcarrier=0.004, other=0.0, rate_hz=96_000, seconds=2):
    """A tuner's output: 1 kHz, pilot and subcarrier, and hiss 80 dB down."""
    t = np.arange(seconds * rate_hz) / rate_hz
    made = np.random.default_rng(2).normal(0, 1e-4, len(t))
    for hz, peak in ((1000.0, 1.0), (19_000.3, pilot), (38_000.6, subcarrier), (6300.0, other)):
        made += peak * np.sin(2 * np.pi * hz * t)
    return made


# ------------------------------------------------------------------ figures


@pytest.mark.parametrize("seed", range(3))
def test_rumble(seed, accuracy):
    found = measured(KIND, captured(groove(seed=seed), rate_hz=8000), lines_hz=RUMBLE, reference_level=VOLT)
    rumble = one(found, "rumble", weighting=None)
    accuracy("rumble through its kind", rumble.value - 10 * np.log10(1e-4 + 8e-6))
    assert rumble.at["band"] == [10.0, 315.0]
    assert (rumble.bound, rumble.at["method"]) == ("at most", "from a test record")
    assert not found.withheld


@pytest.mark.parametrize(("hz", "weight_db"), [(100.0, -14.000), (200.0, -3.179), (315.0, 0.0), (500.0, -3.276)])
def test_weighted_rumble_is_of_a_stand_in_and_says_so(hz, weight_db):
    """One line and its weight: two Butterworth poles on either side of 315 Hz, worked out apart from the program."""
    t = np.arange(8 * 8000) / 8000
    samples = 0.1 * np.sin(2 * np.pi * hz * t) + np.random.default_rng(1).normal(0, 1e-5, len(t))
    found = measured(KIND, captured(samples, rate_hz=8000), lines_hz=RUMBLE, reference_level=VOLT)
    weighted = one(found, "rumble", weighting=RUMBLE_B_TYPE)
    assert weighted.value == pytest.approx(20 * np.log10(0.1 / 2**0.5) + weight_db, abs=0.01)
    assert "stand-in" in RUMBLE_B_TYPE


def test_pilot_and_subcarrier(accuracy):
    """A pilot of 9 % is 20.915 dB below the tone; together with a subcarrier of 0.4 % it is 20.907."""
    found = measured(KIND, captured(stereo(), rate_hz=96_000), lines_hz=STEREO, frequency_hz=1000.0)
    accuracy("levels of named lines", one(found, "line_level", line="pilot").value + 20.915)
    accuracy("levels of named lines", one(found, "line_level", line="subcarrier").value - 20 * np.log10(0.004))
    ratio = one(found, "subcarrier_suppression")
    accuracy("levels of named lines", ratio.value + 20 * np.log10(np.hypot(0.09, 0.004)))
    assert not ratio.bound
    assert "strongest_other_line" not in quantities(found)


def test_a_line_that_is_not_there_is_a_bound():
    found = measured(KIND, captured(stereo(subcarrier=0.0), rate_hz=96_000), lines_hz=STEREO, frequency_hz=1000.0)
    hidden = one(found, "line_level", line="subcarrier")
    assert (hidden.bound, hidden.at["method"]) == ("at most", "as noise")
    # hiss of 1e-4 V over 48 kHz, 190 Hz to either side: 79.0 dB and 21 dB more below 1 V peak, r.m.s.
    assert hidden.value == pytest.approx(20 * np.log10(1e-4 * (380 / 48_000) ** 0.5 / 0.5**0.5), abs=0.5)


def test_half_of_the_subcarrier_products_is_no_figure():
    """At 48 kHz there is no 38 kHz: the pilot alone would flatter."""
    found = measured(KIND, captured(stereo(rate_hz=48_000), rate_hz=48_000), lines_hz=STEREO, frequency_hz=1000.0)
    assert "subcarrier_suppression" not in quantities(found)
    assert found.withheld == ("m: no subcarrier: the data doesn't reach 38 kHz",)
    rating = Rating("subcarrier_suppression", "dB", at_least=60.0, called="subcarrier suppression")
    rated = measured(KIND, captured(stereo(rate_hz=48_000), rate_hz=48_000), ratings=[rating], frequency_hz=1000.0)
    assert rated.withheld == found.withheld


def test_the_strongest_line_without_a_name():
    """Not the tone, its harmonics, hum or what has a name."""
    samples = stereo(other=0.001)
    t = np.arange(len(samples)) / 96_000
    samples = samples + 0.01 * np.sin(2 * np.pi * 2000 * t) + 0.01 * np.sin(2 * np.pi * 120 * t)
    found = measured(KIND, captured(samples, rate_hz=96_000), lines_hz=STEREO, frequency_hz=1000.0, mains_hz=60.0)
    other = one(found, "strongest_other_line")
    assert other.at["frequency"] == pytest.approx(6300, abs=0.1)
    assert other.value == pytest.approx(-60.0, abs=0.05)


def of_a_player(samples, rate_hz, **stated):
    c = replace(conditions(KIND, **stated), gear=gear_of(("player",)))
    return run_from(captured(samples, rate_hz=rate_hz, unit="ratio"), c)


def jittering(tone_hz=11_025.0, rate_hz=44_100, seconds=4, lines=((229.6875, 1e-9),)):
    t = np.arange(seconds * rate_hz) / rate_hz
    late = sum(peak * np.sin(2 * np.pi * hz * t + hz) for hz, peak in lines)
    return 0.7 * np.sin(2 * np.pi * tone_hz * (t + late)) + np.random.default_rng(4).normal(0, 3e-6, len(t))


def test_jitter(accuracy):
    """The r.m.s. sum of steady rates; of one of 1 ns peak 0.7071 ns."""
    run = of_a_player(jittering(), 44_100, frequency_hz=11_025.0)
    jitter = run.get("jitter")
    accuracy("jitter", 100 * (jitter.value / (1e-9 / 2**0.5) - 1))
    assert (jitter.unit, jitter.at["weighting"]) == ("s", "r.m.s.")
    run = of_a_player(jittering(lines=((229.6875, 1e-9), (100.0, 2e-9))), 44_100, frequency_hz=11_025.0)
    accuracy("jitter", 100 * (run.get("jitter").value / (5**0.5 * 1e-9 / 2**0.5) - 1))


def test_only_a_player_has_jitter():
    """A deck's tone wavers, which isn't jitter."""
    found = measured(KIND, captured(jittering(), rate_hz=44_100), frequency_hz=11_025.0)
    assert "jitter" not in quantities(found)


# ------------------------------------------------------------------ the reference


def test_without_a_reference_there_are_no_figures():
    found = measured(KIND, captured(groove(), rate_hz=8000), lines_hz=RUMBLE)
    assert not found.findings
    assert 'reference_level = "245 mV"' in found.withheld[0]


def test_two_references_are_asked_about():
    with pytest.raises(InputError, match="two references"):
        measured(KIND, captured(groove(), rate_hz=8000), reference_level=VOLT, frequency_hz=1000.0)


def test_a_reference_tone_that_is_not_there_is_refused():
    with pytest.raises(InputError, match="no tone near 1 kHz"):
        measured(KIND, captured(groove(), rate_hz=8000), frequency_hz=1000.0)


def test_full_scale_is_a_sine():
    """A pilot 40 dB below a full-scale sine, in a capture and in an exported spectrum."""
    t = np.arange(96_000 * 2) / 96_000
    samples = 0.01 * np.sin(2 * np.pi * 19_000 * t) + np.random.default_rng(1).normal(0, 1e-6, len(t))
    relative = captured(samples, rate_hz=96_000, unit="ratio")
    full = Level(-20.0, "dBFS")
    found = measured(KIND, relative, lines_hz={"pilot": 19_000.0}, reference_level=full)
    assert one(found, "line_level").value == pytest.approx(-20.0, abs=0.01)
    hz = np.arange(8193) * 96_000 / 16_384
    db = np.full(hz.size, -130.0) + np.random.default_rng(1).normal(0, 3, hz.size)
    place = round(19_000 / hz[1])
    db[place - 1 : place + 2] = [-46.02, -40.0, -46.02]
    lines = sheet(column("frequency", hz), column("level", db, unit="dBFS"))
    found = measured(KIND, lines, lines_hz={"pilot": hz[place]}, reference_level=full, window="hann")
    assert one(found, "line_level").value == pytest.approx(-20.0, abs=0.05)


@pytest.mark.parametrize(
    ("unit", "level", "words"),
    [
        ("V", Level(-12.0, "dBFS"), "in volts, its reference in dBFS"),
        ("ratio", VOLT, "relative, its reference in volts"),
    ],
)
def test_a_reference_in_another_unit_than_the_file(unit, level, words):
    found = measured(KIND, captured(groove(), rate_hz=8000, unit=unit), lines_hz=RUMBLE, reference_level=level)
    assert not found.findings
    assert words in found.withheld[0]


def test_a_reference_of_another_capture_is_as_uncertain_as_the_bench():
    samples = stereo()
    bench = Bench(level_uncertainty_db=0.2)
    stated = {"lines_hz": {"pilot": 19_000.0}, "bench": bench}
    here = measured(KIND, captured(samples, rate_hz=96_000), frequency_hz=1000.0, **stated)
    there = measured(KIND, captured(samples, rate_hz=96_000), reference_level=VOLT, **stated)
    assert one(here, "line_level").uncertainty is None
    assert one(there, "line_level").uncertainty == pytest.approx(0.2)


# ------------------------------------------------------------------ card and words


def test_the_card_holds_what_the_file_says():
    card = card_of(KIND, captured(stereo(), rate_hz=96_000), lines_hz=STEREO, frequency_hz=1000.0)
    panel = panel_of(card)
    assert [(mark.text, round(mark.x), round(mark.y, 1)) for mark in panel.marks] == [
        ("pilot", 19_000, -20.9),
        ("subcarrier", 38_000, -48.0),
    ]
    trace = panel.traces[0]
    assert float(np.max(trace.y)) == pytest.approx(0.0, abs=0.01)  # the tone itself
    assert float(np.median(trace.y)) < -100
    assert card.hero.figure == "20.9 dB"
    assert (card.subject, card.conditions) == ("Subcarrier suppression", ("re the tone of 1 kHz",))


def test_the_card_of_a_player_has_its_sidebands():
    run = of_a_player(jittering(), 44_100, frequency_hz=11_025.0)
    card = KINDS[KIND].card([run], ())
    panel = panel_of(card)
    # one sideband of 1 ns peak at 11.025 kHz: −89.2094 dB
    assert [(round(mark.x, 1), round(mark.y, 1)) for mark in panel.marks[:2]] == [(-229.7, -89.2), (229.7, -89.2)]
    near = panel.traces[0]
    for mark in panel.marks[:2]:
        at = int(np.argmin(np.abs(near.x - mark.x)))
        assert float(np.max(near.y[at - 1 : at + 2])) == pytest.approx(-89.2, abs=0.2)
    assert card.hero.figure == "0.707 ns"


def test_what_is_said_first_is_what_the_card_shows():
    run = run_from(captured(stereo(), rate_hz=96_000), conditions(KIND, lines_hz=STEREO, frequency_hz=1000.0))
    (point,) = KINDS[KIND].points(run, None)
    assert (point.facts["quantity"], point.facts["reference"]) == ("subcarrier_suppression", "the tone of 1 kHz")


# ------------------------------------------------------------------ recognised


def test_only_its_name_makes_a_file_one_of_lines():
    silent = captured(groove(1e-3), rate_hz=8000, unit="ratio")
    assert recognise_sheet(silent, "measurements/rumble.wav").table.get("kind") == KIND
    assert recognise_sheet(silent, "measurements/idle.wav").table.get("kind") != KIND
    assert recognise_sheet(captured(stereo(), rate_hz=96_000), "measurements/output.wav").table.get("kind") != KIND


# ------------------------------------------------------------------ ratings


@pytest.mark.parametrize(
    ("limit", "weighting", "word"),
    [
        (-35.0, "", "meets"),  # −39.7 dB
        (-45.0, "", "not comparable"),  # a bound can't deny
        (-35.0, "DIN A", "not comparable"),
        (-35.0, "DIN B", "not comparable"),
    ],
)
def test_a_rated_rumble(limit, weighting, word):
    c = conditions(KIND, lines_hz=RUMBLE, reference_level=VOLT, drive=TEN_CM, load_ohm=None)
    run = run_from(captured(groove(), rate_hz=8000), c)
    rating = Rating("rumble", "dB", at_most=limit, weighting=weighting, called="rumble")
    (verdict,) = judge(session(rating), (run,))
    assert verdict.verdict == word


def test_a_rated_rumble_is_compared_by_its_reference():
    c = conditions(KIND, lines_hz=RUMBLE, reference_level=VOLT, drive=TEN_CM, load_ohm=None)
    run = run_from(captured(groove(), rate_hz=8000), c)
    for level, word in ((TEN_CM, "meets"), (Level(5.0, "cm/s"), "not comparable")):
        rating = Rating(
            "rumble", "dB", at_most=-35.0, called="rumble", reference=f"{level.value:g} cm/s", reference_level=level
        )
        (verdict,) = judge(session(rating), (run,))
        assert verdict.verdict == word


@pytest.mark.parametrize(("limit", "word"), [(20.0, "meets"), (30.0, "falls short")])
def test_a_rated_subcarrier_suppression(limit, word):
    run = run_from(
        captured(stereo(), rate_hz=96_000), conditions(KIND, lines_hz=STEREO, frequency_hz=1000.0, load_ohm=None)
    )
    rating = Rating("subcarrier_suppression", "dB", at_least=limit, called="subcarrier suppression")
    (verdict,) = judge(session(rating), (run,))
    assert verdict.verdict == word


@pytest.mark.parametrize(
    ("limit", "weighting", "word"),
    [(1e-9, "r.m.s.", "meets"), (5e-10, "r.m.s.", "falls short"), (3e-9, "", "not comparable")],
)
def test_a_rated_jitter_must_say_which_value_it_is(limit, weighting, word):
    run = of_a_player(jittering(), 44_100, frequency_hz=11_025.0, load_ohm=None)
    rating = Rating("jitter", "s", at_most=limit, weighting=weighting, called="jitter")
    (verdict,) = judge(session(rating), (run,))
    assert verdict.verdict == word


# ------------------------------------------------------------------ the sample turntable


@pytest.fixture(scope="module")
def model():
    sys.path.insert(0, str(TURNTABLE))
    try:
        import make_turntable

        yield make_turntable
    finally:
        sys.path.remove(str(TURNTABLE))


def test_the_sample_turntable(model):
    """Its noise and its motor's lines, power by power, relative to 245 mV.

    Noise that falls as 1/f is as uneven over 12 s as even noise of 123 Hz, so it scatters by 0.11 dB.
    """
    for run in pipeline.check(TURNTABLE).runs:
        stage = run.conditions.measurement.stage
        power = model.BELOW[stage] ** 2 + sum(peak**2 / 2 for peak in model.LINES[stage])
        true = 10 * np.log10(power) - 20 * np.log10(model.REFERENCE_V)
        assert run.get("rumble").value == pytest.approx(true, abs=0.2)
        motor = 20 * np.log10(model.LINES[stage][0] / 2**0.5 / model.REFERENCE_V)
        assert run.get("line_level", line="motor").value == pytest.approx(motor, abs=0.3)  # noise there adds to it
        assert run.get("rumble").at["reference_level"] == [10.0, "cm/s", ""]


def test_the_sample_files_are_what_the_model_makes(model):
    import soundfile

    for name, made in model.files().items():
        kept, _ = soundfile.read(TURNTABLE / "measurements" / name)
        wanted, _ = soundfile.read(io.BytesIO(made))
        assert np.array_equal(kept, wanted)
