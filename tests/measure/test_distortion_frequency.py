"""Distortion over frequency: the worst over each band with where it stands, and 1 kHz read between points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from measured_sheets import (
    HERTZ,
    all_of,
    card_of,
    column,
    conditions,
    measured,
    one,
    panel_of,
    quantities,
    run_from,
    sheet,
)

from reviewkit.measure.kinds import KINDS
from reviewkit.model import places
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating
from reviewkit.render.pages.page import Pages

PAGES = Pages(places.templates(), places.templates())

FREQUENCY_HZ = np.geomspace(10, 40_000, 49)


def sweep(percent, channel="L", header="THD+N L (%)", frequency=FREQUENCY_HZ, unit="%"):
    return sheet(column("frequency", frequency), column("distortion", percent, channel, unit, header))


def rising(frequency):
    """0.01 % at 1 kHz, rising in proportion to log frequency: exact when read on log frequency."""
    return 0.01 + 0.004 * np.log10(np.asarray(frequency) / 1000)


def test_the_worst_of_the_band_is_at_its_edge():
    """The data go on to 40 kHz; 20 kHz is read between points, and nothing above it counts."""
    found = measured("distortion-frequency", sweep(rising(FREQUENCY_HZ)))
    worst = one(found, "worst_distortion", "L")
    assert worst.value == pytest.approx(float(rising(20_000)), abs=1e-9)
    assert worst.at["frequency"] == 20_000.0
    assert worst.at["band"] == [20.0, 20_000.0]
    assert worst.at["figure"] == "THD+N"
    assert one(found, "distortion", "L").value == pytest.approx(0.01, abs=1e-9)
    assert one(found, "distortion", "L").at["frequency"] == 1000.0


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.001, 10.0), min_size=49, max_size=49))
def test_the_worst_is_the_largest_of_all(values):
    percent = np.array(values)
    worst = one(measured("distortion-frequency", sweep(percent)), "worst_distortion", "L")
    inside = (FREQUENCY_HZ >= 20) & (FREQUENCY_HZ <= 20_000)
    edges = [float(np.interp(np.log(f), np.log(FREQUENCY_HZ), percent)) for f in (20.0, 20_000.0)]
    assert worst.value == pytest.approx(max(percent[inside].max(), *edges), rel=1e-12)
    there = float(np.interp(np.log(worst.at["frequency"]), np.log(FREQUENCY_HZ), percent))
    assert there == pytest.approx(worst.value, rel=1e-9)


def test_rated_bands():
    ratings = [
        Rating("power", "W", at_least=40, thd_percent=0.05, band_hz=(40.0, 16_000.0)),
        Rating("thd", "%", at_most=0.1, band_hz=(15.0, 30_000.0)),
        Rating("flatness", "dB", within=(-1, 1), band_hz=(5.0, 90_000.0)),
    ]
    found = measured("distortion-frequency", sweep(rising(FREQUENCY_HZ)), ratings=ratings)
    bands = [f.at["band"] for f in all_of(found, "worst_distortion")]
    assert bands == [[20.0, 20_000.0], [40.0, 16_000.0], [15.0, 30_000.0]]
    for band in bands:
        assert one(found, "worst_distortion", "L", band=band).value == pytest.approx(float(rising(band[1])), abs=1e-9)


def test_what_is_said_is_of_the_rated_band():
    power = Rating("power", "W", at_least=40, thd_percent=0.05, band_hz=(40.0, 16_000.0))
    run = run_from(sweep(rising(FREQUENCY_HZ)), conditions("distortion-frequency", ratings=[power]))
    (point,) = KINDS["distortion-frequency"].points(run, None)
    assert (point.facts["band"], point.facts["worse"].at["frequency"]) == ([40.0, 16_000.0], 16_000.0)


@pytest.mark.parametrize(
    ("rating", "figure", "caption"),
    [
        (Rating("thd", "%", at_most=0.1, frequency_hz=6000.0), "0.013 %", "distortion, at 6 kHz"),
        (Rating("thd", "%", at_most=0.1), "0.010 %", "distortion, at 1 kHz"),
        (Rating("power", "W", at_least=40, thd_percent=0.1, frequency_hz=6000.0), "0.013 %", "distortion, at 6 kHz"),
        (Rating("thd", "%", at_most=0.1, band_hz=(40.0, 10_000.0)), "0.014 %", "distortion, at 10 kHz"),
        # a power that names no distortion, what holds into another load, and what isn't measured here
        (Rating("power", "W", at_least=40, frequency_hz=6000.0), "0.015 %", "distortion, at 20 kHz"),
        (Rating("thd", "%", at_most=0.1, frequency_hz=6000.0, load_ohm=4.0), "0.015 %", "distortion, at 20 kHz"),
        (Rating("thd", "%", at_most=0.1, frequency_hz=90_000.0), "0.015 %", "distortion, at 20 kHz"),
    ],
)
def test_the_card_shows_the_rated_frequency_else_the_worst(rating, figure, caption):
    card = card_of("distortion-frequency", sweep(rising(FREQUENCY_HZ)), ratings=[rating], load_ohm=8.0)
    assert (card.hero.figure, card.hero.caption) == (figure, caption)


def test_the_rating_that_comes_first_decides():
    spot, band = Rating("thd", "%", at_most=0.1), Rating("thd", "%", at_most=0.1, band_hz=(20.0, 20_000.0))
    for ratings, figure in (([spot, band], "0.010 %"), ([band, spot], "0.015 %")):
        assert card_of("distortion-frequency", sweep(rising(FREQUENCY_HZ)), ratings=ratings).hero.figure == figure


def two_channels(stage, left, right):
    """Distortion at 1 kHz and at 20 kHz, flat up to 1 kHz."""
    curves = [np.interp(np.log(FREQUENCY_HZ), np.log([1000.0, 20_000.0]), ends) for ends in (left, right)]
    data = sheet(
        column("frequency", FREQUENCY_HZ),
        *(column("distortion", curve, channel) for channel, curve in zip("LR", curves, strict=True)),
    )
    rating = Rating("distortion", "%", at_most=0.3, frequency_hz=1000.0)
    c = conditions("distortion-frequency", ratings=[rating], stage=stage, drive=Level(40.0, "W"), load_ohm=8.0)
    return run_from(data, c)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (None, ((0.2, 0.5), (0.3, 0.6)), "0.30 % distortion on the right. At 20 kHz it's 0.60."),
        # the worst elsewhere may be the other channel's
        (None, ((0.2, 0.9), (0.3, 0.6)), "0.30 % distortion on the right. At 20 kHz it's 0.90 on the left."),
        (None, ((0.2, 0.2), (0.3, 0.3)), "0.30 % distortion on the right."),
        # the pair shows the channel that was worse, though now the other one is
        (
            ((1.0, 4.0), (2.0, 5.0)),
            ((0.3, 0.7), (0.2, 0.5)),
            "0.20 % distortion on the right. It was 2.0 before. At 20 kHz it's 0.70 on the left.",
        ),
        # nothing changed: the worse channel, and what that one was
        (
            ((0.25, 0.5), (0.28, 0.5)),
            ((0.3, 0.5), (0.26, 0.5)),
            "0.30 % distortion on the left. It was 0.25 before. At 20 kHz it's 0.50.",
        ),
    ],
)
def test_what_is_said_is_of_the_rated_frequency(before, after, said):
    was = two_channels("before", *before) if before else None
    (point,) = KINDS["distortion-frequency"].points(two_channels("after", *after), was)
    first, second = PAGES.sentences(point)
    assert first == f"40 W, 1 kHz: {said}"
    assert second == f"or: At 40 W, 1 kHz, distortion is {said.replace(' distortion', '')}"


def test_narrower_data_says_how_far_it_goes():
    frequency = np.geomspace(100, 8000, 20)
    found = measured("distortion-frequency", sweep(rising(frequency), frequency=frequency))
    assert one(found, "worst_distortion", "L").at["band"] == pytest.approx([100.0, 8000.0])
    above = np.geomspace(2000, 8000, 5)
    found = measured("distortion-frequency", sweep(rising(above), frequency=above))
    assert "distortion" not in quantities(found)


@pytest.mark.parametrize(
    ("header", "figure"),
    [("THD+N (%)", "THD+N"), ("THDN L", "THD+N"), ("THD (%)", "THD"), ("Distortion (%)", None), ("thd + n", "THD+N")],
)
def test_the_file_says_which_figure_it_is(header, figure):
    f = one(measured("distortion-frequency", sweep(rising(FREQUENCY_HZ), header=header)), "distortion", "L")
    assert f.at.get("figure") == figure


def test_decibels_are_amplitudes_re_the_signal():
    """−80 dB is 0.01 %."""
    found = measured("distortion-frequency", sweep(np.full(49, -80.0), unit="dB"))
    assert one(found, "worst_distortion", "L").value == pytest.approx(0.01)


def test_channels_are_never_averaged():
    data = sheet(
        column("frequency", FREQUENCY_HZ),
        column("distortion", np.full(49, 0.02), "L"),
        column("distortion", np.full(49, 0.08), "R"),
    )
    found = measured("distortion-frequency", data, drive=Level(40.0, "W"))
    assert {f.channel: f.value for f in all_of(found, "distortion")} == {"L": 0.02, "R": 0.08}
    assert one(found, "worst_distortion", "R").at["power"] == 40.0


def test_the_benchs_floor():
    """Within 6 dB (a factor of two) of what the bench reads by itself."""
    bench = Bench(distortion_floor_percent=0.006)
    found = measured("distortion-frequency", sweep(rising(FREQUENCY_HZ)), bench=bench)
    assert one(found, "distortion", "L").bound == "at most"  # 0.01 % < 0.012 %
    assert one(found, "worst_distortion", "L").bound == ""  # 0.0152 %


def test_the_card_holds_what_the_file_says():
    percent = [0.02, 0.01, 0.01, 0.02, 0.05]
    card = card_of(
        "distortion-frequency",
        sheet(column("frequency", HERTZ), column("distortion", percent, "L")),
        drive=Level(40.0, "W"),
    )
    assert panel_of(card).traces[0].y.tolist() == percent
    assert panel_of(card).y.scale == "log"
    assert card.hero.figure == "0.050 %"


def test_a_limit_is_drawn_where_it_holds():
    """One without a band is of 1 kHz: drawn over the band, a curve that meets it would seem to fail."""
    limits = {}
    for keys in ({}, {"frequency_hz": 6000.0}, {"band_hz": (40.0, 15_000.0)}):
        rating = Rating("thd", "%", at_most=0.1, **keys)
        (limit,) = panel_of(card_of("distortion-frequency", sweep(rising(FREQUENCY_HZ)), ratings=[rating])).limits
        limits[next(iter(keys), "")] = (limit.from_x, limit.to_x)
    assert limits == {"": (1000.0, 1000.0), "frequency_hz": (6000.0, 6000.0), "band_hz": (40.0, 15_000.0)}
