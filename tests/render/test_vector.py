"""Cards as SVG: their shapes and letters, and the address that carries them."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from card_samples import SAMPLES
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.paint import SCALE, Letter, place_letters
from reviewkit.render.cards.scene import Area, Stroke, Text
from reviewkit.render.cards.shape import SQUARE, WIDE
from reviewkit.render.cards.vector import _outline, as_address, encode_svg

GROUND = LOOKS["brochure"].ground
CARDS = ("crosstalk", "score", "hunt")


@pytest.mark.parametrize("shape", [WIDE, SQUARE], ids=lambda shape: shape.name)
@pytest.mark.parametrize("name", CARDS)
def test_a_file_holds_each_shape_and_each_letter_once(name, shape):
    items = lay_out(SAMPLES[name], "brochure", shape)
    svg = encode_svg(items, GROUND, shape)
    assert svg == encode_svg(items, GROUND, shape)
    root = ET.fromstring(svg)
    assert root.get("viewBox") == f"0 0 {10 * shape.width} {10 * shape.height}"
    space = "{http:" + "//www.w3.org/2000/svg}"
    defined = [path.get("id") for path in root.find(f"{space}defs")]
    used = [use.get("href")[1:] for use in root.iter(f"{space}use")]
    assert sorted(set(used), key=int) == defined
    letters = [
        (text.weight, letter.name)
        for text in items
        if isinstance(text, Text)
        for letter in place_letters(text.text, text.weight, ("", ""))
        if len(letter.outline)
    ]
    assert len(used) == len(letters) > 50
    assert len(defined) == len(set(letters))
    paths = list(root.find(f"{space}g").findall(f"{space}path"))
    assert len(paths) == 1 + sum(isinstance(item, Stroke | Area) for item in items)


def points_of(path: str) -> list[tuple[float, float]]:
    """The points at which the parts of a path end, after the grammar of SVG 2, 9.3 (from memory)."""
    found, x, y, start = [], 0.0, 0.0, (0.0, 0.0)
    for letter, numbers in re.findall(r"([MlhvqtczL])([^A-Za-z]*)", path):
        values = [float(n) for n in re.findall(r"-?\d+", numbers)]
        if letter == "M":
            x, y = values
            start = (x, y)
        elif letter == "h":
            x += values[0]
        elif letter == "v":
            y += values[0]
        elif letter == "z":
            x, y = start
        else:
            x, y = x + values[-2], y + values[-1]
        found.append((x, y))
    return found


@pytest.mark.parametrize("weight", ["light", "regular", "bold", "black"])
def test_an_outline_ends_its_parts_where_the_font_does(weight):
    for letter in place_letters("aBg8%Ωµ−,", weight, ("", "")):
        ends, codes = [], iter(zip(letter.codes, letter.outline, strict=True))
        for code, point in codes:
            end = next(codes)[1] if code == 3 else point  # a curve's own point comes before its end
            ends += [tuple(np.rint(end * 10))] if code != 79 else []
        assert len(ends) > 3
        assert [point for point in points_of(_outline(letter)) if point in ends] != []
        assert set(ends) <= set(points_of(_outline(letter)))


def test_a_cubic_outline_is_written_too():
    """Letters of an OpenType font with PostScript outlines: code 4 of a path takes three points."""
    points = np.array([(0.0, 0.0), (1.0, 2.0), (3.0, 2.0), (4.0, 0.0), (0.0, 0.0)])
    letter = Letter("x", 0.0, 0.0, points, np.array([1, 4, 4, 4, 79], dtype=np.uint8))
    assert _outline(letter) == "M0 0c10 20 30 20 40 0z"
    assert SCALE == 100.0


@given(st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)), min_size=2, max_size=20))
def test_a_line_is_within_a_twentieth_of_a_pixel_of_its_points(points):
    stroke = Stroke("curve", np.array([*points, (np.nan, np.nan), points[0]]), "#000000", 3.0)
    svg = encode_svg([stroke], "#ffffff", WIDE).decode()
    (path,) = re.findall(r"stroke-linecap='round' d='([^']*)'", svg)
    line, dot = re.findall("M[^M]*", path)
    x, y = (float(n) for n in re.findall(r"-?\d+", dot))
    assert max(abs(x / 10 - points[0][0]), abs(y / 10 - points[0][1])) <= 0.0501
    numbers = [float(n) for n in re.findall(r"-?\d+", line)]
    ends = np.cumsum(np.reshape(numbers, (-1, 2)), axis=0) / 10
    for point in points:
        assert np.abs(ends - point).max(axis=1).min() <= 0.0501


def test_an_address_has_nothing_that_parts_a_list_or_ends_an_attribute():
    address = as_address(encode_svg(lay_out(SAMPLES["crosstalk"], "brochure"), GROUND, WIDE))
    assert not re.search(r"[\s\"#]|%(?!2[035])", address.removeprefix("data:image/svg+xml,"))
