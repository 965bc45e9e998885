"""Overlays: measured where an editing program would show them, laid over the brightest and the darkest footage.

Contrasts are those of WCAG 2.x, worked out here with numpy on composited pixels. Straight alpha: Porter & Duff 1984,
"over", with colours not multiplied by their alpha.
"""

import io
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from card_samples import SAMPLES, texts
from PIL import Image

from reviewkit.render.cards.box import Box
from reviewkit.render.cards.card import lay_out_in_roles
from reviewkit.render.cards.colours import LOOKS, with_colours
from reviewkit.render.cards.contrast import contrast, mix
from reviewkit.render.cards.paint import NO_FONTS, paint
from reviewkit.render.cards.pictures import Order, draw_pictures
from reviewkit.render.cards.roles import apply_look
from reviewkit.render.cards.scene import Area, Stroke, Text
from reviewkit.render.cards.shape import SHAPES, WIDE
from reviewkit.render.footage.overlay import (
    draw_overlay,
    draw_plate,
    encode_overlay,
    footage_look,
    plate_opacity,
    plate_regions,
)

EVERY = (
    ("response", "lamplight", "wide"),
    ("pair", "brochure", "wide"),
    ("found", "lamplight", "tall"),
    ("power", "brochure", "square"),
    ("table", "lamplight", "wide"),
)
FOOTAGE = {"white": 255, "black": 0}
OTHER = with_colours(LOOKS["lamplight"], {"ground": "#202a44", "soft": "#c8ccd4"})


def laid(name, look, shape="wide"):
    return apply_look(lay_out_in_roles(SAMPLES[name], NO_FONTS, SHAPES[shape]), footage_look(look))


def over(pixels, footage):
    """Straight alpha over footage: a number, or a picture of the same size."""
    alpha = pixels[..., 3:].astype(np.float32) / 255
    return np.rint(pixels[..., :3] * alpha + footage * (1 - alpha))


def luminance(rgb):
    """Relative luminance of sRGB codes, shape (…, 3) (WCAG 2.x)."""
    code = np.asarray(rgb) / 255
    line = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return line @ np.array((0.2126, 0.7152, 0.0722))


def ratios(one, other):
    a, b = luminance(one), luminance(other)
    return (np.maximum(a, b) + 0.05) / (np.minimum(a, b) + 0.05)


def codes(colour):
    return np.array(tuple(bytes.fromhex(colour[1:])), dtype=float)


# ------------------------------------------------------------------ the plate's opacity


@pytest.mark.parametrize("look", [*LOOKS.values(), OTHER], ids=lambda look: look.ground)
def test_the_plate_is_as_clear_as_the_contrasts_allow(look):
    def good(alpha):
        plates = [mix(look.ground, footage, 1 - alpha / 255) for footage in ("#ffffff", "#000000")]
        bands = [mix(look.band, footage, 1 - alpha / 255) for footage in ("#ffffff", "#000000")]
        others = (look.soft, look.left, look.right, look.meets, look.falls_short)
        return (
            all(contrast(look.ink, plate) >= 7 for plate in plates)
            and all(contrast(other, plate) >= 4.5 for other in others for plate in plates)
            and all(contrast(look.ink, band) >= 7 for band in bands)
            and all(contrast(other, band) >= 4.5 for other in (look.soft, look.left, look.right) for band in bands)
        )

    assert good(plate_opacity(look))
    assert not good(plate_opacity(look) - 1)
    assert plate_opacity(look) < 255


def test_a_look_without_room_has_a_whole_plate():
    # 4.5:1 on its ground and not a hair more: any footage that shines through would take it away
    ground = LOOKS["brochure"].ground
    palest = next(
        soft for code in range(255, 0, -1) if contrast(soft := f"#{code:02x}{code:02x}{code:02x}", ground) >= 4.5
    )
    assert plate_opacity(with_colours(LOOKS["brochure"], {"soft": palest})) == 255


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_the_palest_curves_are_seen_on_the_plate(look):
    there = footage_look(look)
    for footage in ("#ffffff", "#000000"):
        for ground in (look.ground, look.band, there.room):
            under = mix(ground, footage, 1 - plate_opacity(look) / 255)
            for colour in (there.bench, there.curve("L", "before"), there.curve("R", "before")):
                assert contrast(colour, under) >= 3
        for fill, those in ((there.room, (look.ink, look.soft)), (there.fault_room, (look.ink, look.falls_short))):
            under = mix(fill, footage, 1 - plate_opacity(look) / 255)
            assert all(contrast(colour, under) >= (7 if colour == look.ink else 4.5) for colour in those)
            assert contrast(fill, look.ground) > 1.05
        for channel in ("L", "R"):
            under = mix(there.room, footage, 1 - plate_opacity(look) / 255)
            assert contrast(there.channel_on(channel, "room"), under) >= 4.5
    assert there.curve("L", "now") == look.left
    assert there.curve("L", "before") != look.left


# ------------------------------------------------------------------ measured on composited pixels


