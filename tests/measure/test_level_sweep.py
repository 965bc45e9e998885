"""Sweeps of level: crossings against curves of closed form, what is asked, and the sample receiver against its model.

Definitions of a tuner's sensitivities: IHF-T-200, from memory; of a tape's highest level: DIN 45500. dBf = 10 lg (V² /
(R · 1 fW)).
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from accuracy import grid
from measured_sheets import all_of, card_of, column, conditions, measured, one, panel_of, run_from, sheet
from rated_and_found import session
from scipy import optimize

from reviewkit.build import pipeline
from reviewkit.build.recognising import recognise_sheet
from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.measure.unread import find_unread, mark_unread
from reviewkit.model.errors import InputError
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating
from reviewkit.model.sheet import Skipped
from reviewkit.verdict.verdict import judge

KIND = "level-sweep"
QUIETING, USABLE, MOL = "50_db_quieting_sensitivity", "usable_sensitivity", "maximum_output_level"
SAMPLES = Path(__file__).resolve().parents[2] / "sample_session"
DBF = np.arange(2.0, 81.0, 2.0)
TAPE_DB = np.arange(-10.0, 9.0, 2.0)


def quiet_db(dbf, floor_db):
    """S/N(P) = −10 lg(10^(−(P + 36)/10) + 10^(−F/10))."""
    return -10 * np.log10(10 ** (-(dbf + 36) / 10) + 10 ** (-floor_db / 10))


def tuner(dbf=DBF, floor_db=70.0, unit="dBr", sign=-1, header="Noise"):
    noise = column("level", sign * quiet_db(dbf, floor_db), unit=unit, header=header)
    return sheet(column("set", dbf), noise)


# ------------------------------------------------------------------ a tuner


@pytest.mark.parametrize(("step_dbf", "floor_db"), grid([1.0, 2.0, 3.0], [55.0, 60.0, 65.0, 70.0, 80.0]))
def test_quieting_crossing(step_dbf, floor_db, accuracy):
    """50 dB at P = 14 + 10 lg 1/(1 − 10^((50 − F)/10)); with F = 70, 14.043648 dBf."""
    found = one(measured(KIND, tuner(np.arange(0.0, 66.0, step_dbf), floor_db)), QUIETING)
    accuracy("quieting crossing", found.value - 14 + 10 * math.log10(1 - 10 ** ((50 - floor_db) / 10)))
    assert (found.unit, found.bound) == ("dBf", "")


@pytest.mark.parametrize(("unit", "header"), [("dB", "S/N (dB)"), ("dB", "Quieting"), ("dBr", "Signal over noise")])
def test_a_ratio_of_signal_to_noise_is_the_same_curve(unit, header):
    found = one(measured(KIND, tuner(unit=unit, sign=1, header=header)), QUIETING)
    assert found.value == pytest.approx(14.043648, abs=0.01)


def test_microvolts_are_asked_about_and_converted():
    """14.043648 dBf is 1.379472 µV across 75 Ω and 2.758945 µV across 300 Ω; a generator's e.m.f. is twice that."""
    for ohm, times, kind in ((75.0, 1, "terminated"), (300.0, 1, "terminated"), (75.0, 2, "e.m.f.")):
        volts = times * np.sqrt(10 ** (DBF / 10) * 1e-15 * ohm)
        data = sheet(column("set", volts, unit="V", header="Aerial (µV)"), tuner().columns[1])
        found = one(measured(KIND, data, aerial_ohm=ohm, microvolts=kind), QUIETING)
        assert found.value == pytest.approx(14.043648, abs=0.01)
        in_db = replace(data.columns[0], values=20 * np.log10(volts * 1e6), unit="dBµV")
        again = measured(KIND, replace(data, columns=(in_db, data.columns[1])), aerial_ohm=ohm, microvolts=kind)
        assert one(again, QUIETING).value == pytest.approx(found.value, abs=1e-9)
        for half in ({"aerial_ohm": ohm}, {"microvolts": kind}, {}):
            with pytest.raises(InputError, match=r'Write aerial = "75 ohm".*microvolts = "terminated"'):
                measured(KIND, data, **half)
    card = card_of(KIND, tuner())
    assert (card.hero.figure, card.hero.note) == ("14.0 dBf", "1.38 µV at 75 Ω, 2.76 µV at 300 Ω")


