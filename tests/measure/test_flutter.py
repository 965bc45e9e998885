"""Speed, wow and flutter through the kind: figures with their conditions, what is asked and refused, recognition.

Truth: closed forms of a modulated tone's statistics, the dB of IEC 60386, Table 1, and the model of the sample deck.
"""

from __future__ import annotations

import io
import shutil
import sys
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from accuracy import grid
from measured_sheets import captured, card_of, conditions, measured, one, run_from
from rated_and_found import session

from reviewkit.build import pipeline
from reviewkit.build.recognising import recognise_sheet
from reviewkit.measure.flutter import turning_at
from reviewkit.measure.kinds import KINDS
from reviewkit.model.card_files import stills
from reviewkit.model.errors import InputError
from reviewkit.model.session import Rating
from reviewkit.verdict.verdict import judge

KIND, RATE_HZ = "flutter", 8000
DECK = Path(__file__).resolve().parents[2] / "sample_session" / "deck"
SINE_2_SIGMA = np.sin(0.95 * np.pi / 2)  # of its peak: the value that it exceeds 5 % of the time


def played(sines=((4.0, 1e-3),), *, tone_hz=3150.0, speed=0.01, seconds=16, hiss=0.0):
    """A tone that runs `speed` too fast, with sines of deviation (rate, peak)."""
    t = np.arange(seconds * RATE_HZ) / RATE_HZ
    phase = 2 * np.pi * tone_hz * (1 + speed) * t
    for rate, peak in sines:
        phase = phase + tone_hz * peak / rate * np.sin(2 * np.pi * rate * t + rate)
    return 0.5 * np.sin(phase) + np.random.default_rng(3).normal(0, hiss, t.size) if hiss else 0.5 * np.sin(phase)


capture = partial(captured, rate_hz=RATE_HZ, unit="ratio")


def test_its_figures():
    found = measured(KIND, capture(played()), frequency_hz=3150.0)
    assert one(found, "speed_error").value == pytest.approx(1.0, abs=0.005)
    peak = one(found, "wow_and_flutter", weighting="weighted peak")
    wrms = one(found, "wow_and_flutter", weighting="WRMS")
    assert peak.value == pytest.approx(0.1 * SINE_2_SIGMA, rel=0.01)  # 0 dB at 4 Hz
    assert wrms.value == pytest.approx(0.1 / 2**0.5, rel=0.01)
    assert one(found, "unweighted_flutter").value == pytest.approx(0.1 * SINE_2_SIGMA, rel=0.01)
    assert one(found, "strongest_rate").value == pytest.approx(4.0, abs=0.01)
    assert one(found, "speed_drift").value < 0.001
    assert (peak.unit, peak.at["frequency"]) == ("%", 3150.0)
    assert not found.withheld


def test_slow_and_fast_rates_weigh_less():
    """0.5556 Hz: −10.227 dB; 50 Hz: −12.267 dB, both between rows of the table."""
    for rate, weight_db in ((0.555556, -10.227), (50.0, -12.267)):
        found = measured(KIND, capture(played([(rate, 1e-3)], seconds=20)), frequency_hz=3150.0)
        weighted = one(found, "wow_and_flutter", weighting="WRMS").value
        assert weighted == pytest.approx(0.1 / 2**0.5 * 10 ** (weight_db / 20), rel=0.015)


def test_the_stronger_channel_is_read():
    """Both tracks of a tape waver alike; a mono test tape may leave one to hiss."""
    hiss = np.random.default_rng(5).normal(0, 1e-3, 16 * RATE_HZ)
    found = measured(KIND, capture(hiss, played()), frequency_hz=3150.0)
    assert one(found, "wow_and_flutter", weighting="WRMS").value == pytest.approx(0.1 / 2**0.5, rel=0.01)
    assert {f.channel for f in found.findings} == {""}


def test_the_tone_must_be_named():
    """5 % apart, so a deck that is off by that would be right by the other tone."""
    with pytest.raises(InputError, match=r'frequency = "3150 Hz".*frequency = "3000 Hz"'):
        measured(KIND, capture(played()))
    fast = measured(KIND, capture(played(tone_hz=3000.0, speed=0.05)), frequency_hz=3000.0)
    assert one(fast, "speed_error").value == pytest.approx(5.0, abs=0.005)


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (played(seconds=3), "3 s long"),
        (played(tone_hz=1000.0), "no tone near 3150 Hz|aren't in the record|drops out"),
        (np.concatenate([played(seconds=6), np.zeros(8000), played(seconds=6)]), "drops out"),
    ],
    ids=["short", "another tone", "a gap"],
)
def test_what_cannot_be_measured_is_refused(samples, words):
    with pytest.raises(InputError, match=words):
        measured(KIND, capture(samples), frequency_hz=3150.0)


def test_what_turns_at_a_rate():
    named = {"platter": 100 / 180, "capstan": 7.58}
    assert turning_at(0.5556, named, 20.0) == "platter"
    assert turning_at(7.6, named, 20.0) == "capstan"
    assert turning_at(15.17, named, 20.0) == "2 × capstan"
    assert turning_at(0.75, named, 20.0) == ""
    # 16 2/3 rpm is half of the platter's rate, not the platter
    assert turning_at(0.278, named, 60.0) == ""


