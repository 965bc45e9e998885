"""The frequency, or the band, that figures without one mean: 1 kHz, 400 Hz of AM, 315 or 333 Hz of a cassette deck, the
mean over a band of a loudspeaker (common practice, no source).

Responses are closed forms: a straight slope in dB over log frequency, whose mean over a band is its value in the band's
geometric middle.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rated_and_found import found, rated, verdict_of

from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure import sweeps
from reviewkit.measure.kinds import KINDS
from reviewkit.model.arrays import read_only
from reviewkit.model.capture_request import Basis
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Conditions, Run
from reviewkit.model.gear import gear_of
from reviewkit.model.session import Bench, Measurement, Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.unstated_conditions import relative_to_hz
from reviewkit.plan.recipes import capture_requests
from reviewkit.verdict.verdict import INCOMPARABLE, MEETS, SHORT

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Deck"\n'
HZ = np.geomspace(20.0, 20_000.0, 121)  # a point at each of 20 · 10^(n/40)
SLOPE_DB = 3.0  # per octave


def slope_sheet(offset_db: float = 0.0) -> Sheet:
    """3 dB an octave, 0 dB at 1 kHz; the right `offset_db` lower."""
    level = SLOPE_DB * np.log2(HZ / 1000.0)
    columns = [
        Column("frequency", "", "Hz", read_only(HZ)),
        Column("level", "L", "dBV", read_only(level)),
        Column("level", "R", "dBV", read_only(level - offset_db)),
    ]
    return Sheet("response.csv", tuple(columns), len(HZ))


def run_of(*types: str, offset_db: float = 0.0, ratings: tuple[Rating, ...] = (), **keys: object) -> Run:
    c = Conditions(
        Measurement("response", "response", file="response.csv", **keys), Bench(), ratings, gear=gear_of(types)
    )
    measured = KINDS["response"].findings(slope_sheet(offset_db), c)
    return Run(c, measured.findings, measured.withheld, measured.curves)


@pytest.mark.parametrize(
    ("to_hz", "zero_hz"),
    [(1000.0, 1000.0), (315.0, 315.0), ((300.0, 3000.0), math.sqrt(300.0 * 3000.0)), ((200.0, 4000.0), math.sqrt(8e5))],
)
def test_a_level_relative_to_a_frequency_or_the_mean_of_a_band(to_hz, zero_hz):
    level = SLOPE_DB * np.log2(HZ / 1000.0)
    expected = SLOPE_DB * np.log2(HZ / zero_hz)
    assert np.allclose(sweeps.relative(HZ, level, to_hz), expected, atol=2e-3)


@pytest.mark.parametrize("to_hz", [15.0, (10.0, 3000.0), (300.0, 30_000.0)])
def test_what_the_data_does_not_reach_is_no_reference(to_hz):
    assert sweeps.relative(HZ, HZ * 0.0, to_hz) is None


@pytest.mark.parametrize(
    ("types", "keys", "relative_to", "zero_hz"),
    [
        ((), {}, None, 1000.0),
        (("amplifier",), {}, None, 1000.0),
        (("tuner",), {"input": "FM"}, None, 1000.0),
        (("tuner",), {"input": "AM"}, [400.0], 400.0),
        (("deck",), {}, [315.0], 315.0),
        (("deck",), {"relative_to": 333.0}, [333.0], 333.0),
        (("loudspeaker",), {}, [300.0, 3000.0], math.sqrt(9e5)),
        (("loudspeaker",), {"relative_to": 1000.0}, None, 1000.0),
        ((), {"relative_to": (200.0, 4000.0)}, [200.0, 4000.0], math.sqrt(8e5)),
    ],
)
def test_each_gear_has_its_reference(types, keys, relative_to, zero_hz):
    run = run_of(*types, **keys)
    high = run.get("deviation_high", "L")
    assert high is not None
    assert high.value == pytest.approx(SLOPE_DB * math.log2(20_000.0 / zero_hz), abs=3e-3)
    assert high.at.get("relative_to") == relative_to
    corner = run.get("corner_low", "L")
    assert corner is not None
    # 3.0103 dB at 3 dB an octave are 1.00343 octaves
    assert corner.value == pytest.approx(zero_hz * 2 ** (-3.0103 / SLOPE_DB), rel=1e-3)


def test_the_card_and_the_words_say_what_it_is_relative_to():
    run = run_of("deck")
    assert "relative to 315 Hz" in KINDS["response"].card([run], []).conditions
    facts = {point.name: point.facts for point in KINDS["response"].points(run, None)}
    assert facts["flatness"]["to"] == "315 Hz"
    plain = run_of("amplifier")
    assert not any("relative" in each for each in KINDS["response"].card([plain], []).conditions)


def test_the_balance_is_read_there_too():
    balance = run_of("deck", offset_db=2.0).get("channel_balance")
    assert balance is not None
    assert (balance.value, balance.at["frequency"]) == (pytest.approx(2.0, abs=1e-9), 315.0)
    mean = run_of("loudspeaker", offset_db=2.0).get("channel_balance")
    assert mean is not None
    assert mean.value == pytest.approx(2.0, abs=1e-9)
    assert "frequency" not in mean.at


def test_a_sweep_that_does_not_reach_it_is_withheld():
    run = run_of(relative_to=(10.0, 30_000.0))
    assert any("does not reach the mean of 10 Hz – 30 kHz" in reason for reason in run.withheld)


def test_the_row_of_a_response_says_what_was_assumed():
    flat = rated("flatness", within=(-3.0, 3.0), band_hz=(30.0, 15_000.0))
    verdict = verdict_of(flat, found("flatness", 2.0, band=[30.0, 15_000.0], relative_to=[315.0]))
    assert verdict.verdict == MEETS
    assert "relative to 315 Hz" in verdict.assumed


# ------------------------------------------------------------------ ratings without a frequency


def session(types: str, table: str) -> Rating:
    (rating,) = parse_session(f"{UNIT}type = {types}\n[[rated]]\n{table}", Path(), kinds=()).ratings
    return rating


@pytest.mark.parametrize(
    ("types", "keys", "hz", "word"),
    [
        ('"deck"', "", 315.0, MEETS),
        ('"deck"', "", 333.0, MEETS),
        ('"deck"', "", 1000.0, INCOMPARABLE),
        ('"deck"', 'frequency = "1 kHz"\n', 1000.0, MEETS),
        ('"tuner"', 'input = "AM"\n', 400.0, MEETS),
        ('"tuner"', 'input = "AM"\n', 1000.0, INCOMPARABLE),
        ('"tuner"', 'input = "FM"\n', 1000.0, MEETS),
        ('"tuner"', "", 1000.0, MEETS),
        ('"tuner"', "", 400.0, INCOMPARABLE),
        ('["amplifier", "tuner"]', "", 1000.0, MEETS),
    ],
)
def test_a_distortion_without_a_frequency_means_that_of_its_gear(types, keys, hz, word):
    rating = session(types, f'quantity = "distortion"\nat_most = "1 %"\n{keys}')
    under = {"frequency": hz, "input": rating.input} if rating.input else {"frequency": hz}
    assert verdict_of(rating, found("distortion", 0.5, **under)).verdict == word
    assert verdict_of(rating, found("distortion", 2.0, **under)).verdict == (SHORT if word == MEETS else INCOMPARABLE)


def test_the_row_says_which_frequency_was_meant():
    rating = session('"deck"', 'quantity = "distortion"\nat_most = "1 %"\n')
    verdict = verdict_of(rating, found("distortion", 0.5, frequency=1000.0))
    assert "rated at no frequency, which means 315 Hz or 333 Hz, measured at 1 kHz" in verdict.why


def test_the_plan_measures_there():
    rating = session('"deck"', 'quantity = "distortion"\nat_most = "1 %"\n')
    (*_, wanted) = capture_requests(rating, Basis(Bench(), (rating,), gear_of(["deck"])))
    assert wanted.at["frequency"] == 315.0


def test_am_means_400_hz_whatever_the_type():
    assert relative_to_hz(Measurement("m", "response", input="AM"), None) == 400.0
    rating = replace(session('"tuner"', 'quantity = "distortion"\nat_most = "1 %"\ninput = "AM"\n'), order=0)
    assert rating.meant_hz == (400.0,)


# ------------------------------------------------------------------ as it is written


@pytest.mark.parametrize(
    ("value", "read"), [('"315 Hz"', 315.0), ('["300 Hz", "3 kHz"]', (300.0, 3000.0)), ('"0.4 kHz"', 400.0)]
)
def test_the_reference_of_a_measurement(value, read, tmp_path):
    (tmp_path / "r.csv").write_text("Frequency (Hz),Level (dBV)\n20,0\n")
    text = f'{UNIT}[[measurement]]\nkind = "response"\nfile = "r.csv"\nrelative_to = {value}\n'
    (m,) = parse_session(text, tmp_path, kinds=KINDS).measurements
    assert m.relative_to == read


@pytest.mark.parametrize("value", ['"1 V"', '["3 kHz", "300 Hz"]', '["300 Hz"]', "1000", '"-1 kHz"'])
def test_what_is_no_reference(value, tmp_path):
    (tmp_path / "r.csv").write_text("Frequency (Hz),Level (dBV)\n20,0\n")
    text = f'{UNIT}[[measurement]]\nkind = "response"\nfile = "r.csv"\nrelative_to = {value}\n'
    with pytest.raises(InputError, match="relative_to"):
        parse_session(text, tmp_path, kinds=KINDS)


# ------------------------------------------------------------------ noise over a band that a rating names


def test_noise_over_a_rated_band():
    """White noise of 100 nV/√Hz over 14.8 kHz: 12.166 µV; 2 V is 104.32 dB above it (closed form)."""
    from reviewkit.ingest.references import read_reference

    hz = np.arange(0.0, 24_001.0, 10.0)
    level = np.full(hz.shape, 1e-7 * math.sqrt(10.0))
    columns = (Column("frequency", "", "Hz", read_only(hz)), Column("level", "", "V", read_only(level)))
    reference = read_reference("2 V output")
    assert reference is not None
    rating = rated("snr", at_least=100.0, band_hz=(200.0, 15_000.0), **reference._asdict())
    c = Conditions(Measurement("idle", "noise", file="idle.csv", window="rectangular"), Bench(), (rating,))
    measured = KINDS["noise"].findings(Sheet("idle.csv", columns, len(hz)), c)
    (ratio,) = [
        f
        for f in measured.findings
        if f.quantity == "snr" and f.at["band"] == [200.0, 15_000.0] and "weighting" not in f.at
    ]
    assert ratio.value == pytest.approx(20 * math.log10(2.0 / (1e-7 * math.sqrt(14_800.0))), abs=0.01)
    verdict = verdict_of(rating, *measured.findings)
    assert (verdict.verdict, verdict.measured) == (MEETS, "104.3 dB")


@pytest.mark.parametrize(
    ("types", "hertz", "kind"),
    [
        ([], None, "response"),
        ([], 1000.0, "response"),
        ([], 315.0, "reading"),
        (["deck"], None, "response"),
        (["deck"], 315.0, "response"),
        (["deck"], 1000.0, "reading"),
        (["loudspeaker"], 1000.0, "reading"),
    ],
)
def test_a_balance_is_asked_of_a_sweep_only_where_a_sweep_has_it(types, hertz, kind):
    """Every frequency that the plan sends to a sweep is one at which the sweep of this gear gives the balance."""
    gear = gear_of(types)
    rating = replace(
        rated("channel_balance", at_most=1.0, frequency_hz=hertz),
        meant_hz=gear.reference_hz if gear and not hertz else (),
    )
    (wanted,) = capture_requests(rating, Basis(Bench(load_ohm=8.0), (rating,), gear))
    assert (wanted.kind, wanted.channels) == (kind, ("both",))
    balance = run_of(*types, offset_db=2.0).get("channel_balance")
    assert (balance.at.get("frequency") == wanted.at["frequency"]) == (kind == "response")
