"""Crosstalk: 20 lg of the undriven channel over the driven one, so negative."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from measured_sheets import HERTZ, all_of, card_of, column, conditions, measured, one, panel_of, run_from, sheet

from reviewkit.measure.kinds import KINDS
from reviewkit.model import places
from reviewkit.model.errors import InputError
from reviewkit.model.gear import gear_of
from reviewkit.model.session import Bench, Rating
from reviewkit.render.pages.page import Pages

FREQUENCY_HZ = np.geomspace(20, 20_000, 31)


def capacitive(frequency_hz, at_1k_db=-60.0, floor_db=-80.0):
    """A resistive and a capacitive path in quadrature: the second rises 6 dB an octave (circuit theory)."""
    rising = 10 ** (at_1k_db / 20) * np.asarray(frequency_hz, dtype=float) / 1000
    return 20 * np.log10(np.hypot(rising, 10 ** (floor_db / 20)))


def levels(driven, quiet, driven_name="L", unit="V"):
    quiet_name = {"L": "R", "R": "L"}[driven_name]
    pair = {driven_name: driven, quiet_name: quiet}
    return sheet(column("frequency", FREQUENCY_HZ), *(column("level", pair[name], name, unit) for name in ("L", "R")))


@pytest.mark.parametrize(("driven", "direction"), [("L", "L>R"), ("R", "R>L")])
def test_one_volt_and_three_millivolts(driven, direction):
    """3.16228 mV over 1 V: 20 lg 0.00316228 = −50.000 dB."""
    data = levels(np.full(31, 1.0), np.full(31, 3.16228e-3), driven)
    found = measured("crosstalk", data, driven=driven)
    assert {f.channel for f in found.findings} == {direction}
    assert one(found, "crosstalk", direction, frequency=1000.0).value == pytest.approx(-50.0, abs=1e-4)
    assert one(found, "crosstalk", direction, frequency=10_000.0).value == pytest.approx(-50.0, abs=1e-4)
    assert one(found, "crosstalk_worst", direction).value == pytest.approx(-50.0, abs=1e-4)


@pytest.mark.parametrize(("apart_db", "expected"), [(39.0, None), (41.0, 2**0.5 * 0.1)])
def test_levels_far_apart_are_read_on_two_ranges(apart_db, expected):
    """Within 40 dB the bench's uncertainty cancels; beyond, it counts twice. Common practice, no source."""
    data = levels(np.full(31, 1.0), np.full(31, 10 ** (-apart_db / 20)))
    found = measured("crosstalk", data, driven="L", bench=Bench(level_uncertainty_db=0.1))
    for finding in found.findings:
        assert finding.uncertainty == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize("unit", ["dBV", "dBu", "dB"])
def test_levels_in_decibels(unit):
    data = levels(np.full(31, 9.0), 9.0 + capacitive(FREQUENCY_HZ), "R", unit)
    found = measured("crosstalk", data, driven="R")
    assert one(found, "crosstalk", "R>L", frequency=1000.0).value == pytest.approx(capacitive(1000.0), abs=0.01)


def test_the_driven_channels_own_response_divides_out():
    response = 1 / np.hypot(1, FREQUENCY_HZ / 30_000)
    ratio = 10 ** (capacitive(FREQUENCY_HZ) / 20)
    found = measured("crosstalk", levels(6.3 * response, 6.3 * response * ratio), driven="L")
    assert one(found, "crosstalk_worst", "L>R").value == pytest.approx(capacitive(20_000.0), abs=1e-6)


def ready(**directions):
    names = {"left": "L>R", "right": "R>L"}
    return sheet(
        column("frequency", FREQUENCY_HZ), *(column("level", v, names[k], "dB") for k, v in directions.items())
    )


def test_ready_made_columns():
    """At 1 and 10 kHz, and the worst at the top of the band, each direction by itself."""
    data = ready(left=capacitive(FREQUENCY_HZ), right=capacitive(FREQUENCY_HZ, -66.0, -90.0))
    found = measured("crosstalk", data)
    for direction, at_1k, floor in (("L>R", -60.0, -80.0), ("R>L", -66.0, -90.0)):
        for spot in (1000.0, 10_000.0):
            exact = float(capacitive(spot, at_1k, floor))
            assert one(found, "crosstalk", direction, frequency=spot).value == pytest.approx(exact, abs=0.01)
        worst = one(found, "crosstalk_worst", direction)
        assert worst.value == pytest.approx(float(capacitive(20_000.0, at_1k, floor)), abs=1e-9)
        assert worst.at["frequency"] == pytest.approx(20_000.0)
        assert worst.at["band"] == [20.0, 20_000.0]


