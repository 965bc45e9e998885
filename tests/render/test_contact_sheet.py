import io
import zlib

import numpy as np
import pytest
from PIL import Image

from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.contact_sheet import draw_contact_sheet, sheet_size
from reviewkit.render.cards.paint import NO_FONTS
from reviewkit.render.cards.shape import SHAPES, WIDE

SMALL, HIGH = sheet_size(WIDE)


def plain(shade, width=SMALL, height=HIGH):
    return zlib.compress(bytes([shade]) * (width * height * 3))


def shade(number):
    return 61 + 5 * number


def sheet_of(number, look="lamplight"):
    cards = [(f"{at:02d}-card.png", plain(shade(at))) for at in range(number)]
    return np.asarray(Image.open(io.BytesIO(draw_contact_sheet(cards, LOOKS[look], NO_FONTS))).convert("RGB")).astype(
        int
    )


@pytest.mark.parametrize(("number", "look"), [(1, "lamplight"), (4, "brochure"), (9, "lamplight")])
def test_every_card_stands_on_the_sheet_whole_once_and_in_order(number, look):
    sheet = sheet_of(number, look).astype(np.int16)
    seen = []
    for at in range(number):
        rows, columns = np.nonzero((np.abs(sheet - shade(at)) <= 2).all(axis=2))  # a palette is off by two at most
        assert len(rows) == pytest.approx(SMALL * HIGH, rel=0.01)  # letters' edges may have a card's shade
        seen.append((int(np.median(rows)), int(np.median(columns))))
    across = min(number, 4)
    assert seen[:across] == sorted(seen[:across], key=lambda place: place[1])
    assert all(one[0] < other[0] for one, other in zip(seen, seen[4:], strict=False))


def test_a_name_stands_under_each_card():
    with_name, without = sheet_of(1), sheet_of(2)[:, : SMALL + 64]
    under = slice(32 + HIGH + 4, 32 + HIGH + 40)
    assert (with_name[under] != with_name[-2, -2]).any()
    assert (without[under] == with_name[under]).mean() > 0.9


@pytest.mark.parametrize("name", SHAPES)
def test_cards_of_every_shape_are_whole_on_the_sheet(name):
    shape = SHAPES[name]
    width, height = sheet_size(shape)
    assert width * shape.height == height * shape.width
    for scale in (1, 2):  # of 1080 and 2160 lines: whole blocks of pixels are averaged
        assert shape.width * scale % width == 0
    cards = [("01-card.png", plain(shade(1), width, height))]
    drawn = Image.open(io.BytesIO(draw_contact_sheet(cards, LOOKS["lamplight"], NO_FONTS, name))).convert("RGB")
    seen = (np.abs(np.asarray(drawn).astype(int) - shade(1)) <= 2).all(axis=2)
    rows, columns = np.nonzero(seen)
    assert (np.ptp(rows) + 1, np.ptp(columns) + 1) == (height, width)
