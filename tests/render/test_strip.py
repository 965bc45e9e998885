"""Strips: one line of reading and needle in the lower third, with what a figure must not go without."""

import io

import numpy as np
import pytest
from card_samples import SAMPLES, verdict
from PIL import Image

from reviewkit.model.card import Card, Readout, Rows
from reviewkit.render.cards.card import LayoutFault, Order, draw_pictures
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.cards.paint import make_measure
from reviewkit.render.cards.scene import Area, Page, Text
from reviewkit.render.footage.overlay import plate_opacity
from reviewkit.render.footage.strip import TOP, StripContent, choose_content, encode_strip, lay_out_strip

LOOK = LOOKS["lamplight"]
CONDITIONS = "5 W into 8 Ω · tone controls bypassed · aux · both channels driven"


def card(readings=(), verdicts=(), title="Frequency response", conditions=CONDITIONS):
    return Card("some", title, conditions, Rows((), (), ()), readings=readings, verdicts=verdicts)


def laid(what):
    page = Page("some", LOOK, make_measure("some"))
    lay_out_strip(page, what)
    assert find_problems(page.items) == ()
    return page.items


def words(items):
    return [item.text for item in items if isinstance(item, Text)]


def reading(key="0.026 %", label="THD+N", channel="R", rows=()):
    return Readout(label, key, rows, channel)


# ------------------------------------------------------------------ what it says


def test_a_card_without_key_reading_or_verdict_has_none():
    assert choose_content(card()) is None
    assert choose_content(card((Readout("at its most", rows=(("L", "1"),)),))) is None
    assert choose_content(SAMPLES["title"]) is None
    assert choose_content(SAMPLES["table"]) is None


def test_the_key_reading_with_the_verdict_on_it():
    other, own = (
        verdict("Power into 8 Ω", "40 W", "meets", 0.1, "42.9 W"),
        verdict("THD", "0.05 %", "meets", 0.4, "0.026 %"),
    )
    what = choose_content(card((reading(),), (other, own)))
    assert what == StripContent("Frequency response", "THD+N", tuple(CONDITIONS.split(" · ")), "0.026 %", "R", own)


def test_the_rating_of_the_figure_itself_comes_before_one_that_was_answered_by_it():
    power = verdict("Power into 8 Ω", "0.03 % at 62 W", "falls short", -0.1, "0.032 % at 62 W")
    own = verdict("THD at 62 W", "0.03 %", "falls short", -0.1, "0.032 %")
    assert choose_content(card((reading("0.032 %"),), (power, own))).verdict is own
    assert choose_content(card((reading("0.032 %"),), (power,))).verdict is power


def test_a_figure_too_close_to_call_has_its_uncertainty_and_nothing_is_said_twice():
    close = verdict("Damping factor, 1 kHz", "50", "too close to call", 0.0, "50 ± 1")
    shown = reading("50", "damping factor, 1 kHz")
    what = choose_content(card((shown,), (close,), "Damping factor", "8 Ω · 1 kHz · aux"))
    assert (what.label, what.figure) == ("", "50 ± 1")
    assert choose_content(card((shown,), (), "Damping factor", "8 Ω · aux")).label == "1 kHz"
    assert choose_content(card((shown,), (), "Damping factor", "")).label == "damping factor, 1 kHz"
    assert choose_content(
        card((reading("−60.0 dB"),), (verdict("x", "60 dB", close.verdict, 0.0, "60.0 ± 0.2 dB"),))
    ).figure == ("−60.0 dB")


def test_a_verdict_on_another_figure_stays_away():
    assert (
        choose_content(card((reading(),), (verdict("Power into 8 Ω", "40 W", "meets", 0.1, "42.9 W"),))).verdict is None
    )


@pytest.mark.parametrize(
    ("key", "measured", "same"),
    [
        ("0.026 %", "0.026 %", True),
        ("−64.0 dB", "64.0 dB", True),
        ("±0.36 dB", "±0.36 dB", True),
        ("60.3 W", "60.3 ± 1.6 W", True),
        ("1.4 → 0.026 %", "0.026 %", True),
        ("0.026 → 0.031 %", "0.026 %", False),
        ("0.026 %", "0.026 % THD+N", True),
        ("52", "52", True),
        ("52", "52.5", False),
        ("52 dB", "52 W", False),
        ("42.9 W", "at least 42.9 W", True),
        ("∞", "∞", False),
    ],
)
def test_whether_two_texts_are_one_figure(key, measured, same):
    found = choose_content(card((reading(key),), (verdict("x", "1", "meets", 0.1, measured),)))
    assert (found.verdict is not None) == same


