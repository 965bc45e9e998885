"""Two channels compared through the kind: figures with their conditions, what is withheld, recognition, the card.

Truth: tones shifted by a known time; τ = s · tan(θ) / v with a cassette's tracks; the model of the sample deck.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from measured_sheets import all_of, card_of, column, conditions, measured, one, panel_of, quantities, run_from, sheet
from rated_and_found import session

from reviewkit.build import pipeline
from reviewkit.build.recognising import recognise_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.session import Rating
from reviewkit.verdict.verdict import judge

KIND, RATE_HZ = "between-channels", 48_000
DECK = Path(__file__).resolve().parents[2] / "sample_session" / "deck"
CASSETTE = {"tape_speed": 4.76}


def capture(delay_s, *, tones=(315.0, 10_000.0), level_db=0.0, sign=1.0, channels="LR"):
    """Both channels with the same tones; the right one is late, weaker or inverted."""
    t = np.arange(RATE_HZ) / RATE_HZ
    played = lambda at: sum(0.3 * np.sin(2 * np.pi * hz * at + hz) for hz in tones)  # noqa: E731
    both = {"L": played(t), "R": sign * 10 ** (level_db / 20) * played(t - delay_s)}
    return sheet(column("time", t), *(column("level", both[name], name) for name in channels))


def late_by(arcmin):
    return 0.0009 * np.tan(np.radians(arcmin / 60)) / 0.0476


def test_azimuth_of_a_cassette():
    """1′ is 5.5 µs at 4.76 cm/s and 0.9 mm between the tracks; 10′ is more than half a period of 10 kHz."""
    for arcmin in (1.0, 5.0, 10.0, -3.0):
        found = measured(KIND, capture(late_by(arcmin)), **CASSETTE)
        angle = one(found, "azimuth_error", "both")
        assert angle.value == pytest.approx(abs(arcmin), abs=0.01)
        assert angle.at["later"] == ("right" if arcmin > 0 else "left")
        assert one(found, "channel_delay", "both").value == pytest.approx(abs(late_by(arcmin)), abs=5e-9)
        assert not found.withheld


def test_phase_and_level_at_each_tone():
    """20 µs is 2.268° at 315 Hz and 72° at 10 kHz; the right channel is 1.5 dB weaker."""
    found = measured(KIND, capture(20e-6, level_db=-1.5))
    phases = all_of(found, "channel_phase_difference", "both")
    assert [f.value for f in phases] == pytest.approx([2.268, 72.0], abs=0.05)
    assert [round(f.at["frequency"]) for f in phases] == [315, 10_000]
    assert [f.value for f in all_of(found, "channel_balance")] == pytest.approx([1.5, 1.5], abs=0.01)
    assert "azimuth_error" not in quantities(found)


def test_another_tape_needs_its_tracks():
    found = measured(KIND, capture(5e-6), tape_speed=19.05)
    assert "track_spacing" in found.withheld[0]
    known = measured(KIND, capture(5e-6), tape_speed=19.05, track_spacing=0.00275)
    assert one(known, "azimuth_error", "both").value == pytest.approx(
        60 * np.degrees(np.arctan(0.1905 * 5e-6 / 0.00275))
    )


def test_one_high_tone_alone_leaves_periods_open():
    found = measured(KIND, capture(20e-6, tones=(10_000.0,)))
    assert "whole periods" in found.withheld[0]
    assert one(found, "channel_phase_difference", "both").value == pytest.approx(72.0, abs=0.05)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_polarity_is_said(sign):
    run = run_from(capture(5e-6, sign=sign), conditions(KIND))
    (point,) = KINDS[KIND].points(run, None)
    assert point.facts["inverted"] is (sign < 0)


@pytest.mark.parametrize(
    ("data", "words"),
    [(capture(0.0, channels="L"), "left and right together"), (capture(0.0, level_db=-np.inf), "silent")],
)
def test_what_cannot_be_compared_is_refused(data, words):
    with pytest.raises(InputError, match=words):
        measured(KIND, data)


def test_the_card_holds_what_the_file_says():
    """A quarter of a period of 10 kHz: a circle; right and left equal."""
    card = card_of(KIND, capture(25e-6), load_ohm=None)
    panel = panel_of(card)
    in_step, trace = panel.traces
    assert panel.square
    # both channels alike: the line through the plot's corners
    assert (in_step.role, in_step.label) == ("ideal", "in step")
    assert list(zip(in_step.x, in_step.y, strict=True)) == [(panel.x.low, panel.y.low), (panel.x.high, panel.y.high)]
    assert np.hypot(trace.x, trace.y) == pytest.approx(np.ones(len(trace.x)), abs=2e-3)
    assert (card.hero.figure, card.hero.caption) == ("90.0°", "phase between channels")
    assert card.conditions == ("10 kHz",)
    with_angle = card_of(KIND, capture(late_by(5.0)), **CASSETTE, load_ohm=None)
    assert (with_angle.hero.figure, with_angle.subject) == ("5.0 arcmin", "Azimuth")


def test_a_rated_phase_is_judged_at_its_frequency():
    run = run_from(capture(1e-6), conditions(KIND, load_ohm=None))  # 3.6° at 10 kHz
    for limit, word in ((5.0, "meets"), (2.0, "falls short")):
        rating = Rating(
            "channel_phase_difference", "°", at_most=limit, frequency_hz=10_000.0, called="phase difference"
        )
        (verdict,) = judge(session(rating), (run,))
        assert verdict.verdict == word


def test_it_is_recognised_by_its_name_alone():
    assert recognise_sheet(capture(5e-6), "measurements/azimuth after.wav").table.get("kind") == KIND
    assert recognise_sheet(capture(5e-6), "measurements/both.wav").table.get("kind") != KIND


def test_the_sample_deck():
    """Its model's angle, 315 Hz to 10 kHz on both tracks, with the deck's own wavering and hiss."""
    sys.path.insert(0, str(DECK))
    try:
        import make_deck as model
    finally:
        sys.path.remove(str(DECK))
    runs = [run for run in pipeline.check(DECK).runs if run.conditions.measurement.kind == KIND]
    assert len(runs) == 2
    for run in runs:
        # the deck's speed moves the delay as well, by 2 % at most
        true = model.AZIMUTH_ARCMIN[run.conditions.measurement.stage]
        assert run.get("azimuth_error").value == pytest.approx(true, abs=0.05)
        assert run.get("azimuth_error").at["later"] == "right"
        assert all(f.value == pytest.approx(0.4, abs=0.02) for f in run.findings if f.quantity == "channel_balance")