def test_the_worst_in_the_middle():
    level = np.full(31, -70.0)
    level[12] = -41.5
    worst = one(measured("crosstalk", ready(left=level)), "crosstalk_worst", "L>R")
    assert (worst.value, worst.at["frequency"]) == (-41.5, pytest.approx(FREQUENCY_HZ[12]))


def test_a_rated_frequency_and_band_are_asked_for():
    ratings = [
        Rating("separation", "dB", at_least=50.0, frequency_hz=5000.0),
        Rating("crosstalk", "dB", at_most=-40.0, band_hz=(250.0, 10_000.0)),
    ]
    found = measured("crosstalk", ready(left=capacitive(FREQUENCY_HZ)), ratings=ratings)
    assert one(found, "crosstalk", "L>R", frequency=5000.0).value == pytest.approx(capacitive(5000.0), abs=0.01)
    banded = one(found, "crosstalk_worst", "L>R", band=[250.0, 10_000.0])
    assert banded.value == pytest.approx(float(capacitive(10_000.0)), abs=0.01)
    assert banded.at["frequency"] == 10_000.0


def test_narrower_data():
    frequency = np.geomspace(100, 5000, 15)
    data = sheet(column("frequency", frequency), column("level", capacitive(frequency), "L>R", "dB"))
    found = measured("crosstalk", data)
    assert [f.at["frequency"] for f in all_of(found, "crosstalk")] == [1000.0]
    assert one(found, "crosstalk_worst", "L>R").at["band"] == pytest.approx([100.0, 5000.0])


def test_crosstalk_above_zero_is_refused():
    """A file of separation, or one with the driven channel named wrongly: told, not turned round in silence."""
    with pytest.raises(InputError, match=r"crosstalk L>R reads above 0 dB.*export it so"):
        measured("crosstalk", ready(left=-capacitive(FREQUENCY_HZ)))
    swapped = levels(np.full(31, 1.0), np.full(31, 3e-3), "L")
    with pytest.raises(InputError, match=r"crosstalk R>L reads above 0 dB.*check which channel was driven"):
        measured("crosstalk", swapped, driven="R")


def test_which_channel_was_driven_is_asked_for():
    with pytest.raises(InputError) as refused:
        measured("crosstalk", levels(np.ones(31), np.full(31, 1e-3)), line=71)
    (fault,) = refused.value.faults
    assert (fault.source, fault.line) == ("session.toml", 71)
    assert 'write driven = "L" or driven = "R"' in fault.message


def test_one_channel_alone_is_no_crosstalk():
    data = sheet(column("frequency", FREQUENCY_HZ), column("level", np.ones(31), "L"))
    with pytest.raises(InputError, match="levels of both channels"):
        measured("crosstalk", data, driven="L")


def test_two_units_are_refused():
    data = sheet(
        column("frequency", FREQUENCY_HZ),
        column("level", np.full(31, 0.0), "L", "dBV"),
        column("level", np.full(31, 1e-3), "R", "V"),
    )
    with pytest.raises(InputError, match="left in dBV and right in V: export both in one unit"):
        measured("crosstalk", data, driven="L")


def test_a_level_of_zero_volts_has_no_decibels():
    """A quiet channel that reads 0 V in one row: told with the row, never a figure of minus infinity."""
    quiet = np.full(31, 1e-3)
    quiet[3] = 0.0
    with pytest.raises(InputError, match="reads 0 V in data row 4"):
        measured("crosstalk", levels(np.ones(31), quiet), driven="L")


def test_the_card_holds_what_the_file_says():
    ways = {"L>R": [-80.0, -75.0, -70.0, -60.0, -45.0], "R>L": [-81.0, -76.0, -71.0, -61.0, -46.0]}
    card = card_of(
        "crosstalk",
        sheet(column("frequency", HERTZ), *(column("level", values, way, "dB") for way, values in ways.items())),
    )
    assert [trace.label for trace in panel_of(card).traces] == ["L → R", "R → L"]
    assert [trace.y.tolist() for trace in panel_of(card).traces] == list(ways.values())
    assert card.hero.figure == "−70.0 dB"