@pytest.mark.parametrize("floor_percent", [0.1, 0.3, 1.0])
def test_usable_sensitivity(floor_percent, accuracy):
    """Noise of 100 % · 10^(−(P + 20)/20) and a floor of distortion, added as power, are 3 % at a known level."""
    percent = np.hypot(100 * 10 ** (-(DBF + 20) / 20), floor_percent)
    found = one(measured(KIND, sheet(column("set", DBF), column("distortion", percent))), USABLE)
    accuracy("quieting crossing", found.value + 20 * math.log10(math.sqrt(9 - floor_percent**2) / 100) + 20)


def test_noise_in_volts_needs_the_output_with_the_tone():
    volts = 0.775 * 10 ** (-quiet_db(DBF, 70.0) / 20)
    data = sheet(column("set", DBF), column("level", volts, header="Noise (mV)"))
    found = measured(KIND, data, reference_level=Level(0.775, "V"))
    assert one(found, QUIETING).value == pytest.approx(14.043648, abs=0.01)
    in_dbfs = sheet(column("set", DBF), column("level", -6.0 - quiet_db(DBF, 70.0), unit="dBFS"))
    found = measured(KIND, in_dbfs, reference_level=Level(-6.0, "dBFS"))
    assert one(found, QUIETING).value == pytest.approx(14.043648, abs=0.01)
    for unclear in (data, in_dbfs, tuner(unit="dB")):
        with pytest.raises(InputError, match=r'relative to what\?.*units = \{ level = "dBr" \}.*reference_level'):
            measured(KIND, unclear)


def test_a_sweep_that_begins_too_high_is_only_a_bound():
    found = one(measured(KIND, tuner(np.arange(20.0, 66.0, 2))), QUIETING)
    assert (found.value, found.bound) == (20.0, "at most")
    never = measured(KIND, tuner(floor_db=45.0))
    assert not never.findings
    assert never.withheld == ("m: noise never falls to −50 dB",)


def test_harmonics_alone_are_only_a_bound():
    """Noise would be added to them."""
    percent = np.hypot(100 * 10 ** (-(DBF + 20) / 20), 0.1)
    found = one(measured(KIND, sheet(column("set", DBF), column("distortion", percent, header="THD (%)"))), USABLE)
    assert found.bound == "at least"


def test_an_output_that_rises_is_no_noise():
    with pytest.raises(InputError, match="doesn't fall as the signal rises"):
        measured(KIND, sheet(column("set", DBF), column("level", np.minimum(DBF - 60, -20.0), unit="dBr")))


def test_a_row_without_a_signal_is_left_out():
    volts = np.concatenate([[0.0], np.sqrt(10 ** (DBF / 10) * 75e-15)])
    noise = np.concatenate([[3.0], -quiet_db(DBF, 70.0)])
    stated = {"aerial_ohm": 75.0, "microvolts": "terminated"}
    data = sheet(column("set", volts, unit="V"), column("level", noise, unit="dBr"))
    assert one(measured(KIND, data, **stated), QUIETING).value == pytest.approx(14.043648, abs=0.01)
    with pytest.raises(InputError, match="never above zero"):
        measured(KIND, sheet(column("set", [0.0, 0.0], unit="V"), column("level", [0, 1], unit="dBr")), **stated)
    nothing = measured(KIND, sheet(column("set", DBF), column("distortion", 0 * DBF)))
    assert not nothing.findings
    assert len(nothing.withheld) == 1


def test_am_has_other_definitions():
    found = measured(KIND, tuner(), input="AM")
    assert not found.findings
    assert "those of FM" in found.withheld[0]


