"""The impedance of loudspeakers: figures with their conditions, what is asked and withheld, and that it never becomes a
damping factor. Truth: drivers of closed form (tests/truth/known_drivers.py), IEC 60268-5, the model of the sample pair.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import known_drivers as known
import numpy as np
import pytest
from accuracy import grid
from measured_sheets import card_of, column, conditions, measured, one, panel_of, quantities, run_from, sheet
from rated_and_found import found, runs_of, session
from scipy import optimize

from reviewkit.build import pipeline
from reviewkit.build.recognising import recognise_sheet
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.session import Rating
from reviewkit.verdict.verdict import judge

KIND = "load-impedance"
HZ = np.geomspace(10, 20_000, 265)
PAIR = Path(__file__).resolve().parents[2] / "sample_session" / "loudspeakers"


def file_of(*drivers, header="Impedance (ohm)", hertz=HZ):
    names = ("L", "R") if len(drivers) > 1 else ("",)
    columns = [
        column("impedance", np.abs(driver.ohms(hertz)), name, header=header)
        for driver, name in zip(drivers, names, strict=True)
    ]
    return sheet(column("frequency", hertz), *columns)


def test_a_bare_driver():
    read = measured(KIND, file_of(known.B), enclosure="none")
    assert one(read, "system_resonance").value == pytest.approx(30.0, rel=1e-3)
    for name, true in (("qms", known.B.qms), ("qes", known.B.qes), ("qts", known.B.qts)):
        assert one(read, name).value == pytest.approx(true, rel=2e-3)
    least = one(read, "minimum_impedance")
    assert least.value == pytest.approx(6.522604, rel=1e-3)
    assert least.at["frequency"] == pytest.approx(413.47, rel=0.01)
    assert tuple(least.at["band"]) == (20.0, 20_000.0)
    assert one(read, "rated_impedance").value == 8.0  # 6.52 Ω is more than 80 % of 8 Ω
    assert not read.withheld


def test_a_closed_box_has_another_name_for_its_q():
    read = measured(KIND, file_of(known.C, known.D), enclosure="closed")
    assert one(read, "qtc", "L").value == pytest.approx(known.C.qts, rel=2e-3)
    assert one(read, "qtc", "R").value == pytest.approx(known.D.qts, rel=2e-3)
    assert not {"qts", "qms", "qes"} & quantities(read)


def test_the_voice_coil_by_a_meter_counts():
    with_leads = measured(KIND, file_of(known.B), enclosure="none", dc_resistance_ohm=6.0)
    assert one(with_leads, "qes").value < known.B.qes * 0.98


def test_without_its_enclosure_there_is_no_q():
    read = measured(KIND, file_of(known.B))
    assert one(read, "system_resonance").value == pytest.approx(30.0, rel=0.01)
    assert not {"qts", "qtc", "qms", "qes"} & quantities(read)
    assert 'enclosure = "closed"' in read.withheld[0]


@pytest.mark.parametrize("enclosure", ["", "vented", "closed"])
def test_two_peaks_have_a_tuning_and_no_q(enclosure):
    read = measured(KIND, file_of(known.VENTED), enclosure=enclosure)
    size = lambda hz: abs(complex(known.VENTED.ohms(hz)))  # noqa: E731
    dip = optimize.minimize_scalar(size, bounds=(30, 48), method="bounded").x
    assert one(read, "tuning").value == pytest.approx(dip, rel=0.01)
    assert not {"system_resonance", "qts", "qtc"} & quantities(read)
    assert bool(read.withheld) == (enclosure == "closed")


def test_the_minimum_is_that_of_the_rated_band():
    """A driver below 20 Hz is as low as its coil, but that isn't in its band."""
    response = Rating("flatness", "dB", within=(-3.0, 3.0), band_hz=(60.0, 20_000.0))
    whole = measured(KIND, file_of(known.D))
    rated = measured(KIND, file_of(known.D), ratings=[response])
    assert tuple(one(rated, "minimum_impedance").at["band"]) == (60.0, 20_000.0)
    assert one(rated, "minimum_impedance").value == pytest.approx(one(whole, "minimum_impedance").value, rel=1e-3)


def test_it_is_a_load_whatever_the_bench_drives():
    read = measured(KIND, file_of(known.B), load_ohm=8.0, input="aux", channels="both")
    assert not {"load", "input", "channels"} & {key for f in read.findings for key in f.at}


def test_the_card_holds_what_the_file_says():
    card = card_of(KIND, file_of(known.B), enclosure="none", load_ohm=8.0)
    panel = panel_of(card)
    assert panel.traces[0].y.tolist() == np.abs(known.B.ohms(HZ)).tolist()
    assert (panel.y.unit, panel.y.scale) == ("Ω", "log")
    # 6.5226 Ω at 413.47 Hz, a worked example of the circuit; the resonance is ringed at its 30 Hz
    assert (card.hero.figure, card.hero.caption) == ("6.52 Ω", "lowest impedance, at 413 Hz")
    assert [mark.text for mark in panel.marks] == ["", "30.0 Hz"]
    assert card.conditions == ("bare driver",)