def test_where_separation_is_rated_everything_is_separation():
    """The maker's name and sign on all of it: caption, figure, curve and limit; a rated crosstalk keeps its own."""
    ways = {"L>R": [-80.0, -75.0, -70.0, -60.0, -45.0], "R>L": [-81.0, -76.0, -71.0, -61.0, -46.0]}
    data = sheet(column("frequency", HERTZ), *(column("level", values, way, "dB") for way, values in ways.items()))
    separation = Rating("separation", "dB", at_least=50.0, frequency_hz=1000.0)
    found = measured("crosstalk", data, ratings=[separation])
    assert {f.quantity for f in found.findings} == {"separation", "separation_worst"}
    assert one(found, "separation", "L>R", frequency=1000.0).value == 70.0
    # at worst is where least separates them
    assert (one(found, "separation_worst", "R>L").value, one(found, "separation_worst", "R>L").at["frequency"]) == (
        46.0,
        pytest.approx(20_000.0),
    )
    card = card_of("crosstalk", data, ratings=[separation])
    assert (card.subject, card.hero.caption) == ("Separation", "separation, L → R, at 1 kHz")
    assert card.hero.figure == "70.0 dB"
    panel = panel_of(card)
    assert [trace.y.tolist() for trace in panel.traces] == [[-y for y in values] for values in ways.values()]
    assert [(limit.low, limit.high) for limit in panel.limits] == [(50.0, None)]
    assert (panel.y.low, panel.y.high) == (40.0, 100.0)
    assert [text for _, text in panel.y.ticks] == ["40", "60", "80", "100 dB"]
    # of another input nothing is known here
    crosstalk = Rating("crosstalk", "dB", at_most=-40.0, frequency_hz=1000.0, input="FM")
    for here, name in (("aux", "Separation"), ("FM", "Crosstalk"), ("", "Crosstalk")):
        rated = [replace(separation, input="aux"), crosstalk]
        assert card_of("crosstalk", data, ratings=rated, input=here).subject == name


def test_the_benchs_own_crosstalk_is_a_floor_of_separation():
    """Looped back −60 dB; the unit reads 62: within 6 dB of the bench's own, so at least that."""
    data = ready(left=np.full(31, -62.0))
    separation = Rating("separation", "dB", at_least=50.0)
    floor = measured("crosstalk", ready(left=np.full(31, -60.0))).findings
    c = replace(conditions("crosstalk", ratings=[separation]), floor=floor)
    assert one(KINDS["crosstalk"].findings(data, c), "separation", "L>R", frequency=1000.0).bound == "at least"


@pytest.mark.parametrize(
    ("gear", "input_", "said"),
    [
        (("amplifier",), "aux", "Drive one side, and at 1 kHz the other is 70.0 dB down. At 20 kHz, 45.0."),
        (("tuner",), "", "With a signal on one side only, at 1 kHz the other is 70.0 dB down. At 20 kHz, 45.0."),
        (("tuner", "amplifier"), "FM", "With a signal on one side only, at 1 kHz the other is 70.0 dB down."),
    ],
)
def test_nobody_drives_a_side_of_a_source(gear, input_, said):
    ways = {"L>R": [-80.0, -75.0, -70.0, -60.0, -45.0], "R>L": [-81.0, -76.0, -71.0, -61.0, -46.0]}
    data = sheet(column("frequency", HERTZ), *(column("level", values, way, "dB") for way, values in ways.items()))
    run = run_from(data, replace(conditions("crosstalk", input=input_), gear=gear_of(gear)))
    (point,) = KINDS["crosstalk"].points(run, None)
    assert Pages(places.templates(), places.templates()).sentences(point)[0].startswith(said)


def test_what_is_shown_and_said_is_of_the_rated_frequency():
    """And of the direction that was worse before, as the pair shows it."""
    rating = Rating("crosstalk", "dB", at_most=-40.0, frequency_hz=10_000.0)
    c = conditions("crosstalk", ratings=[rating])
    pairs = ((-20.0, -25.0), (-61.0, -60.0))
    before, after = (run_from(ready(left=np.full(31, left), right=np.full(31, right)), c) for left, right in pairs)
    (point,) = KINDS["crosstalk"].points(after, before)
    assert KINDS["crosstalk"].card([after], ()).hero.caption == "crosstalk, R → L, at 10 kHz"
    said = "Drive one side, and at 10 kHz the other is 61.0 dB down. It was 20.0 before. At 20 Hz, 60.0."
    assert Pages(places.templates(), places.templates()).sentences(point)[0] == said
