"""What a control does: a response against a reference, both at 0 dB at 1 kHz. Truth: shelves and filters by circuit
theory.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from measured_sheets import HERTZ, all_of, column, conditions, one, panel_of, quantities, run_from, sheet
from rated_and_found import found, rated, verdict_of

from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.verdict.verdict import MEETS, NO_VERDICT, SHORT

KIND = KINDS["contour"]
FREQUENCY_HZ = np.geomspace(10, 40_000, 97)


def shelf_db(frequency_hz, gain_db, corner_hz, high=False):
    """A shelf of one pole and one zero: gain_db far below the corner (or far above it), 0 dB on the other side."""
    gain, s = 10 ** (gain_db / 20), 1j * np.asarray(frequency_hz, dtype=float) / corner_hz
    return 20 * np.log10(np.abs((gain * s + 1) / (s + 1) if high else (s + gain) / (s + 1)))


def low_cut_db(frequency_hz, corner_hz):
    """Butterworth, two poles: |H|² = 1 / (1 + (fc/f)⁴)."""
    return -10 * np.log10(1 + (corner_hz / np.asarray(frequency_hz, dtype=float)) ** 4)


def amplifier_db(frequency_hz):
    f = np.asarray(frequency_hz, dtype=float)
    return -10 * np.log10(1 + (7 / f) ** 2) - 10 * np.log10(1 + (f / 60_000) ** 2)


def response(frequency_hz=FREQUENCY_HZ, unit="dBV", **levels_db):
    columns = [column("frequency", frequency_hz)]
    for name, level in levels_db.items():
        values = 10 ** (level / 20) if unit == "V" else level
        columns.append(column("level", values, "" if name == "mono" else name, unit))
    return sheet(*columns)


FLAT = response(mono=amplifier_db(FREQUENCY_HZ) + 14)


def told(reference=FLAT, **measurement):
    return replace(
        conditions("contour", **{"against": "flat", **measurement}), reference=reference, reference_name="flat"
    )


def measured(data, reference=FLAT, **measurement):
    return KIND.findings(data, told(reference, **measurement))


def test_a_shelf_reads_what_it_adds():
    """Whatever the amplifier itself does, and whatever level each sweep was made at."""
    bass = shelf_db(FREQUENCY_HZ, 10, 200)
    found = measured(response(mono=amplifier_db(FREQUENCY_HZ) + bass - 3))
    at_1k = float(shelf_db(1000.0, 10, 200))
    low, high = one(found, "boost_low"), one(found, "boost_high")
    assert low.value == pytest.approx(float(shelf_db(20.0, 10, 200)) - at_1k, abs=0.002)
    assert (low.at["frequency"], low.at["band"]) == (20.0, [20.0, 1000.0])
    assert high.value == pytest.approx(float(shelf_db(20_000.0, 10, 200)) - at_1k, abs=0.002)
    assert high.at["band"] == [1000.0, 20_000.0]
    assert quantities(found) == {"boost_low", "boost_high"}  # a boost has no half-power point


def test_the_larger_difference_counts_whichever_way():
    level = np.zeros(97)
    level[20], level[30] = 2.0, -2.5
    found = measured(response(mono=amplifier_db(FREQUENCY_HZ) + level))
    assert one(found, "boost_low").value == pytest.approx(-2.5, abs=1e-6)
    assert one(found, "boost_low").at["frequency"] == pytest.approx(FREQUENCY_HZ[30])


def test_a_filter_has_a_corner_and_a_slope():
    """12 dB an octave far off; between one and two octaves beyond half power, by |H|² = 1/(1 + (fc/f)⁴), 11.8 dB."""
    found = measured(response(mono=amplifier_db(FREQUENCY_HZ) + low_cut_db(FREQUENCY_HZ, 100)))
    corner, slope = one(found, "corner_low"), one(found, "slope")
    assert corner.value == pytest.approx(100, rel=1e-3)
    exact = float(low_cut_db(25.0, 100) - low_cut_db(50.0, 100))
    assert slope.value == pytest.approx(exact, rel=1e-3)
    assert slope.value < 0
    assert slope.at["frequency"] == corner.value


def test_no_slope_where_the_data_ends_before_two_octaves():
    found = measured(response(mono=amplifier_db(FREQUENCY_HZ) + low_cut_db(FREQUENCY_HZ, 35)))
    assert one(found, "corner_low").value == pytest.approx(35, rel=1e-3)
    assert not all_of(found, "slope")


def test_the_two_sweeps_need_not_share_frequencies_nor_unit():
    own_hz = np.geomspace(14, 33_000, 83)
    found = measured(
        response(own_hz, mono=amplifier_db(own_hz) + low_cut_db(own_hz, 100)),
        response(unit="V", mono=amplifier_db(FREQUENCY_HZ)),
    )
    assert one(found, "corner_low").value == pytest.approx(100, rel=1e-3)
    assert one(found, "boost_high").value == pytest.approx(0, abs=0.01)


def test_only_the_common_range_is_read():
    its_hz = np.geomspace(80, 9000, 61)
    found = measured(response(mono=shelf_db(FREQUENCY_HZ, 10, 200)), response(its_hz, mono=np.zeros(61)))
    assert one(found, "boost_low").at["band"] == pytest.approx([80.0, 1000.0])
    assert one(found, "boost_low").at["frequency"] == pytest.approx(80.0)
    assert one(found, "boost_high").at["band"] == pytest.approx([1000.0, 9000.0])


def test_channels_by_name_and_swapped():
    left, right = shelf_db(FREQUENCY_HZ, 9, 200), low_cut_db(FREQUENCY_HZ, 90)
    own = {"L": np.zeros(97), "R": amplifier_db(FREQUENCY_HZ)}
    found = measured(response(L=left, R=right + own["R"]), response(**own))
    swapped = measured(response(L=right + own["R"], R=left), response(L=own["R"], R=own["L"]))
    turned = {"L": "R", "R": "L"}
    assert {(f.quantity, turned[f.channel], f.value) for f in found.findings} == {
        (f.quantity, f.channel, f.value) for f in swapped.findings
    }
    assert one(found, "corner_low", "R").value == pytest.approx(90, rel=1e-3)


def test_a_reference_without_a_name_serves_both_channels():
    found = measured(response(L=amplifier_db(FREQUENCY_HZ), R=amplifier_db(FREQUENCY_HZ)))
    assert {f.channel for f in found.findings} == {"L", "R"}
    assert max(abs(f.value) for f in found.findings) < 1e-9


def test_a_channel_that_the_reference_lacks_is_withheld():
    found = measured(response(L=np.zeros(97), R=np.zeros(97)), response(L=np.zeros(97)))
    assert {f.channel for f in found.findings} == {"L"}
    assert found.withheld == ('m: no figures for channel R, the reference "flat" does not have it',)


@pytest.mark.parametrize("which", ["own", "reference"])
def test_1_khz_must_be_reached(which):
    short_hz = np.geomspace(20, 900, 40)
    short, whole = response(short_hz, mono=np.zeros(40)), response(mono=np.zeros(97))
    found = measured(*((short, whole) if which == "own" else (whole, short)))
    assert not found.findings
    assert "does not reach 1 kHz" in found.withheld[0]


@pytest.mark.parametrize(
    ("reference", "against", "message"),
    [
        (None, "", 'compared with another response; name that one\'s id, for example against = "flat"'),
        (None, "meter", 'against = "meter" has no columns of frequency and level'),
        (sheet(column("power", [1, 2]), column("distortion", [1, 2])), "sweep", "no columns of frequency and level"),
        (response(L=np.zeros(97), R=np.zeros(97)), "flat", "this file one without a name; write columns"),
    ],
)
def test_what_cannot_be_held_against(reference, against, message):
    with pytest.raises(InputError) as refused:
        measured(response(mono=np.zeros(97)), reference, against=against, line=31)
    (fault,) = refused.value.faults
    assert (fault.source, fault.line) == ("session.toml", 31)
    assert message in fault.message


def run(setting, level_db, **measurement):
    data, c = response(L=level_db, R=level_db), told(setting=setting, **measurement)
    return run_from(data, c)


def test_twelve_settings_on_one_card_are_each_named_once():
    steps = (-10, -6, -3, 3, 6, 10)
    base = amplifier_db(FREQUENCY_HZ)
    runs = [run(f"bass {g:+d}", base + shelf_db(FREQUENCY_HZ, g, 200)) for g in steps]
    runs += [run(f"treble {g:+d}", base + shelf_db(FREQUENCY_HZ, g, 3000, high=True)) for g in steps]
    card = KIND.card(runs, ())
    (panel,) = card.body.panels
    # one channel of each: both lie together
    assert [t.label for t in panel.traces] == [r.conditions.measurement.setting for r in runs]
    assert card.hero.caption == "bass -10, at 20 Hz"
    low, middle = shelf_db(np.array([20.0, 1000.0]), -10, 200)
    assert card.hero.figure == f"\u2212{middle - low:.1f} dB"
    assert "relative to flat" in card.conditions


def test_a_filter_alone_is_named_by_its_corner():
    card = KIND.card([run("low filter", amplifier_db(FREQUENCY_HZ) + low_cut_db(FREQUENCY_HZ, 100))], ())
    assert card.hero.figure == "100 Hz"


def test_a_control_leads_though_a_filter_does_more():
    base = amplifier_db(FREQUENCY_HZ)
    runs = [
        run("low filter", base + low_cut_db(FREQUENCY_HZ, 100)),
        run("loudness", base + shelf_db(FREQUENCY_HZ, 8, 100)),
        run("defeat", base),
    ]
    card = KIND.card(runs, ())
    assert card.hero.caption == "loudness, at 20 Hz"
    assert [trace.label for trace in card.body.panels[0].traces] == ["low filter", "loudness", "defeat"]


def test_what_is_said():
    (boost,) = KIND.points(run("loudness on", amplifier_db(FREQUENCY_HZ) + shelf_db(FREQUENCY_HZ, 8, 100)), None)
    assert boost.facts["largest"].quantity == "boost_low"
    (nothing,) = KIND.points(run("defeat", amplifier_db(FREQUENCY_HZ)), None)
    assert nothing.facts["flat"]
    cut = run("filter", amplifier_db(FREQUENCY_HZ) + low_cut_db(FREQUENCY_HZ, 100), stage="after")
    said = KIND.points(cut, run("filter", amplifier_db(FREQUENCY_HZ), stage="before"))
    assert [p.name for p in said] == ["corner"]
    assert said[0].facts["slope"].value == pytest.approx(-20 * math.log10(4) + 0.26, abs=0.05)


def test_both_ends_of_one_control_are_said_in_one_breath():
    base = amplifier_db(FREQUENCY_HZ)
    ends = {"bass full up": 8, "bass full down": -8, "treble full up": 6, "defeat": 0}
    points = [
        point
        for setting, db in ends.items()
        for point in KIND.points(run(setting, base + shelf_db(FREQUENCY_HZ, db, 200)), None)
    ]
    joined = KIND.joined(points)
    assert [p.facts["setting"] for p in joined] == ["bass", "treble full up", "defeat"]
    assert joined[0].facts["largest"].value > 0 > joined[0].facts["opposite"].value
    # one that did nothing has no other end
    assert [bool(p.facts["opposite"]) for p in joined] == [True, False, False]


@pytest.mark.parametrize(
    ("settings", "title"),
    [
        (["loudness on, volume at -30 dB"], "Loudness"),
        (["high filter on", "low filter on"], "Filters"),
        (["bass +10 with the loudness switch off", "treble +10"], "Tone controls"),
        (["bass +10", "loudness on"], "Tone controls and loudness"),
        (["bass +10", "loudness on", "low filter"], "Contour"),
        (["mode 3, loudness off"], "Contour"),
    ],
)
def test_a_card_is_called_after_the_control_that_all_its_settings_name(settings, title):
    runs = [run(setting, amplifier_db(FREQUENCY_HZ)) for setting in settings]
    assert KINDS["contour"].card(runs, ()).subject == title


def test_the_card_holds_what_the_file_says():
    c = conditions("contour", setting="bass up", against="flat")
    flat = sheet(column("frequency", HERTZ), column("level", [2.0] * 5, "L"))
    up = sheet(column("frequency", HERTZ), column("level", [4.0, 2.5, 2.0, 2.0, 2.0], "L"))
    card = KINDS["contour"].card([run_from(up, replace(c, reference=flat, reference_name="flat"))], ())
    (trace,) = panel_of(card).traces
    assert trace.y == pytest.approx([20 * math.log10(2), 20 * math.log10(1.25), 0, 0, 0], abs=1e-9)
    assert card.hero.figure == "+6.0 dB"


@pytest.mark.parametrize(("gain_db", "setting"), [(10.0, "bass full up"), (-10.0, "bass full down")])
def test_a_tone_control_is_read_where_it_is_rated(gain_db, setting):
    """A shelf of one pole and one zero, relative to its own level at 1 kHz."""
    ratings = [rated("bass_control", nominal=10.0, frequency_hz=100.0), rated("treble_control", frequency_hz=10_000.0)]
    data = response(mono=amplifier_db(FREQUENCY_HZ) + shelf_db(FREQUENCY_HZ, gain_db, 400))
    found = KIND.findings(data, replace(told(setting=setting), ratings=tuple(ratings)))
    at_100, at_1k = shelf_db([100.0, 1000.0], gain_db, 400)
    assert one(found, "bass_control", frequency=100.0).value == pytest.approx(abs(at_100 - at_1k), abs=0.02)
    assert all_of(found, "treble_control") == []  # another knob


def test_a_nominal_tone_control_gets_no_verdict_and_a_limit_does():
    up, down = (found("bass_control", value, frequency=100.0, setting=f"bass full {way}") for value, way in
                ((9.4, "up"), (10.6, "down")))  # fmt: skip
    nominal = verdict_of(rated("bass_control", nominal=10.0, frequency_hz=100.0), up, down)
    assert (nominal.verdict, nominal.measured) == (NO_VERDICT, "9.4 dB, −0.6 dB")
    assert verdict_of(rated("bass_control", at_least=9.0, frequency_hz=100.0), up, down).verdict == MEETS
    assert verdict_of(rated("bass_control", at_least=10.0, frequency_hz=100.0), up, down).verdict == SHORT