def test_sensitivities_are_judged_in_dbf_and_in_microvolts():
    run = run_from(tuner(), conditions(KIND))
    for limit, unit, ohm, word in (
        (14.5, "dBf", None, "meets"),
        (13.0, "dBf", None, "falls short"),
        (2.9e-6, "V", 300.0, "meets"),
        (1.3e-6, "V", 75.0, "falls short"),
        (2.9e-6, "V", None, "not measured"),
    ):
        rating = Rating(QUIETING, unit, at_most=limit, load_ohm=ohm, called="50 dB quieting sensitivity")
        (verdict,) = judge(session(rating), (run,))
        assert verdict.verdict == word, (limit, unit)
    assert verdict.remark == "read in dBf, rated in V: at which impedance?"


# ------------------------------------------------------------------ a tape


def tape(at_0_db_percent=1.0, header="3rd harmonic (%)", unit="dB", values=TAPE_DB, level_db=TAPE_DB):
    third = at_0_db_percent * 10 ** (level_db / 10)
    return sheet(column("set", values, unit=unit, header="Level"), column("distortion", third, header=header))


@pytest.mark.parametrize(
    ("at_0_db_percent", "mol_db"), [(0.5, 7.7815), (1.0, 4.7712), (1.5, 3.0103), (2.0, 1.7609), (3.5, -0.6695)]
)
def test_highest_level_of_a_tape(at_0_db_percent, mol_db, accuracy):
    """MOL = L + 10 lg(3 / k3)."""
    found = one(measured(KIND, tape(at_0_db_percent), reference_level=Level(250.0, "nWb/m")), MOL)
    accuracy("MOL", found.value - mol_db)
    assert found.at["reference_level"] == [250.0, "nWb/m", ""]


def test_what_0_db_is_must_be_known():
    with pytest.raises(InputError, match=r'what is 0 dB.*reference_level = "250 nWb/m"'):
        measured(KIND, tape())
    with pytest.raises(InputError, match=r"is not a flux"):
        measured(KIND, tape(), reference_level=Level(0.775, "V"))
    level = replace(tape().columns[0], header="Level (dB re 200 nWb/m)")
    found = one(measured(KIND, replace(tape(), columns=(level, tape().columns[1]))), MOL)
    assert found.at["reference_level"] == [200.0, "nWb/m", ""]


def test_a_flux_is_relative_to_250_unless_another_is_named():
    """250 over 200 nWb/m is +1.9382 dB."""
    flux = tape(unit="nWb/m", values=250 * 10 ** (TAPE_DB / 20))
    assert one(measured(KIND, flux), MOL).value == pytest.approx(4.7712, abs=0.01)
    found = one(measured(KIND, flux, reference_level=Level(200.0, "nWb/m")), MOL)
    assert found.value == pytest.approx(4.7712 + 1.9382, abs=0.01)


def test_all_distortion_is_only_a_bound():
    """The third harmonic is a part of it, so alone it reaches 3 % at a higher level."""
    found = one(measured(KIND, tape(header="THD (%)"), reference_level=Level(250.0, "nWb/m")), MOL)
    assert found.bound == "at least"
    short = measured(KIND, tape(0.1), reference_level=Level(250.0, "nWb/m"))
    assert (one(short, MOL).value, one(short, MOL).bound) == (8.0, "at least")


def test_a_maximum_level_is_judged_by_its_reference():
    run = run_from(tape(), conditions(KIND, reference_level=Level(250.0, "nWb/m"), frequency_hz=315.0))
    for nwb, word in ((250.0, "meets"), (200.0, "not comparable")):
        reference = {"reference": f"{nwb:g} nWb/m", "reference_level": Level(nwb, "nWb/m")}
        rating = Rating(MOL, "dB", at_least=4.0, frequency_hz=315.0, called="maximum output level", **reference)
        (verdict,) = judge(session(rating), (run,))
        assert verdict.verdict == word


# ------------------------------------------------------------------ a player, a volume control


DBFS = np.arange(-90.0, 1.0, 10.0)


def player(off=2.0**-16):
    """A converter that takes one step of 16 bits too little, or none."""
    return sheet(
        column("set", DBFS, unit="dBFS"), column("level", 6.0 + 20 * np.log10(10 ** (DBFS / 20) - off), "L", "dBV")
    )