def test_a_record_turns_without_a_table():
    record = capture(played([(100 / 180 * 1.002, 2e-3)], speed=0.002, seconds=20))
    run = run_from(record, conditions(KIND, frequency_hz=3150.0))
    (point,) = KINDS[KIND].points(run, None)
    assert point.facts["turns"] == "33⅓ rpm"


def test_the_card_holds_what_the_file_says():
    samples = capture(played())
    card = card_of(KIND, samples, frequency_hz=3150.0, rates_hz={"capstan": 4 / 1.01}, load_ohm=8.0)
    (over_time,) = card.body.panels
    assert (over_time.x.unit, over_time.y.unit, over_time.label) == ("s", "%", "speed around its mean, weighted")
    assert float(np.mean(over_time.traces[0].y)) == pytest.approx(0.0, abs=0.005)  # 1 % too fast
    assert float(np.ptp(over_time.traces[0].y)) == pytest.approx(0.2, rel=0.05)
    run = run_from(samples, conditions(KIND, frequency_hz=3150.0, rates_hz={"capstan": 4 / 1.01}))
    (further,) = KINDS[KIND].further([run])
    (rates,) = further.body.panels
    assert rates.label == "peak of each rate, unweighted"
    assert (further.id, further.hero.figure, rates.x.unit, rates.y.unit) == ("rates", "0.10 %", "Hz", "%")
    assert [(mark.text, round(mark.x, 2)) for mark in rates.marks] == [("capstan", 4.0)]
    assert rates.marks[0].y == pytest.approx(0.1, rel=1e-3)
    assert (card.hero.figure, card.hero.caption) == ("0.10 %", "wow and flutter, weighted peak")
    assert card.conditions == ("3.15 kHz",)


@pytest.mark.parametrize("seconds", [6, 60])
@pytest.mark.parametrize("rates", [[(4.0, 1e-3)], [(0.7, 2e-3), (9.3, 1e-3)]])
def test_the_curve_is_what_the_figure_is_computed_from(rates, seconds):
    """The mean of 10 ms takes 1.4 % off a sine of 9.3 Hz, 0.3 % off one of 4 Hz."""
    run = run_from(capture(played(rates, seconds=seconds)), conditions(KIND, frequency_hz=3150.0))
    drawn_as_computed(KINDS[KIND].card([run], ()).body.panels[0], run)


def drawn_as_computed(panel, *runs):
    """The curves have the r.m.s. value, and the peak exceeded 5 % of the time, that their runs give as figures."""
    for trace, run in zip(panel.traces, runs, strict=True):
        wrms, peak = (run.get("wow_and_flutter", weighting=each).value for each in ("WRMS", "weighted peak"))
        assert np.sqrt(np.mean(trace.y**2)) == pytest.approx(wrms, rel=0.02)
        assert np.quantile(np.abs(trace.y), 0.95) == pytest.approx(peak, rel=0.02)


def test_the_card_shows_what_the_maker_rates():
    rating = Rating("wow_and_flutter", "%", at_most=0.08, weighting="WRMS")
    card = card_of(KIND, capture(played()), frequency_hz=3150.0, ratings=[rating])
    assert (card.hero.figure, card.hero.caption) == ("0.071 %", "wow and flutter, weighted r.m.s.")


# ------------------------------------------------------------------ recognised


@pytest.mark.parametrize(("peak", "rate"), grid([3e-4, 1e-3, 5e-3], [0.62, 4.0, 9.0]))
def test_a_tone_that_wavers_is_recognised(rate, peak):
    found = recognise_sheet(capture(played([(rate, peak)], hiss=1e-3)), "measurements/deck.wav")
    assert (found.table.get("kind"), found.question) == (KIND, "")


def test_its_tone_is_read_from_its_name():
    found = recognise_sheet(capture(played()), "measurements/after/flutter 3150 Hz.wav")
    assert dict(found.table) == {"kind": KIND, "frequency": "3150 Hz", "stage": "after"}


def test_a_steady_tone_of_that_frequency_is_asked_about():
    found = recognise_sheet(capture(played([], speed=0.0)), "measurements/flutter.wav")
    assert {choice["kind"] for choice in found.choices} == {"tone", KIND}


def test_as_a_tone_it_says_that_it_is_speed_and_flutter():
    with pytest.raises(InputError, match='speed and flutter, not distortion; write kind = "flutter"'):
        measured("tone", capture(played([(4.0, 5e-3)]), unit="V"))


# ------------------------------------------------------------------ the sample deck


@pytest.fixture(scope="module")
def model():
    sys.path.insert(0, str(DECK))
    try:
        import make_deck

        yield make_deck
    finally:
        sys.path.remove(str(DECK))


