"""The contact sheet: all cards of an episode, each with its file name."""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np

from reviewkit.render.cards.colours import Look
from reviewkit.render.cards.paint import Fonts, font_file
from reviewkit.render.cards.png import encode_png
from reviewkit.render.cards.shape import SHAPES, WIDE, Shape

_ACROSS = 4
_GAP, _EDGE = 24, 32
_NAME, _NAME_ROOM = 20, 40


def sheet_size(shape: Shape) -> tuple[int, int]:
    """Return width and height of a card on the sheet, by which every size that a card is drawn at can be divided."""
    divisor = 4 if shape is WIDE else 3
    return shape.width // divisor, shape.height // divisor


def draw_contact_sheet(small: Sequence[tuple[str, bytes]], look: Look, fonts: Fonts, shape: str = WIDE.name) -> bytes:
    """Draw all cards on one sheet, as a PNG.

    Parameters
    ----------
    small : sequence of (str, bytes)
        File name of each card, and its picture as deflated RGB rows of `sheet_size`.
    look : Look
        Colours of the sheet.
    fonts : Fonts
        Font of the names.
    shape : str
        Name of the cards' shape.

    Returns
    -------
    bytes
        The file.
    """
    from PIL import Image, ImageDraw, ImageFont

    wide, high = sheet_size(SHAPES[shape])
    across = min(_ACROSS, max(len(small), 1))
    down = -(-len(small) // across)
    width = 2 * _EDGE + across * wide + (across - 1) * _GAP
    height = 2 * _EDGE + down * (high + _NAME_ROOM) + (down - 1) * _GAP
    # slightly different from the cards' ground, so that their edges show
    sheet = Image.new("RGB", (width, height), look.rule)
    pen = ImageDraw.Draw(sheet)
    font = ImageFont.truetype(font_file(fonts), _NAME)
    for index, (name, rows) in enumerate(small):
        x = _EDGE + index % across * (wide + _GAP)
        y = _EDGE + index // across * (high + _NAME_ROOM + _GAP)
        sheet.paste(Image.frombytes("RGB", (wide, high), zlib.decompress(rows)), (x, y))
        pen.text((x, y + high + 8), name, fill=look.ink, font=font)
    return encode_png(np.asarray(sheet.convert("RGBA")))