def test_its_sentences_name_the_channel_that_is_lower():
    run = run_from(file_of(known.A, known.C), conditions(KIND, enclosure="none"))
    (point,) = KINDS[KIND].points(run, None)
    assert point.facts["minimum_impedance"].channel == "R"
    assert point.facts["q"].value == pytest.approx(known.C.qts, rel=2e-3)


# ------------------------------------------------------------------ never a damping factor


@pytest.mark.parametrize(
    ("driver", "name"),
    grid(
        [known.A, known.B, known.C, known.D, known.HEADPHONE, known.VENTED],
        ["z.csv", "impedance.csv", "left speaker impedance.csv"],
    ),
)
def test_a_loudspeakers_curve_is_recognised(driver, name):
    read = recognise_sheet(file_of(driver), f"measurements/{name}")
    assert (read.table.get("kind"), read.question) == (KIND, "")


def test_as_source_impedance_it_is_refused():
    with pytest.raises(InputError, match='kind = "load-impedance"'):
        measured("source-impedance", file_of(known.C, known.D))


def test_an_outputs_impedance_is_still_that():
    output = sheet(column("frequency", HZ), column("impedance", 0.15 + HZ / 2e5, header="Output impedance (ohm)"))
    assert recognise_sheet(output, "measurements/impedance.csv").table["kind"] == "source-impedance"
    assert one(measured("source-impedance", output), "damping_factor", frequency=1000.0).value > 40


def test_a_flat_impedance_is_asked_about():
    """A planar headphone's 32 Ω, or a valve amplifier's output without feedback."""
    flat = sheet(column("frequency", HZ), column("impedance", 32 + HZ / 9000))
    assert recognise_sheet(flat, "measurements/z.csv").question
    assert recognise_sheet(flat, "measurements/headphone impedance.csv").table.get("kind") == KIND


# ------------------------------------------------------------------ the sample pair


@pytest.fixture(scope="module")
def model():
    sys.path.insert(0, str(PAIR))
    try:
        import make_loudspeakers

        yield make_loudspeakers
    finally:
        sys.path.remove(str(PAIR))


def test_the_sample_pair(model):
    """Its circuit's minimum by a fine search; fc and Qtc by its elements, near which a crossover lies."""
    (run,) = pipeline.check(PAIR).runs
    for channel, box in (("L", model.LEFT), ("R", model.RIGHT)):
        fine = np.geomspace(20, 20_000, 200_001)
        ohms = box.ohms(fine)
        least = run.get("minimum_impedance", channel)
        assert least.value == pytest.approx(ohms.min(), rel=5e-3)
        assert run.get("rated_impedance", channel).value == 6.0
        assert run.get("system_resonance", channel).value == pytest.approx(box.fc, rel=0.01)
        assert run.get("qtc", channel).value == pytest.approx(box.qmc * box.qec / (box.qmc + box.qec), rel=0.05)
    assert not run.withheld


def test_the_sample_files_are_what_the_model_makes(model):
    assert {name: (PAIR / "measurements" / name).read_text("utf-8") for name in model.files()} == model.files()


# ------------------------------------------------------------------ ratings


def test_a_nominal_impedance_is_judged_by_the_80_percent_rule():
    """IEC 60268-5, 16.1: 8 Ω may not fall below 6.4 Ω, 6 Ω not below 4.8 Ω."""
    run = run_from(file_of(known.B), conditions(KIND, load_ohm=None))  # not below 6.52 Ω
    for nominal, word in ((8.0, "meets"), (10.0, "falls short")):
        rating = Rating("impedance", "Ω", nominal=nominal, called="impedance")
        (verdict,) = judge(session(rating), (run,))
        assert (verdict.verdict, verdict.rating) == (word, rating)
        assert (verdict.limit, verdict.rated) == (
            f"at least {0.8 * nominal:g} Ω",
            f"{nominal:g} Ω, nominal: at least {0.8 * nominal:g} Ω",
        )
        assert (verdict.limit_source, verdict.shown_limit) == (
            f"rated {nominal:g} Ω: lowest allowed",
            f"{0.8 * nominal:g} Ω",
        )
        assert verdict.measured.startswith("6.52 Ω")


def test_a_nominal_impedance_read_by_meter_is_not_judged():
    rating = Rating("impedance", "Ω", nominal=8.0, called="impedance")
    reading = replace(found("impedance", 7.2, ""), unit="Ω", kind="reading")
    (verdict,) = judge(session(rating), runs_of(reading))
    assert verdict.verdict == ""


def test_a_resonance_is_printed_next_to_its_nominal_value():
    run = run_from(file_of(known.B), conditions(KIND, enclosure="none", load_ohm=None))
    ratings = (
        Rating("system_resonance", "Hz", nominal=28.0, called="system resonance"),
        Rating("qts", "", nominal=0.4, called="Qts"),
    )
    resonance, q = judge(session(*ratings), (run,))
    assert (resonance.verdict, q.verdict) == ("", "")
    assert resonance.measured.startswith("30.0 Hz")
    assert q.measured.startswith("0.36")
