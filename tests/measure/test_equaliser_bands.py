"""An equaliser's bands as contours with a printed centre: nothing is set to zero at 1 kHz."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from measured_sheets import column, conditions, one, panel_of, sheet
from rated_and_found import verdict_of
from scipy import signal

from reviewkit.build.recognising import recognise_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Run
from reviewkit.model.session import Rating
from reviewkit.verdict.verdict import MEETS, SHORT

HZ = 10 * 2 ** (np.arange(264) / 24)
FLAT_DB = -0.3 * (20 / HZ) ** 2  # what the unit does with all flat


def circuit_db(centre_hz, gain_db, q=1.4):
    turn, root = 2 * np.pi * centre_hz, 10 ** (gain_db / 40)
    numerator, denominator = ([1, turn * each / q, turn**2] for each in (root, 1 / root))
    return 20 * np.log10(np.abs(signal.freqs(numerator, denominator, worN=2 * np.pi * HZ)[1]))


def sweep(level_db, unit="dBV"):
    return sheet(column("frequency", HZ), column("level", level_db, "L", unit))


def run(centre_hz, gain_db, *ratings, printed_hz=None, unit="dBV", off_db=0.0):
    c = conditions(
        "contour", against="flat", centre_hz=printed_hz or centre_hz, setting=f"{centre_hz:g} Hz", ratings=ratings
    )
    c = replace(c, reference=sweep(FLAT_DB), reference_name="flat")
    measured = KINDS["contour"].findings(sweep(FLAT_DB + circuit_db(centre_hz, gain_db) + off_db, unit), c)
    return Run(c, measured.findings, measured.withheld, measured.curves)


@pytest.mark.parametrize("gain_db", [11.5, -11.5])
@pytest.mark.parametrize("centre_hz", [63.0, 1000.0, 8000.0])
def test_a_band_at_1_khz_is_read_as_any_other(centre_hz, gain_db, accuracy):
    found = run(centre_hz, gain_db)
    accuracy("gain of an equaliser's band", one(found, "band_gain", "L").value - gain_db)
    accuracy("centre and Q of an equaliser's band", 100 * (one(found, "centre_frequency", "L").value / centre_hz - 1))
    accuracy("centre and Q of an equaliser's band", 100 * (one(found, "band_q", "L").value / 1.4 - 1))
    assert {f.at["frequency"] for f in found.findings} == {centre_hz}
    # without a printed centre it is a contour, 0 dB at 1 kHz
    assert not {"boost_low", "slope"} & {f.quantity for f in found.findings}


def test_a_control_that_does_nothing_has_a_gain_and_no_centre():
    found = run(1000.0, 0.4)
    assert one(found, "band_gain", "L").value == pytest.approx(0.4, abs=0.01)
    assert {f.quantity for f in found.findings} == {"band_gain"}


@pytest.mark.parametrize(
    ("changed", "why"),
    [({"off_db": 3.0}, "one band"), ({"printed_hz": 4000.0}, "at the end"), ({"printed_hz": 5.0}, "its centre")],
)
def test_what_is_not_the_curve_of_this_band_is_withheld(changed, why):
    found = run(1000.0, 12.0, **changed)
    assert not found.findings
    assert any(why in reason for reason in found.withheld)


def test_levels_in_another_unit_are_refused():
    with pytest.raises(InputError, match="export both in one unit"):
        run(1000.0, 12.0, unit="dB")


def test_its_ratings():
    """Up 12.4 dB, down 11.6; centred 4 % low."""
    wide = Rating("equaliser_range", "dB", at_least=12.0, called="equaliser range")
    place = Rating("centre_frequency_accuracy", "%", within=(-5.0, 5.0), called="centre frequency accuracy")
    up = run(960.0, 12.4, wide, place, printed_hz=1000.0)
    down = run(960.0, -11.6, wide, place, printed_hz=1000.0)
    assert verdict_of(wide, *up.findings).verdict == MEETS
    both = verdict_of(wide, *up.findings, *down.findings)
    assert (both.verdict, both.measured) == (SHORT, "11.6 dB")
    assert (verdict := verdict_of(place, *up.findings)).verdict == MEETS
    assert verdict.measured == "−4.00 %"
    narrow = replace(place, within=(-3.0, 3.0))
    assert verdict_of(narrow, *up.findings).verdict == SHORT
    # as boost_low is of a tone control, the gain is a figure of every band
    assert "equaliser_range" not in {f.quantity for f in run(1000.0, 12.0).findings}


def test_the_fan_shows_the_band_that_does_least():
    runs = [run(hz, gain) for hz, gain in ((63.0, 12.0), (63.0, -12.0), (1000.0, 9.0), (8000.0, 12.0))]
    card = KINDS["contour"].card(runs, ())
    panel = panel_of(card)
    assert len(panel.traces) == 4
    assert [trace.label for trace in panel.traces] == [""] * 4
    assert (card.hero.figure, card.hero.x, round(card.hero.y, 2)) == ("+9.0 dB", 1000.0, 9.0)
    assert "relative to flat" in card.conditions
    (point,) = KINDS["contour"].joined([each for r in runs for each in KINDS["contour"].points(r, None)])
    assert (point.name, point.facts["bands"], round(point.facts["gain"].value, 2)) == ("band", 3, 9.0)


@pytest.mark.parametrize(
    ("file", "kind"),
    [
        ("measurements/eq-1000hz-up.csv", "contour"),
        ("measurements/equaliser 63 Hz down.csv", "contour"),
        ("measurements/equalizer.csv", "contour"),
    ],
)
def test_a_file_named_for_a_band(file, kind):
    found = recognise_sheet(sweep(FLAT_DB + circuit_db(1000.0, 12.0)), file)
    assert found.table["kind"] == kind
    named = "hz" in file.lower()
    assert ("centre" in found.table) == named
    assert (found.table.get("card") == "equaliser") == named