def test_linearity_of_a_converter(accuracy):
    """20 lg(1 − 2^−16 / a) at each level, relative to that at 0 dBFS."""
    true = lambda dbfs: 20 * np.log10((1 - 2.0**-16 / 10 ** (dbfs / 20)) / (1 - 2.0**-16))  # noqa: E731
    at_80 = Rating("linearity_error", "dB", within=(-2.0, 2.0), level=Level(-80.0, "dBFS"), called="linearity error")
    found = measured(KIND, player(), ratings=[at_80], bench=Bench(level_uncertainty_db=0.1))
    worst, rated = all_of(found, "linearity_error", "L")
    assert (worst.at["where"], worst.at["swept"]) == ("at −90 dBFS", "−90 to 0 dBFS")
    accuracy("linearity, volume tracking", worst.value - true(-90.0))
    accuracy("linearity, volume tracking", rated.value - true(-80.0))
    assert rated.at["dbfs"] == -80.0
    assert worst.uncertainty == pytest.approx(2**0.5 * 0.1)
    assert one(measured(KIND, player(0.0)), "linearity_error", "L").value == pytest.approx(0.0, abs=1e-12)
    run = run_from(player(), conditions(KIND, ratings=(at_80,)))
    (verdict,) = judge(session(at_80), (run,))
    # said and ringed where it is rated
    (point,) = KINDS[KIND].points(run, None)
    assert (point.facts["rated"].value, point.facts["rated_at"]) == (pytest.approx(true(-80.0)), "−80 dBFS")
    assert [mark.x for mark in panel_of(KINDS[KIND].card([run], [verdict])).marks] == [-80.0]
    assert (verdict.verdict, verdict.measured.split()[0]) == ("meets", f"−{abs(true(-80.0)):.1f}")


def volume(unit="position", positions=(1.0, 2.0, 3.0, 4.0), right="dBV"):
    left_db = np.array([-60.0, -40.0, -20.0, 0.0])
    right_db = 1.02 * left_db - 0.5  # two tracks whose attenuation differs by 2 % of what it is in dB
    levels = (column("level", left_db, "L", "dBV"), column("level", right_db, "R", right))
    return sheet(column("set", positions, unit=unit, header="Volume"), *levels)


def test_tracking_of_a_volume_control(accuracy):
    """At −60 dB, 2 % are 1.2 dB, and the channels are 0.5 dB apart at full volume."""
    found = one(measured(KIND, volume()), "volume_tracking", "both")
    accuracy("linearity, volume tracking", found.value - 1.7)
    assert found.at["where"] == "at position 1"
    assert found.at["swept"] == "position 1 to position 4"
    in_db = one(measured(KIND, volume("dB", [-60.0, -40.0, -20.0, 0.0])), "volume_tracking", "both")
    assert (in_db.value, in_db.at["where"]) == (pytest.approx(1.7), "at −60 dB")
    with pytest.raises(InputError, match="left in dBV and right in V"):
        measured(KIND, volume(right="V"))
    with pytest.raises(InputError, match="both channels are compared"):
        measured(KIND, replace(volume(), columns=volume().columns[:2]))


def test_a_missing_row_may_be_the_worst():
    gap = replace(volume(), skipped=(Skipped(3, "no reading", unread=True, at=2.5),))
    (found,) = mark_unread(measured(KIND, gap), find_unread(gap, conditions(KIND))).findings
    assert found.unread == "a reading is missing (line 3)"


@pytest.mark.parametrize(
    ("unit", "role", "needed"), [("dBFS", "distortion", "level"), ("nWb/m", "level", "distortion")]
)
def test_a_unit_without_its_readings_is_asked_about(unit, role, needed):
    data = sheet(column("set", [1.0, 2.0, 3.0], unit=unit, header="Step"), column(role, [0.1, 0.2, 0.3]))
    with pytest.raises(InputError, match=f'over "Step", in {unit}, a column of {needed} is read'):
        measured(KIND, data)


# ------------------------------------------------------------------ its card and its words


