import sys
from dataclasses import replace

import numpy as np
import pytest
from card_samples import MINUS, SAMPLES, VERDICT_WORDS, curve_card, said, shapes, sound, texts, verdict

from reviewkit.model.card import Axis, Limit, Mark, Readout, TitlePage, Trace
from reviewkit.model.errors import InputError
from reviewkit.render.cards import paint
from reviewkit.render.cards.card import LayoutFault, draw
from reviewkit.render.cards.scene import Area

LONG_NAME = "The Norrvale Instrument Company of Upper Norrvale Forty Mark"
LONG_WORD = "Norrvale" * 7 + "Fort"


@pytest.mark.parametrize("name", [LONG_NAME, LONG_WORD, "W" * 60])
@pytest.mark.parametrize("sample", ["response", "table", "title"])
def test_long_names_survive(name, sample):
    card = SAMPLES[sample]
    if isinstance(card.body, TitlePage):
        card = replace(card, title=name, body=replace(card.body, name=name))
    shown = said(sound(replace(card, corner=name)))
    assert name.replace(" ", "") in shown.replace(" ", "")


def test_a_long_title_beside_a_long_name():
    card = replace(
        SAMPLES["response"], title="Frequency response with the loudness contour switched in", corner=LONG_NAME
    )
    sound(card)


def test_long_conditions_take_two_lines_broken_at_a_dot():
    conditions = (
        "5 W into 8 Ω · tone controls bypassed · loudness off · aux input · both channels driven · mains 120 V 60 Hz"
        " · after two hours at a third of the rated power"
    )
    items = sound(replace(SAMPLES["response"], conditions=conditions))
    first = next(text for text in texts(items) if text.text.startswith("5 W into"))
    assert not first.text.endswith("·")
    assert conditions.startswith(first.text + " · ")


@pytest.mark.parametrize(
    ("change", "remedy"),
    [
        ({"conditions": "very long words about a setting " * 12}, "shorten setting"),
        ({"title": "a title that goes on " * 14}, "shorten the title"),
        ({"foot": "a foot that goes on and on " * 14}, "shorten source"),
        ({"corner": "Norrvale " * 30}, "shorten maker"),
    ],
)
def test_text_for_which_no_form_is_left_is_a_fault_with_a_remedy(change, remedy):
    (text,) = change.values()
    with pytest.raises(LayoutFault) as raised:
        draw(replace(SAMPLES["response"], **change), "lamplight")
    assert raised.value.card_id == "response"
    assert raised.value.text == text
    assert raised.value.remedy.startswith(remedy)
    assert isinstance(raised.value, InputError)


def test_characters_that_no_font_has_are_named():
    with pytest.raises(LayoutFault, match=r"U\+6E2C 測.*write it without"):
        draw(replace(SAMPLES["response"], conditions="aux 測"), "lamplight")
    with pytest.raises(LayoutFault, match=r"U\+0009"):
        draw(replace(SAMPLES["response"], conditions="aux\tin"), "lamplight")


def test_a_sign_that_only_the_second_font_has_is_drawn_from_it():
    sound(replace(SAMPLES["response"], conditions="aux ⁻¹ ☃ $x_1$"))


def test_a_curve_of_one_point_is_a_dot():
    card = curve_card(Trace(np.array((1000.0,)), np.array((0.5,)), "L", "now", "L"))
    items = sound(card)
    assert len(shapes(items, "curve", Area)) == 1
    assert "L" in said(items).split()


def test_an_empty_curve_is_left_out_with_its_name():
    empty = np.array(())
    nothing = Trace(np.array((20.0, 100.0)), np.array((np.nan, np.nan)), "R", "now", "nothing")
    items = sound(curve_card(Trace(empty, empty, "L", "now", "emptiness"), nothing))
    assert shapes(items, "curve") == []
    assert "emptiness" not in said(items)
    assert "nothing" not in said(items)


def test_names_of_curves_that_coincide_are_moved_apart():
    x, y = np.geomspace(20, 20000, 50), np.zeros(50)
    roles = [("L", "now", "L"), ("R", "now", "R"), ("L", "before", "L before"), ("R", "before", "R before")]
    items = sound(curve_card(*(Trace(x, y, channel, role, label) for channel, role, label in roles)))
    names = [text for text in texts(items) if text.text in {label for *_, label in roles}]
    assert len(names) == 4
    assert len({text.box.top for text in names}) == 4
    assert len(shapes(items, "leader")) >= 2


def test_more_names_than_there_is_room_for_are_a_fault():
    x = np.geomspace(20, 20000, 50)
    traces = [Trace(x, np.zeros(50), "L", "now", f"setting {n}") for n in range(24)]
    with pytest.raises(LayoutFault, match="card = …"):
        draw(curve_card(*traces), "lamplight")


def test_ten_decades_on_one_axis():
    x = np.geomspace(20, 20000, 400)
    y = np.geomspace(1e-5, 1e5, 400)
    ticks = tuple((10.0**power, f"{10.0**power:g}") for power in range(-5, 6))
    sound(
        curve_card(
            Trace(x, y, "L", "now", "L"), Trace(x, y[::-1], "R", "now", "R"), y=Axis(1e-5, 1e5, "log", ticks, "%")
        )
    )