def without(items):
    """What texts and curves stand on."""
    return [item for item in items if isinstance(item, Area) and item.kind in ("band", "room")]


@cache
def overlaid(name, look_name, shape_name):
    """Shapes, their overlay, and the plate that they stand on."""
    look, shape = LOOKS[look_name], SHAPES[shape_name]
    items = laid(name, look, shape_name)
    pixels = draw_overlay(items, look, shape.width, shape=shape).copy()
    ground = draw_plate(plate_regions(items, shape), look, shape.width, (0, shape.height), shape)
    under = paint(without(items), ground, shape.width, shape=shape).copy()
    under[..., 3] = ground[..., 3]
    return items, pixels, under


@pytest.mark.parametrize("footage", FOOTAGE)
@pytest.mark.parametrize(("name", "look_name", "shape"), EVERY)
def test_every_text_and_curve_can_be_read(name, look_name, shape, footage):
    items, pixels, ground = overlaid(name, look_name, shape)
    look, alpha = LOOKS[look_name], ground[..., 3]
    seen, under = over(pixels, FOOTAGE[footage]), over(ground, FOOTAGE[footage])
    looked_at = 0
    for item in items:
        if isinstance(item, Text):
            box = item.box
            least = 7 if item.colour == look.ink else 4.5
            rows, columns = np.mgrid[int(box.top) : int(box.bottom) + 1, int(box.left) : int(box.right) + 1]
            assert (alpha[rows, columns] == plate_opacity(look)).all(), item.text
        elif isinstance(item, Stroke) and item.kind == "curve":
            least = 3
            points = np.asarray(item.points)[np.isfinite(item.points).all(axis=1)]
            x, y = np.rint(points).astype(int).T.clip(0)
            rows, columns = np.minimum(y, len(pixels) - 1), np.minimum(x, pixels.shape[1] - 1)
        else:
            continue
        rows, columns = rows.ravel(), columns.ravel()
        inked = (seen[rows, columns] == codes(item.colour)).all(axis=1)
        assert inked.any(), item
        assert ratios(seen[rows, columns][inked], under[rows, columns][inked]).min() >= least
        looked_at += 1
    assert looked_at > 5


@pytest.mark.parametrize(("name", "look_name", "shape"), EVERY)
def test_laid_over_footage_it_is_as_if_drawn_there(name, look_name, shape):
    """No fringe anywhere: painting on the plate and then mixing is the same as mixing and then painting."""
    items, pixels, ground = overlaid(name, look_name, shape)
    fills = without(items)
    shapes = [item for item in items if not any(item is fill for fill in fills)]
    footage = np.random.default_rng(4).integers(0, 256, (*pixels.shape[:2], 3), dtype=np.uint8)
    mixed_first = np.full_like(ground, 255)
    mixed_first[..., :3] = over(ground, footage)
    drawn = paint(shapes, mixed_first, pixels.shape[1], shape=SHAPES[shape])[..., :3].astype(np.int16)
    assert np.abs(over(pixels, footage) - drawn).max() <= 3


@pytest.mark.parametrize("footage", [255, 100])
def test_the_edge_of_a_curve_lies_between_the_curve_and_what_is_under_it(footage):
    look = LOOKS["lamplight"]
    curve = Stroke("curve", ((200.0, 300.0), (900.0, 411.0), (1700.0, 800.0)), look.left, 6.0, part="curve")
    pixels = draw_overlay([curve], look, 1920)
    under = over(draw_plate(plate_regions([curve]), look, 1920, (0, 1080)), footage)
    seen = over(pixels, footage)
    colour = codes(look.left)
    assert (seen >= np.minimum(under, colour) - 1).all()
    assert (seen <= np.maximum(under, colour) + 1).all()
    assert (seen == colour).all(axis=-1).sum() > 1500 * 4


def test_the_canvas_keeps_colours_apart_from_their_alpha():
    """Drawn on nothing at all, a shape's edge has the shape's colour; only its alpha falls."""
    colour = "#ffd98a"
    nothing = np.zeros((1080, 1920, 4), dtype=np.uint8)
    curve = Stroke("curve", ((200.0, 300.0), (900.0, 411.0)), colour, 6.0)
    text = Text("0.026 %", 300.0, 700.0, 90.0, colour, "bold", Box(300, 600, 700, 700), "")
    pixels = paint([curve, text], nothing, 1920)
    alpha = pixels[..., 3]
    edge = (alpha > 0) & (alpha < 255)
    assert edge.sum() > 1000
    assert (alpha == 255).sum() > 3000
    off = np.abs(pixels[alpha > 0][:, :3] - codes(colour))
    # a colour in eight bits is rounded once for each shape that touches the pixel: less, the more of it there is
    assert (off.max(axis=1) * alpha[alpha > 0] <= 255).all()


