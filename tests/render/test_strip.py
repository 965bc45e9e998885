"""Strips: title, conditions, figure and needle on a plate in the lower part of the frame."""

import io
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from accuracy import grid
from card_samples import CHARTS, SAMPLES, verdict
from PIL import Image

from reviewkit.model.card import Ending, Hero
from reviewkit.model.card_files import kind_of
from reviewkit.render.cards.card import LayoutFault
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.paint import make_measure
from reviewkit.render.cards.pictures import Order, draw_pictures
from reviewkit.render.cards.scene import Area, Page, Text
from reviewkit.render.cards.shape import SHAPES
from reviewkit.render.footage.overlay import plate_opacity
from reviewkit.render.footage.strip import StripContent, choose_content, encode_strip, lay_out_strip

LOOK = LOOKS["lamplight"]
WITH_FIGURE = (*CHARTS, "number", "ending")


def laid(what, shape="wide"):
    page = Page("some", LOOK, make_measure("some"), SHAPES[shape])
    lay_out_strip(page, what)
    assert find_problems(page.items, SHAPES[shape]) == ()
    return page.items


def words(items):
    return [item.text for item in items if isinstance(item, Text)]


# ------------------------------------------------------------------ what it says


def test_a_card_without_a_figure_has_none():
    for name in ("title", "table", "score", "hunt", "fix", "price"):
        assert choose_content(SAMPLES[name]) is None
    assert choose_content(replace(SAMPLES["ending"], body=Ending("Measured", None))) is None
    assert choose_content(replace(SAMPLES["crosstalk"], hero=None)) is None


def test_it_shows_what_the_card_shows_large():
    card = SAMPLES["response"]
    what = choose_content(card)
    assert (what.title, what.hero.figure, what.verdict) == (card.title, card.hero.figure, card.verdict)
    # where it was read is among the conditions: above the figure there is no room
    assert what.hero.caption == ""
    assert what.conditions == "After the repair · Response, right, at 20 Hz · 5 W into 8 Ω · tone controls bypassed"


def test_before_and_after_keep_their_captions():
    what = choose_content(SAMPLES["pair"])
    assert (what.hero.before, what.hero.figure, what.hero.caption) == ("5.0 %", "0.020 %", "after, at 1 W")
    shown = words(laid(what))
    assert {"before", "5.0", "after, at 1 W", "0.020 %"} <= set(shown)


def test_the_card_as_found_has_nothing_of_after():
    shown = " ".join(words(laid(choose_content(SAMPLES["found"]))))
    assert "5.0 %" in shown
    assert "Before the repair" in shown
    assert "0.020" not in shown
    assert "after" not in shown


def test_cards_without_a_chart_show_their_figure_under_their_own_words():
    assert choose_content(SAMPLES["number"]).title == "Distortion, down from 5.0 %"
    assert choose_content(SAMPLES["number"]).hero.figure == "0.020 %"
    assert choose_content(SAMPLES["ending"]).title == "Repaired"


# ------------------------------------------------------------------ how it is laid out


def test_every_sample_has_its_place_in_every_shape():
    for name, shape in tuple(product(WITH_FIGURE, SHAPES)):
        what = choose_content(SAMPLES[name])
        items = laid(what, shape)
        assert what.hero.figure in words(items), name
        middle = SHAPES[shape].height / 2
        assert all(
            item.box.top > (0.84 if shape == "square" else 1.0) * middle for item in items if isinstance(item, Text)
        ), name
        assert min(item.size for item in items if isinstance(item, Text)) >= 36, name
        sizes = {item.text: item.size for item in items if isinstance(item, Text)}
        assert sizes[what.hero.figure] == max(sizes.values()), name


def test_all_of_a_verdict_in_one_row():
    items = laid(choose_content(SAMPLES["response"]))
    shown = words(items)
    assert shown[-4:] == ["rated ±0.5 dB", "by 0.07 dB", "short", "falls"]
    lefts = {item.text: item.x for item in items if isinstance(item, Text)}
    assert lefts["As flat as rated"] < lefts["±0.57 dB"] < lefts["falls"]
    (wedge,) = [item for item in items if isinstance(item, Area)]
    assert wedge.colour == LOOK.falls_short


