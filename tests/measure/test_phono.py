"""The response through a phono stage against the RIAA replay curve, by stages of known time constants."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from known_noise import phono_db
from measured_sheets import HERTZ, all_of, card_of, column, conditions, measured, one, panel_of, run_from, sheet
from rated_and_found import verdict_of

from reviewkit.measure.kinds import KINDS
from reviewkit.model import quantities
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Run
from reviewkit.model.session import Rating

FREQUENCY_HZ = np.geomspace(10, 40_000, 97)
FLAT = np.zeros(97)
# the resistor of the bass time constant five percent high, the treble capacitor five percent low
BASS_OFF, TREBLE_OFF = {"bass_s": 1.05 * 3180e-6}, {"treble_s": 0.95 * 75e-6}


def levels(left, right=None, unit="dB", frequency=FREQUENCY_HZ):
    pair = [column("level", left, "" if right is None else "L", unit, "Ch 1")]
    if right is not None:
        pair.append(column("level", right, "R", unit, "Ch 2"))
    return sheet(column("frequency", frequency), *pair)


def off_the_curve(frequency, **told):
    """What a stage of these time constants is off the standard's, by two circuits of scipy's."""
    return phono_db(frequency, **told) - phono_db(frequency)


@pytest.mark.parametrize("unit", ["dB", "dBV", "V"])
@pytest.mark.parametrize("off", [BASS_OFF, TREBLE_OFF], ids=["bass", "treble"])
def test_a_component_that_is_off(off, unit):
    """Re 1 kHz, with its sign and where it stands; a gain of 35 dB divides out."""
    response = phono_db(FREQUENCY_HZ, **off) + 35.0 - 46.0
    found = measured("phono", levels(10 ** (response / 20) if unit == "V" else response, unit=unit))
    for band_hz in ((20.0, 20_000.0), (40.0, 15_000.0)):
        dense = np.geomspace(*band_hz, 4001)
        exact = off_the_curve(dense, **off)
        worst = int(np.argmax(np.abs(exact)))
        f = one(found, "riaa_deviation", band=list(band_hz))
        # 8 points an octave, read along straight lines
        assert f.value == pytest.approx(exact[worst], abs=2e-3)
        assert f.at["frequency"] == pytest.approx(dense[worst], rel=0.05)
        assert "amendment" not in f.at
        at_point = float(off_the_curve(np.array([f.at["frequency"]]), **off)[0])
        assert f.value == pytest.approx(at_point, abs=2e-3)
    assert len(found.findings) == 2
    assert found.withheld == ()


def test_the_curve_itself_deviates_by_nothing(accuracy):
    for amendment in (False, True):
        response = phono_db(FREQUENCY_HZ, high_pass_s=7950e-6 if amendment else None)
        found = measured("phono", levels(response), amendment=amendment)
        for f in found.findings:
            accuracy("RIAA", f.value)
            assert f.at.get("amendment", False) is amendment


def test_the_amendment_is_asked_for():
    """A stage with the 1976 high-pass is 3.01 dB off the plain curve at 20 Hz, and one without it as far off the
    amended.
    """
    amended, plain = phono_db(FREQUENCY_HZ, high_pass_s=7950e-6), phono_db(FREQUENCY_HZ)
    expected = float(off_the_curve(np.array([20.0]), high_pass_s=7950e-6)[0])
    assert expected == pytest.approx(-3.01, abs=0.01)
    f = one(measured("phono", levels(amended)), "riaa_deviation", band=[20.0, 20_000.0])
    assert (f.value, f.at["frequency"]) == (pytest.approx(expected, abs=2e-3), 20.0)
    f = one(measured("phono", levels(plain), amendment=True), "riaa_deviation", band=[20.0, 20_000.0])
    assert f.value == pytest.approx(-expected, abs=2e-3)


def test_a_pre_emphasised_input():
    """The file is the deviation already: the same figures as from the plain response."""
    plain = measured("phono", levels(phono_db(FREQUENCY_HZ, **BASS_OFF)))
    ready = measured("phono", levels(off_the_curve(FREQUENCY_HZ, **BASS_OFF) - 12.0), equalised=True)
    for one_way, other_way in zip(plain.findings, ready.findings, strict=True):
        assert one_way.value == pytest.approx(other_way.value, abs=1e-9)
        assert one_way.at == other_way.at


def test_which_of_the_two_it_is_must_fit():
    """A plain response spans 39 dB, a deviation little: the wrong word is met with the line to write."""
    with pytest.raises(
        InputError, match=r'session.toml:7: .*column "Ch 1", is 20 dB off level.*remove equalised = true'
    ):
        measured("phono", levels(phono_db(FREQUENCY_HZ)), equalised=True, line=7)
    with pytest.raises(InputError, match=r"session.toml:7: .*is 20 dB off the RIAA curve.*add equalised = true"):
        measured("phono", levels(off_the_curve(FREQUENCY_HZ, **BASS_OFF)), line=7)
    # the right channel alone
    with pytest.raises(InputError, match='column "Ch 2"'):
        measured("phono", levels(phono_db(FREQUENCY_HZ), FLAT))


def test_a_stage_that_is_far_off_is_still_measured():
    """A dried-out coupling capacitor takes 12 dB at 20 Hz: no reason to think that the file was taken wrongly."""
    high_pass = {"high_pass_s": 1 / (2 * np.pi * 80.0)}
    found = measured("phono", levels(phono_db(FREQUENCY_HZ, **high_pass)))
    f = one(found, "riaa_deviation", band=[20.0, 20_000.0])
    assert f.value == pytest.approx(float(off_the_curve(np.array([20.0]), **high_pass)[0]), abs=0.01)
    assert f.value < -12.0
    measured("phono", levels(off_the_curve(FREQUENCY_HZ, **high_pass)), equalised=True)


def test_swapping_the_channels_swaps_the_findings():
    left, right = phono_db(FREQUENCY_HZ, **BASS_OFF), phono_db(FREQUENCY_HZ, **TREBLE_OFF)
    found, turned = measured("phono", levels(left, right)), measured("phono", levels(right, left))
    for channel, other in (("L", "R"), ("R", "L")):
        for one_way, other_way in zip(
            all_of(found, "riaa_deviation", channel), all_of(turned, "riaa_deviation", other), strict=True
        ):
            assert (one_way.value, one_way.at) == (other_way.value, other_way.at)
    assert one(found, "riaa_deviation", "L", band=[20.0, 20_000.0]).value > 0


def test_a_rated_band_and_narrower_data():
    ratings = [Rating("riaa_deviation", "dB", within=(-0.5, 0.5), band_hz=(30.0, 15_000.0))]
    found = measured("phono", levels(phono_db(FREQUENCY_HZ, **TREBLE_OFF)), ratings=ratings)
    assert [f.at["band"] for f in found.findings] == [[20.0, 20_000.0], [40.0, 15_000.0], [30.0, 15_000.0]]
    inside = (FREQUENCY_HZ >= 50) & (FREQUENCY_HZ <= 12_000)
    narrow = levels(phono_db(FREQUENCY_HZ)[inside], frequency=FREQUENCY_HZ[inside])
    (f,) = measured("phono", narrow).findings
    assert f.at["band"] == [pytest.approx(FREQUENCY_HZ[inside][0]), pytest.approx(FREQUENCY_HZ[inside][-1])]


def test_unequal_limits_are_compared_with_both_sides():
    """The larger deviation is inside its limit, the smaller one outside: +0.3 and −0.45 dB, by construction."""
    off_db = np.interp(np.log10(FREQUENCY_HZ), np.log10([20, 100, 1000, 5000, 20_000]), [0.0, 0.3, 0.0, -0.45, 0.0])
    level_db = phono_db(FREQUENCY_HZ) + off_db
    rating = Rating("riaa_deviation", "dB", within=(-0.5, 0.2), band_hz=(30.0, 15_000.0))
    found = measured("phono", levels(level_db), ratings=[rating])
    high, low = (one(found, f"riaa_deviation_{side}", band=[30.0, 15_000.0]) for side in ("high", "low"))
    assert high.value == pytest.approx(0.3, abs=0.02)
    assert low.value == pytest.approx(-0.45, abs=0.02)
    verdict = verdict_of(rating, *found.findings)
    assert (verdict.verdict, verdict.limit) == ("falls short", "−0.5 to +0.2 dB")
    assert verdict.measured == quantities.deviation(high.value, low.value)
    even = replace(rating, within=(-0.5, 0.5))
    assert {f.quantity for f in measured("phono", levels(level_db), ratings=[even]).findings} == {"riaa_deviation"}


def test_a_sweep_that_misses_1_khz():
    low = FREQUENCY_HZ < 900
    found = measured("phono", levels(phono_db(FREQUENCY_HZ)[low], frequency=FREQUENCY_HZ[low]))
    assert found.findings == ()
    assert found.withheld == ("m: no figures, the sweep does not reach 1 kHz, to which the RIAA curve is referred",)


def test_silence_is_refused():
    volts = 10 ** (phono_db(FREQUENCY_HZ) / 20)
    volts[3] = 0.0
    with pytest.raises(InputError, match="reads 0 V in data row 4"):
        measured("phono", levels(volts, unit="V"))


# ------------------------------------------------------------------ card and sentences


def run_of(data, **told):
    return run_from(data, conditions("phono", **told))


def test_the_card_is_the_deviation_with_its_limit_and_its_worst_point():
    ratings = [Rating("riaa_deviation", "dB", within=(-0.5, 0.5), band_hz=(30.0, 15_000.0))]
    told = {"ratings": ratings, "amendment": True}
    data = levels(phono_db(FREQUENCY_HZ, high_pass_s=7950e-6), phono_db(FREQUENCY_HZ, high_pass_s=7000e-6))
    card = KINDS["phono"].card([run_of(data, **told)], ())
    (panel,) = card.body.panels
    assert (panel.limits[0].low, panel.limits[0].high) == (-0.5, 0.5)
    worst = float(
        (phono_db(np.array([30.0]), high_pass_s=7000e-6) - phono_db(np.array([30.0]), high_pass_s=7950e-6))[0]
    )
    (found,) = card.hero.findings
    assert (found.at["frequency"], found.channel) == (30.0, "R")
    assert found.value == pytest.approx(worst, abs=2e-3)
    assert np.max(np.abs(panel.traces[0].y)) < 1e-9
    # a fall below the band does not make the scale coarse
    assert (panel.y.low, panel.y.high) == (-1.0, 1.0)
    # the frequencies are those of the bands, though the sweep runs from 10 Hz to 40 kHz
    assert (panel.x.low, panel.x.high) == (20.0, 20_000.0)
    assert "re RIAA with the 1976 amendment" in card.conditions
    assert found.at["band"] == [30.0, 15_000.0]


def test_what_is_worth_saying():
    before = run_of(levels(phono_db(FREQUENCY_HZ, **BASS_OFF), phono_db(FREQUENCY_HZ, **TREBLE_OFF)))
    after = run_of(levels(phono_db(FREQUENCY_HZ), phono_db(FREQUENCY_HZ, bass_s=3200e-6)))
    facts = {point.name: point.facts for point in KINDS["phono"].points(after, before)}
    assert facts["deviation"]["worse"].channel == "R"
    was = facts["deviation"]["before"]
    assert abs(was.value) == pytest.approx(max(abs(f.value) for f in all_of_band(before)), abs=1e-12)
    assert KINDS["phono"].points(Run(after.conditions, ()), None) == ()


def all_of_band(run):
    return [f for f in run.findings if f.at["band"] == [20.0, 20_000.0]]


def test_the_card_holds_what_the_file_says():
    deviation = [0.3, 0.1, 0.0, -0.1, -0.4]
    card = card_of("phono", sheet(column("frequency", HERTZ), column("level", deviation, "L", "dB")), equalised=True)
    (trace,) = panel_of(card).traces
    assert trace.y == pytest.approx(deviation)
    assert (card.hero.figure, card.hero.caption) == ("−0.40 dB", "phono response, at 20 kHz")