def test_the_card_holds_what_the_file_says():
    rating = Rating(QUIETING, "dBf", at_most=16.0, called="50 dB quieting sensitivity")
    card = card_of(KIND, tuner(), ratings=[rating])
    panel = panel_of(card)
    assert panel.traces[0].x.tolist() == DBF.tolist()
    assert panel.traces[0].y.tolist() == (-quiet_db(DBF, 70.0)).tolist()
    assert (panel.x.unit, panel.y.unit) == ("dBf", "dB")
    assert panel.x.low <= DBF[0] < DBF[-1] <= panel.x.high
    (ring,) = panel.marks
    assert (ring.x, ring.y) == (pytest.approx(14.0436, abs=0.01), -50.0)
    (limit,) = panel.limits
    assert (limit.low, limit.high, limit.from_x, limit.to_x) == (None, -50.0, 16.0, panel.x.high)
    assert (card.hero.caption, card.subject) == ("signal needed", "50 dB quieting sensitivity")


@pytest.mark.parametrize(
    ("data", "more", "subject", "caption", "units"),
    [
        (tape(), {"reference_level": Level(250.0, "nWb/m")}, "Maximum output level", "at 3 % distortion", ("dB", "%")),
        (player(), {}, "Linearity", "at −90 dBFS", ("dBFS", "dB")),
        (volume(), {}, "Volume tracking", "at position 1", ("position", "dB")),
    ],
)
def test_each_sweep_has_its_scales_and_its_ring(data, more, subject, caption, units):
    card = card_of(KIND, data, **more)
    panel = panel_of(card)
    assert (card.subject, card.hero.short, panel.x.unit, panel.y.unit) == (subject, caption, *units)
    assert len(panel.marks) == 1
    assert panel.x.low <= panel.marks[0].x <= panel.x.high


def test_before_and_after_have_one_curve_each():
    """The noise: a sweep of distortion besides would give a pair four of them."""
    percent = column("distortion", np.hypot(100 * 10 ** (-(DBF + 20) / 20), 0.1))
    stages = [
        run_from(sheet(*tuner(floor_db=floor).columns, percent), conditions(KIND, id=stage, stage=stage))
        for stage, floor in (("before", 55.0), ("after", 70.0))
    ]
    panel = panel_of(KINDS[KIND].card(stages, ()))
    assert [trace.role for trace in panel.traces] == ["before", "now"]
    assert [(mark.y, mark.role) for mark in panel.marks] == [(-50.0, "before"), (-50.0, "now")]
    assert len(panel_of(KINDS[KIND].card(stages[1:], ())).traces) == 2


def test_its_sentence_names_the_worse_channel():
    better, worse = tuner(floor_db=80.0), tuner(floor_db=55.0)
    both = sheet(better.columns[0], replace(better.columns[1], channel="L"), replace(worse.columns[1], channel="R"))
    (ring,) = panel_of(card_of(KIND, both)).marks
    assert ring.channel == "R"
    (point,) = KINDS[KIND].points(run_from(both, conditions(KIND)), None)
    assert (point.name, point.facts["key"].channel, point.facts["several"]) == ("quieting", "R", True)


# ------------------------------------------------------------------ which file is one


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("RF level (dBf),Noise (dBr),THD+N (%)", "dBf"),
        ("Antenna input (µV),S/N L (dB),S/N R (dB)", "V"),
        ("Level (dBuV),Noise (dBr),THD+N (%)", "dBµV"),
        ("Recording level (dB re 250 nWb/m),3rd harmonic L (%),H3 R (%)", "dB"),
        ("Flux (nWb/m),THD L (%),THD R (%)", "nWb/m"),
        ("Rec level (dB),K3 L (%),K3 R (%)", "dB"),
        ("Generator (dBFS),Output L (dBV),Output R (dBV)", "dBFS"),
        ("Volume position,Left (V),Right (V)", "position"),
        ("Position,Left (V),Right (V)", "position"),
        ("Attenuation (dB),Left (dBV),Right (dBV)", "dB"),
    ],
)
def test_its_columns_say_so(header, unit):
    read = parse_sheet(f"{header}\n1,0.2,0.3\n2,0.3,0.4\n3,0.4,0.5\n".encode(), "m.csv")
    assert read.need("set").unit == unit
    answered = {"aerial": "75 ohm", "microvolts": "terminated", "reference_level": "250 nWb/m"}
    assert recognise_sheet(read, "measurements/m.csv", answered).table["kind"] == KIND