def test_without_a_key_reading_the_first_verdict_with_a_figure():
    unmeasured, own = (
        verdict("Gain", "29 dB", "not measured", measured=""),
        verdict("Damping factor", "60", "falls short", -0.1, "52"),
    )
    what = choose_content(card((Readout("x", rows=(("L", "1"),)),), (unmeasured, own)))
    assert (what.label, what.figure, what.verdict) == ("Damping factor", "52", own)


def test_whose_the_figure_is_from_its_row_where_it_is_not_said():
    rows = (("L → R", "−64.0 dB"), ("R → L", "−65.9 dB"))
    assert choose_content(card((reading("−64.0 dB", channel="", rows=rows),))).channel == "L → R"
    both = (("L", "+9.2 dB"), ("R", "+9.2 dB"))
    assert choose_content(card((reading("+9.2 dB", channel="", rows=both),))).channel == ""


# ------------------------------------------------------------------ how it is laid out


def test_all_of_it_on_one_line_in_the_lower_third():
    items = laid(choose_content(card((reading(),), (verdict("THD", "0.05 %", "meets", 0.4, "0.026 %"),))))
    assert words(items) == [
        "Frequency response",
        "THD+N · 5 W into 8 Ω · tone controls bypassed · aux",
        "0.026 %",
        "R",
        "meets",
        "rated 0.05 %",
    ]
    assert all(item.box.top >= TOP for item in items if isinstance(item, Text))
    sizes = {item.text: item.size for item in items if isinstance(item, Text)}
    assert sizes["0.026 %"] == 90
    assert min(sizes.values()) >= 36
    lefts = [item.x for item in items if isinstance(item, Text)]
    assert lefts[2] > lefts[1]
    assert lefts[4] > lefts[2]
    (pointer,) = [item for item in items if isinstance(item, Area)]
    assert pointer.colour == LOOK.meets


def test_conditions_go_from_the_last_and_never_the_first():
    conditions = tuple(CONDITIONS.split(" · "))
    shown = []
    for count in (1, 5, 7, 11):
        line = " · ".join(
            words(laid(StripContent("Frequency response", "worst of it " * count, conditions, "0.026 %", "R")))[1:-2]
        )
        there = [part in line for part in conditions]
        assert there == sorted(there, reverse=True)
        shown.append(sum(there))
    assert max(shown) == 4
    assert min(shown) == 1


@pytest.mark.parametrize("word", ["meets", "falls short", "too close to call", "not comparable"])
@pytest.mark.parametrize("key", ["52", "1.4 → 0.026 %", "≥ 100000 W", "+0.00 −0.28 dB"])
@pytest.mark.parametrize(
    "label", ["", "worst THD+N, 20 Hz – 20 kHz", "Сигнал к шуму, взвешенный по кривой А, вход для проигрывателя"]
)
def test_whatever_it_holds_it_stands_in_its_place(word, key, label):
    own = verdict("x", "±0.5 dB", word, None if word == "not comparable" else 0.2, key)
    long = "The wave, and what is left of it without its tone, both sides"
    for title in ("Noise", long):
        items = laid(StripContent(title, label, ("125 mW into 8 Ω", *["lines of 0.732 Hz"] * 4), key, "L → R", own))
        assert {key, word, "L → R"} <= set(words(items))


def test_what_cannot_stand_is_told_with_its_remedy():
    with pytest.raises(LayoutFault, match=r'card "some": "W+" does not fit on the strip; shorten title = …'):
        laid(StripContent("W" * 200, "", (), "1 %"))


# ------------------------------------------------------------------ the picture


@pytest.mark.parametrize("width", [1920, 3840])
def test_a_strip_is_a_whole_frame_and_clear_but_for_its_plate(width):
    made = draw_pictures(SAMPLES["crosstalk"], Order(LOOK, width, strip=True))
    assert set(made) == {"cards", "strips"}
    image = Image.open(io.BytesIO(made["strips"]))
    assert (image.mode, image.size, image.info) == ("RGBA", (width, width * 9 // 16), {})
    alpha = np.asarray(image)[..., 3]
    assert not alpha[: width * 3 // 8].any()
    assert not alpha[-1].any()
    assert not alpha[:, -1].any()
    values, counts = np.unique(alpha[alpha > 0], return_counts=True)
    assert values[counts.argmax()] == plate_opacity(LOOK)
    assert (alpha == 255).sum() > 1000


def test_the_same_strip_is_the_same_bytes():
    items = laid(choose_content(SAMPLES["crosstalk"]))
    assert encode_strip(items, LOOK, 1920) == encode_strip(items, LOOK, 1920)


def test_a_card_without_a_figure_has_no_strip_and_is_no_fault():
    assert set(draw_pictures(SAMPLES["title"], Order(LOOK, 1280, strip=True))) == {"cards"}