def test_conditions_that_no_figure_goes_without_stay():
    kept = ("After the repair · Noise · 8 Ω · third-octave bands", "input shorted, volume full up")
    shown = " · ".join(words(laid(StripContent("As quiet as rated", " · ".join(kept), Hero("102.2 dB")))))
    assert all(part in shown for form in kept for part in form.split(" · "))
    with pytest.raises(LayoutFault, match=r"does not fit on the strip; shorten title = … or setting = …"):
        laid(StripContent("As quiet as rated", " · ".join((*kept, *["lines of 0.732 Hz"] * 30)), Hero("102.2 dB")))


def test_whatever_it_holds_it_stands_in_its_place():
    for hero in [
        Hero("52"),
        Hero("60.3", uncertainty="± 1.6 W"),
        Hero("≥ 100000 W"),
        Hero("0.026 %", "after", "1.4 %"),
    ]:
        for word in ["meets", "falls short", "too close to call", "not comparable"]:
            for shape in SHAPES:
                own = verdict("x", "±0.5 dB", word, None if word == "not comparable" else 1.2, "1")
                for title in ("Noise", "The wave, and what is left of it without its tone, both sides"):
                    items = laid(StripContent(title, "125 mW into 8 Ω · 31 tones · 20 Hz – 20 kHz", hero, own), shape)
                    shown = " ".join(words(items))
                    assert hero.figure in shown, (shape, word, hero)
                    assert set(word.split()) <= set(shown.split()), (shape, word, hero)


def test_what_cannot_stand_is_told_with_its_remedy():
    with pytest.raises(LayoutFault, match=r'card "some": "W+" does not fit on the strip; shorten title = …'):
        laid(StripContent("W" * 200, "", Hero("1 %")))


# ------------------------------------------------------------------ the picture


@pytest.mark.parametrize(("width", "name"), grid([1920, 3840], [*SHAPES]))
def test_a_strip_is_a_whole_frame_and_clear_but_for_its_plate(width, name):
    shape, kind = SHAPES[name], kind_of("strips", name)
    drawn = draw_pictures(SAMPLES["response"], Order(LOOK, width, strip=True, shapes=(name,)))
    assert set(drawn) == {kind_of("cards", name), kind}
    image = Image.open(io.BytesIO(drawn[kind]))
    scale = width // 1920
    assert (image.mode, image.size, image.info) == ("RGBA", (shape.width * scale, shape.height * scale), {})
    alpha = np.asarray(image)[..., 3]
    assert not alpha[: len(alpha) * 2 // 5].any()
    below = round((shape.height - shape.safe.bottom) * scale)  # of a tall frame, that is for a player's buttons
    assert not alpha[-max(below - 30, 1) :].any()
    assert not alpha[:, -1].any()
    values, counts = np.unique(alpha[alpha > 0], return_counts=True)
    assert values[counts.argmax()] == plate_opacity(LOOK)
    assert (alpha == 255).sum() > 1000


def test_the_plate_is_under_the_needle_too():
    items = laid(choose_content(SAMPLES["response"]))
    alpha = np.asarray(Image.open(io.BytesIO(encode_strip(items, LOOK, 1920))))[..., 3]
    for item in items:
        points = np.asarray(getattr(item, "points", ((item.box.left, item.box.top),) if isinstance(item, Text) else ()))
        for x, y in points:
            assert alpha[int(y) - 3, int(x)] >= plate_opacity(LOOK), item


def test_the_same_strip_is_the_same_bytes():
    items = laid(choose_content(SAMPLES["crosstalk"]))
    assert encode_strip(items, LOOK, 1920) == encode_strip(items, LOOK, 1920)


def test_a_card_without_a_figure_has_no_strip_and_is_no_fault():
    assert set(draw_pictures(SAMPLES["score"], Order(LOOK, 1280, strip=True))) == {"cards"}


def test_a_card_that_is_not_for_filming_has_only_its_still():
    card = replace(SAMPLES["crosstalk"], on_film=False)
    order = Order(LOOK, 1280, page=LOOKS["brochure"], overlay=True, strip=True, shapes=("wide", "tall"))
    assert set(draw_pictures(card, order)) == {"cards", "page", "square-page"}
    assert set(draw_pictures(card, replace(order, shapes=("tall", "square")))) == {"tall-cards", "page", "square-page"}