def test_what_is_clear_has_the_colour_of_the_ground():
    """So that a picture scaled by a program that mixes straight colours has no other colour at its edges."""
    look = LOOKS["brochure"]
    pixels = draw_overlay(laid("table", look, "tall"), look, 720, shape=SHAPES["tall"])
    clear = pixels[..., 3] == 0
    assert clear.sum() > 50_000
    assert (pixels[clear][:, :3] == codes(look.ground)).all()


# ------------------------------------------------------------------ the plate's shape


def test_the_edge_is_soft_and_the_corner_round():
    look = LOOKS["lamplight"]
    alpha = draw_plate([Box(500, 400, 900, 600)], look, 1920, (0, 1080))[..., 3].astype(int)
    assert (alpha[400:600, 500:900] == plate_opacity(look)).all()
    across = alpha[500]
    assert 0 < np.diff(across).max() <= 12  # no step that would be seen as a line
    assert (np.diff(across[:700]) >= 0).all()
    assert (across[:700] == across[::-1][1920 - 1400 : 1920 - 700]).all()
    assert alpha[343, 700] == alpha[500, 443] == 0
    assert alpha[370, 470] < alpha[500, 470]


def test_a_plate_may_reach_over_the_frame_and_be_a_part_of_it():
    look = LOOKS["lamplight"]
    boxes = [Box(-50, -50, 30, 30), Box(1800, 1000, 2000, 1100), Box(600, 500, 610, 502)]
    whole = draw_plate(boxes, look, 1920, (0, 1080))
    assert whole[0, 0, 3] == whole[-1, -1, 3] == plate_opacity(look)
    assert (draw_plate(boxes, look, 1920, (720, 1080)) == whole[720:]).all()


def text_at(left, top, right, baseline):
    return Text("x", left, baseline, 40.0, "#ffffff", "regular", Box(left, top, right, baseline + 8), "")


def test_what_is_close_together_shares_a_plate_and_footage_shows_between_the_rest():
    near = [text_at(300, 300, 700, 340), text_at(320, 480, 900, 520)]
    assert plate_regions(near) == (Box(300, 300, 900, 520),)
    far = [text_at(400, 800, 800, 840)]
    assert plate_regions([*near, *far]) == (Box(300, 300, 900, 520), Box(400, 800, 800, 840))
    assert plate_regions([]) == ()


@pytest.mark.parametrize("name", SHAPES)
def test_a_plate_goes_over_an_edge_that_is_near(name):
    """Else a mere strip of footage would be left there."""
    shape = SHAPES[name]
    (box,) = plate_regions([text_at(90, 60, shape.width - 90, 100)], shape)
    assert box.left < -60
    assert box.top < -60
    assert box.right > shape.width + 60
    assert box.bottom == 100


def test_the_lower_part_of_a_tall_frame_is_clear():
    shape = SHAPES["tall"]
    alpha = draw_overlay(laid("pair", LOOKS["lamplight"], "tall"), LOOKS["lamplight"], 1080, shape=shape)[..., 3]
    assert not alpha[1720:].any()
    assert alpha[400:1500].min() == plate_opacity(LOOKS["lamplight"])


def test_the_makers_band_colours_the_plate_and_makes_it_no_denser():
    look = LOOKS["lamplight"]
    band = Area("band", ((300, 400), (900, 400), (900, 600), (300, 600)), look.band)
    around = [
        Stroke("grid", ((200, 300), (1000, 300)), look.rule, 2.0),
        Stroke("grid", ((200, 700), (1000, 700)), look.rule, 2.0),
    ]
    pixels = draw_overlay([band, *around], look, WIDE.width)
    assert (pixels[410:590, 310:890, :3] == codes(look.band)).all()
    assert (pixels[400:600, 300:900, 3] == plate_opacity(look)).all()


# ------------------------------------------------------------------ as a file


@pytest.mark.parametrize("width", [1280, 1920])
def test_the_png_holds_every_pixel(width):
    look = LOOKS["lamplight"]
    items = laid("response", look)
    image = Image.open(io.BytesIO(encode_overlay(items, look, width)))
    assert (image.mode, image.size, image.info) == ("RGBA", (width, width * 9 // 16), {})
    assert (np.asarray(image) == draw_overlay(items, look, width)).all()


@pytest.mark.parametrize(
    ("name", "kind"), [("wide", "overlays"), ("tall", "tall-overlays"), ("square", "square-overlays")]
)
def test_an_overlay_is_drawn_when_asked_for(name, kind):
    order = Order(LOOKS["lamplight"], 1280, shapes=(name,))
    cards = kind.replace("overlays", "cards")
    assert set(draw_pictures(SAMPLES["response"], order)) == {cards}
    drawn = draw_pictures(SAMPLES["response"], replace(order, overlay=True))
    assert set(drawn) == {cards, kind}
    image = Image.open(io.BytesIO(drawn[kind]))
    assert (image.mode, image.size) == ("RGBA", (SHAPES[name].width * 2 // 3, SHAPES[name].height * 2 // 3))
    assert len(texts(laid("response", LOOKS["lamplight"], name))) > 5