@pytest.mark.parametrize("header", ["Volume,Left (V),Right (V)", "Antenna,Noise (dBr),THD+N (%)"])
def test_a_position_or_decibels_are_asked_about(header):
    with pytest.raises(InputError, match=r'no unit is given.*units = \{ set = "dB" \} \(or "position", or "dBf"'):
        parse_sheet(f"{header}\n1,0.2,0.3\n2,0.3,0.4\n".encode(), "m.csv")


@pytest.mark.parametrize(
    "header",
    [
        "Rec out (dBV),THD (%),Input (V)",
        "Input (dBFS),Output (dBV),THD (%)",
        "Frequency (Hz),Recording level (dB),Noise (dB)",
        "Power (W),THD (%),S/N (dB)",
    ],
)
def test_no_other_file_is_taken_for_one(header):
    """A generator's level next to output and distortion is an aside, as it was before there were sweeps of level."""
    try:
        read = parse_sheet(f"{header}\n1,0.2,0.3\n2,0.3,0.4\n".encode(), "m.csv")
    except InputError as refused:
        assert "set" not in str(refused).split("columns = ")[-1]  # noqa: PT017
    else:
        assert read.find("set") is None


def test_a_sweep_goes_one_way():
    with pytest.raises(InputError, match="set goes back from 3 to 2"):
        parse_sheet(b"Level (dBf),Noise (dBr)\n1,-20\n3,-30\n2,-25\n4,-35\n", "m.csv")
    falling = parse_sheet(b"Level (dBf),Noise (dBr)\n4,-35\n3,-30\n2,-25\n", "m.csv")
    assert falling.need("set").values.tolist() == [2.0, 3.0, 4.0]


# ------------------------------------------------------------------ the samples


def model_of(name):
    sys.path.insert(0, str(SAMPLES / name.removeprefix("make_")))
    try:
        return __import__(name)
    finally:
        sys.path.pop(0)


def test_the_sample_receiver():
    """Its crossings by root finding on the model's own curves, which know no points."""
    model, runs = model_of("make_tuner"), pipeline.check(SAMPLES / "tuner").runs
    by_id = {run.conditions.measurement.id: run for run in runs}
    for mode in ("mono", "stereo"):
        true = optimize.brentq(lambda dbf, mode=mode: model.noise_db(dbf, mode) + 50, 5, 60)
        assert by_id[f"quieting-{mode}"].get(QUIETING).value == pytest.approx(true, abs=0.05)
    true = optimize.brentq(lambda dbf: model.thd_plus_noise(dbf) - 3, 2, 20)
    assert by_id["quieting-mono"].get(USABLE).value == pytest.approx(true, abs=0.05)
    tone = by_id["pilot"].get("subcarrier_suppression").value
    pair = 10 ** (model.PILOT_DB / 10) + 10 ** (model.SUBCARRIER_DB / 10)
    assert tone == pytest.approx(-10 * math.log10(pair), abs=0.05)
    assert not [text for run in runs for text in run.withheld]


def test_the_sample_decks_tape():
    model, runs = model_of("make_deck"), pipeline.check(SAMPLES / "deck").runs
    (run,) = [run for run in runs if run.conditions.measurement.kind == KIND]
    for channel, percent in model.THIRD_PERCENT.items():
        assert run.get(MOL, channel).value == pytest.approx(10 * math.log10(3 / percent), abs=0.05)


@pytest.mark.parametrize("name", ["make_tuner", "make_deck"])
def test_the_sample_files_are_what_the_model_makes(name):
    folder = SAMPLES / name.removeprefix("make_") / "measurements"
    made = model_of(name).files()
    assert {path.name for path in folder.iterdir()} == set(made)
    assert [each for each, content in made.items() if (folder / each).read_bytes() != content] == []
