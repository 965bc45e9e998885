"""Cards as SVG, for the page: sharp at any size. Letters are outlines, each of which a file has once.

SVG 2 (W3C). Coordinates are whole tenths of a pixel of the frame, relative to the point before.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.cards.paint import NO_FONTS, SCALE, Fonts, Letter, place_letters
from reviewkit.render.cards.scene import Area, Item, Picture, Text
from reviewkit.render.cards.shape import Shape

if TYPE_CHECKING:
    from reviewkit.render.cards.scene import Points

_PER_PIXEL = 10
_PER_SCALE = 10  # units of a letter's outline: 1000 in an em
_MOVE, _LINE, _CURVE, _CUBIC, _CLOSE = 1, 2, 3, 4, 79  # matplotlib's codes of a path
_NEAR = 1  # units by which a curve's point may be off if it is left to follow from the one before


def encode_svg(items: Sequence[Item], ground: str, shape: Shape, fonts: Fonts = NO_FONTS) -> bytes:
    """Encode coloured shapes as an SVG file. The same shapes give the same bytes.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        Shapes in drawing order, in pixels of the frame. Pictures of the user's own are left out.
    ground : str
        The colour under them.
    shape : Shape
        The frame.
    fonts : Fonts
        The user's fonts, if any.

    Returns
    -------
    bytes
        The file. It has no double quotation marks, so that an address can carry it.
    """
    letters = _Letters(fonts)
    drawn = "".join(_element(item, letters) for item in items if not isinstance(item, Picture))
    width, height = shape.width * _PER_PIXEL, shape.height * _PER_PIXEL
    size = f"width='{shape.width}' height='{shape.height}' viewBox='0 0 {width} {height}'"
    under = f"<path fill='{ground}' d='M0 0h{width}v{height}H0z'/>"
    body = f"<g stroke-linejoin='round' stroke-width='0'>{under}{drawn}</g>"
    return f"<svg xmlns='http://www.w3.org/2000/svg' {size}><defs>{letters.outlines()}</defs>{body}</svg>".encode()


class _Letters:
    """The letters of a file, numbered as they come."""

    def __init__(self, fonts: Fonts) -> None:
        self._fonts = fonts
        self._numbers: dict[tuple[str, str], int] = {}

    def line(self, text: Text) -> str:
        """Return a line of text: its letters side by side, y upwards."""
        known, uses = _written(text.weight, self._fonts), []
        for letter in place_letters(text.text, text.weight, self._fonts):
            if letter.name not in known:
                known[letter.name] = _outline(letter)
            if known[letter.name]:
                number = self._numbers.setdefault((text.weight, letter.name), len(self._numbers))
                raised = f" y='{round(letter.y * _PER_SCALE)}'" if letter.y else ""
                uses.append(f"<use href='#{number}' x='{round(letter.x * _PER_SCALE)}'{raised}/>")
        size = text.size * _PER_PIXEL / (SCALE * _PER_SCALE)
        at = f"{round(text.x * _PER_PIXEL)} {round(text.baseline * _PER_PIXEL)}"
        return f"<g fill='{text.colour}' transform='matrix({size:g} 0 0 {-size:g} {at})'>{''.join(uses)}</g>"

    def outlines(self) -> str:
        """Return the outlines of all letters used."""
        known = ((number, _written(weight, self._fonts)[name]) for (weight, name), number in self._numbers.items())
        return "".join(f"<path id='{number}' d='{outline}'/>" for number, outline in known)


@cache
def _written(weight: str, fonts: Fonts) -> dict[str, str]:
    """Return the outlines that are written already, by the letter's name."""
    return {}


def _element(item: Item, letters: _Letters) -> str:
    if isinstance(item, Text):
        return letters.line(item)
    if isinstance(item, Area):
        return f"<path fill='{item.colour}' d='{_lines(item.points)}z'/>"
    dash = ""
    if item.dash is not None:
        dash = f" stroke-dasharray='{' '.join(str(round(part * _PER_PIXEL)) for part in item.dash)}'"
    elif item.kind == "curve":
        dash = " stroke-linecap='round'"
    width = round(item.width * _PER_PIXEL)
    return f"<path fill='none' stroke='{item.colour}' stroke-width='{width}'{dash} d='{_lines(item.points)}'/>"


def _lines(points: Points) -> str:
    """Return the path of a line; NaN rows separate its parts."""
    written = []
    whole = np.asarray(points, dtype=np.float64) * _PER_PIXEL
    breaks = np.flatnonzero(~np.isfinite(whole).all(axis=1))
    for part in np.split(whole, breaks):
        corners = np.rint(part[np.isfinite(part).all(axis=1)]).astype(int)
        if len(corners):
            steps = np.diff(corners, axis=0)
            moves = steps[steps.any(axis=1)].ravel().tolist()
            written.append(f"M{_numbers(corners[0].tolist())}{'l' if moves else ''}{_numbers(moves)}")
    return "".join(written)


def _outline(letter: Letter) -> str:
    """Return the path of a letter, with the shorter forms of straight lines and of curves that go on smoothly."""
    places = [(x, y) for x, y in np.rint(letter.outline * _PER_SCALE).astype(int).tolist()]
    written, codes = list[str](), letter.codes.tolist()
    here, turn, index = (0, 0), (0, 0), 0  # turn: where the last curve's point lies from its end, mirrored
    while index < len(codes):
        code, place = codes[index], places[index]
        step = (place[0] - here[0], place[1] - here[1])
        if code == _CLOSE:
            written.append("z")
            index += 1
            continue
        if code == _MOVE:
            written.append(f"M{_numbers(place)}")
        elif code == _LINE:
            written.append(f"h{step[0]}" if not step[1] else f"v{step[1]}" if not step[0] else f"l{_numbers(step)}")
        elif code == _CURVE:
            index += 1
            end = places[index]
            whole = (end[0] - here[0], end[1] - here[1])
            smooth = turn != (0, 0) and max(abs(step[0] - turn[0]), abs(step[1] - turn[1])) <= _NEAR
            written.append(f"t{_numbers(whole)}" if smooth else f"q{_numbers((*step, *whole))}")
            point = turn if smooth else step
            turn, here = (whole[0] - point[0], whole[1] - point[1]), end
            index += 1
            continue
        elif code == _CUBIC:
            other, place = places[index + 1 : index + 3]
            ends = (other[0] - here[0], other[1] - here[1], place[0] - here[0], place[1] - here[1])
            written.append(f"c{_numbers((*step, *ends))}")
            index += 2
        here, turn = place, (0, 0)
        index += 1
    return "".join(written)


def _numbers(values: Iterable[int]) -> str:
    """Return numbers with as little between them as can be."""
    return " ".join(map(str, values)).replace(" -", "-")


def as_address(svg: bytes) -> str:
    """Return an SVG file as a `data:` address without spaces or quotation marks, also for `srcset`."""
    text = svg.decode().replace("%", "%25").replace("#", "%23").replace(" ", "%20")
    return f"data:image/svg+xml,{text}"