def test_curves_are_cut_at_the_panels_edge():
    x = np.geomspace(2, 200000, 2001)
    y = 1e5 * np.sin(np.log(x) * 9)
    y[700:800] = np.nan
    items = sound(curve_card(Trace(x, y, "L", "now", "L")))
    (line,) = shapes(items, "curve")
    grid = [point for other in shapes(items, "grid") for point in other.points]
    seen = line.points[np.isfinite(line.points).all(axis=1)]
    assert seen[:, 0].min() >= min(x for x, _ in grid) - 0.01
    assert seen[:, 0].max() <= max(x for x, _ in grid) + 0.01
    assert seen[:, 1].min() >= min(y for _, y in grid) - 0.01
    assert seen[:, 1].max() <= max(y for _, y in grid) + 0.01


def test_long_traces_keep_their_extremes():
    x = np.geomspace(20, 20000, 200_000)
    y = np.zeros(len(x))
    spikes = np.random.default_rng(3).choice(len(x), 40, replace=False)
    y[spikes] = np.tile((1.5, -1.5), 20)
    items = sound(curve_card(Trace(x, y, "L", "now", "L")))
    (line,) = shapes(items, "curve")
    assert len(line.points) < 8000
    plot = shapes(items, "grid")[0].points
    columns = np.floor(np.interp(np.log(x[spikes]), np.log((20, 20000)), (plot[0][0], plot[1][0])))
    middle, extent = np.median(line.points[:, 1]), np.abs(line.points[:, 1] - np.median(line.points[:, 1])).max()
    high = {round(px) for px, py in line.points if middle - py > 0.99 * extent}
    low = {round(px) for px, py in line.points if py - middle > 0.99 * extent}
    for column, value in zip(columns, y[spikes], strict=True):
        assert {column, column + 1} & (high if value > 0 else low)


def test_a_picture_full_of_curves_still_names_its_limit_and_its_marks():
    x = np.geomspace(20, 20000, 4000)
    y = 1.9 * np.sin(np.arange(4000) * 0.9)
    limits = (Limit(-0.5, 0.5, 20, 20000, "rated ±0.5 dB"),)
    marks = (Mark(1000, 1.0, "1 kHz"), Mark(5000, 1.0, "5 kHz"))
    items = sound(curve_card(Trace(x, y, "L", "now", "L"), limits=limits, marks=marks))
    assert "rated ±0.5 dB" in said(items)
    assert "1 kHz" in said(items)
    assert "5 kHz" in said(items)


def test_marks_in_every_corner_find_a_place():
    x = np.geomspace(20, 20000, 200)
    corners = [Mark(f, v, f"{v:g} dB at {f:g} Hz") for f in (20, 20000) for v in (-2.0, 2.0)]
    marks = (*corners, Mark(5, 9, "far off"))
    sound(curve_card(Trace(x, np.zeros(200), "L", "now", "L"), marks=marks))


def test_many_readings_and_verdicts():
    readings = (
        Readout(
            "worst, 20 Hz – 20 kHz",
            f"{MINUS}64.2 dB",
            (("L into R", f"{MINUS}64.2 dB"), ("R into L", f"{MINUS}70.1 dB")),
        ),
        Readout("at 10 kHz, with a label that needs a second line", "", (("L into R", f"{MINUS}44.2 dB"),)),
    )
    verdicts = tuple(
        verdict(f"Separation at {n} kHz, 20 Hz – 20 kHz", "50 dB", word) for n, word in enumerate(VERDICT_WORDS)
    )
    items = sound(curve_card(readings=readings, verdicts=verdicts))
    shown = [text.text for text in texts(items)]
    left_out = len(verdicts) - sum(text in VERDICT_WORDS for text in shown)
    assert left_out == 0 or f"{left_out} more in the table" in shown
    assert left_out < len(verdicts)


def test_readings_too_many_for_the_column_are_a_fault():
    reading = Readout("a label", "", tuple((f"figure {n}", "0.021 %") for n in range(40)))
    with pytest.raises(LayoutFault, match="card = …"):
        draw(curve_card(readings=(reading,)), "lamplight")


def test_without_the_package_of_type_the_cards_still_fit(monkeypatch):
    caches = (
        paint._files,
        paint._bearing,
        paint._is_known,
        paint._extent,
        paint._extent_at_scale,
        paint._outline,
        paint._letters,
    )
    try:
        monkeypatch.setitem(sys.modules, "font_source_sans_pro", None)
        for cached in caches:
            cached.cache_clear()
        assert paint.font_file().endswith("DejaVuSans.ttf")
        for card in SAMPLES.values():
            sound(card)
    finally:
        for cached in caches:
            cached.cache_clear()


@pytest.mark.parametrize(("hertz", "across"), [(1000.0, (-66.0, 66.0)), (20.0, (0.0, 66.0)), (20_000.0, (-66.0, 0.0))])
def test_a_limit_at_one_frequency_is_a_short_line_about_it_and_no_band(hertz, across):
    x = np.geomspace(20, 20_000, 401)
    curve = Trace(x, np.full(401, -1.5), "L", "now", "L")
    items = sound(curve_card(curve, limits=(Limit(-1.0, None, hertz, hertz, "rated"),)))
    (line,) = shapes(items, "limit")
    (drawn,) = shapes(items, "curve")
    left, right = (drawn.points[end, 0] for end in (0, -1))
    at = left + (right - left) * np.log(hertz / 20) / np.log(1000)
    assert [end - at for end, _ in line.points] == pytest.approx(across, abs=0.5)
    assert len({y for _, y in line.points}) == 1
    assert shapes(items, "band", Area) == []
    # over a band, the same limit has both
    items = sound(curve_card(curve, limits=(Limit(-1.0, None, 20.0, 20_000.0, "rated"),)))
    assert len(shapes(items, "band", Area)) == 1
    assert [end for end, _ in shapes(items, "limit")[0].points] == pytest.approx([left, right], abs=0.5)