def test_the_sample_deck(model):
    """Each rate of its model after the table's dB, summed over time: 95 % point and r.m.s.; speed and drift."""
    hz, db = (0.4, 0.63, 0.8, 1, 1.6, 2, 4, 6.3, 10, 20), (-15.0, -8.4, -6.0, -4.2, -1.8, -0.9, 0.0, -0.9, -2.1, -5.9)
    for run in (run for run in pipeline.check(DECK).runs if run.conditions.measurement.kind == KIND):
        running = model.RUNNING[run.conditions.measurement.stage]
        rates = np.array(list(running.rates)) * (1 + running.speed)
        peaks = np.array(list(running.rates.values())) * 10 ** (np.interp(np.log(rates), np.log(hz), db) / 20)
        t = np.arange(model.SECONDS * 400) / 400
        true = 100 * np.cos(2 * np.pi * rates * t[:, None] + 3 * np.array(list(running.rates))) @ peaks
        assert run.get("wow_and_flutter", weighting="weighted peak").value == pytest.approx(
            np.quantile(np.abs(true), 0.95), rel=0.02
        )
        assert run.get("wow_and_flutter", weighting="WRMS").value == pytest.approx(np.sqrt(np.mean(true**2)), rel=0.02)
        assert run.get("speed_error").value == pytest.approx(100 * running.speed, abs=0.005)
        assert run.get("speed_drift").value == pytest.approx(100 * running.drift, rel=0.06)
        (point,) = KINDS[KIND].points(run, None)
        assert point.facts["turns"] == "pinch roller"
        assert point.facts["rate"].value == pytest.approx(model.ROLLER_HZ * (1 + running.speed), rel=2e-3)


def test_the_sample_files_are_what_the_model_makes(model):
    import soundfile

    waves = {name: made for name, made in model.files().items() if name.endswith(".wav")}
    assert len(waves) == 4
    for name, made in waves.items():
        kept, _ = soundfile.read(DECK / "measurements" / name)
        wanted, _ = soundfile.read(io.BytesIO(made))
        assert np.array_equal(kept, wanted)


# ------------------------------------------------------------------ ratings


@pytest.mark.parametrize(
    ("weighting", "limit", "word"),
    [
        ("WRMS", 0.08, "meets"),  # 0.0707 %
        ("WRMS", 0.06, "falls short"),
        ("weighted peak", 0.12, "meets"),  # 0.0997 %
        ("weighted peak", 0.09, "falls short"),
        ("", 0.2, "not comparable"),  # of either weighting: neither can confirm a figure without one
    ],
)
def test_a_rating_is_compared_with_the_figure_of_its_weighting(weighting, limit, word):
    run = run_from(capture(played()), conditions(KIND, frequency_hz=3150.0, load_ohm=None))
    rating = Rating("wow_and_flutter", "%", at_most=limit, weighting=weighting, called="wow and flutter")
    (verdict,) = judge(session(rating), (run,))
    assert verdict.verdict == word


@pytest.mark.parametrize(("within", "word"), [(1.5, "meets"), (0.5, "falls short")])
def test_a_rated_speed_is_judged_either_way(within, word):
    for speed in (0.01, -0.01):
        run = run_from(capture(played(speed=speed)), conditions(KIND, frequency_hz=3150.0, load_ohm=None))
        rating = Rating("speed_error", "%", within=(-within, within), called="speed error")
        (verdict,) = judge(session(rating), (run,))
        assert verdict.verdict == word


def test_found_pair_and_rated_have_one_scale_and_the_rates_a_card_if_a_note_asks(tmp_path):
    deck = tmp_path / "deck"
    shutil.copytree(DECK, deck, ignore=shutil.ignore_patterns("out"))
    notes = deck / "notes.txt"
    assert "flutter-rates" not in {card.id for card in pipeline.prepare(deck).series.cards}
    notes.write_text(notes.read_text(encoding="utf-8").replace("[card flutter]", "[card flutter] [card flutter-rates]"))
    cards = {still.id: still for still in stills(pipeline.prepare(deck).series.cards)}
    speeds = [cards[name].body.panels for name in ("flutter-found", "flutter", "flutter-rated")]
    assert [len(panels) for panels in speeds] == [1, 1, 1]
    assert len({(panel.y.low, panel.y.high) for (panel,) in speeds}) == 1
    before, after = (run for run in pipeline.check(deck).runs if run.conditions.measurement.kind == KIND)
    for (panel,), runs in zip(speeds, [(before,), (before, after), (after,)], strict=True):
        drawn_as_computed(panel, *runs)
    # both pictures show the change of the figure that is rated, and neither has its tone's frequency as a place
    for name in ("flutter-found", "flutter"):
        picture = cards[name.replace("flutter", "flutter-rates")]
        assert picture.hero.figure == cards[name].hero.figure
        assert picture.body.panels[0].fall is None
        assert all(mark.x < 20 for mark in picture.body.panels[0].marks)
    assert "Speed around its mean, weighted." in cards["flutter-found"].alt
    assert "Curves" not in cards["flutter-found"].alt  # one curve without a name
    assert "Curves: aligned, for comparison." in cards["azimuth-found"].alt
