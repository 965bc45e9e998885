"""A font of the user's own with damaged glyphs: refused by name, or drawn; never an error of the renderer."""

from __future__ import annotations

import contextlib
import math
import struct
import zlib
from pathlib import Path

import font_source_sans_pro
import numpy as np

from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.contact_sheet import draw_contact_sheet, sheet_size
from reviewkit.render.cards.paint import find_font_fault, make_measure
from reviewkit.render.cards.scene import LayoutFault
from reviewkit.render.cards.shape import WIDE

CARD = zlib.compress(bytes(3 * math.prod(sheet_size(WIDE))))
TEXT = "The quick 0.02 % at 12 kHz, ±1 dB, äöü ÅÉ ≤ Ω"


def damaged(data: bytes, random: np.random.Generator) -> bytes:
    """A font with some bytes of one of its tables changed."""
    tables = [struct.unpack(">4sIII", data[12 + 16 * n : 28 + 16 * n]) for n in range(data[5])]
    places = [(offset, length) for tag, _, offset, length in tables if tag in (b"glyf", b"loca", b"fpgm", b"maxp")]
    offset, length = places[random.integers(len(places))]
    changed = bytearray(data)
    for _ in range(int(random.choice([1, 10, 200, 3000]))):
        changed[offset + int(random.integers(length))] = int(random.integers(256))
    return bytes(changed)


def test_a_damaged_font_is_refused_or_drawn(tmp_path):
    whole = Path(str(font_source_sans_pro.font_files_ttf["SourceSansPro"])).read_bytes()
    random = np.random.default_rng(4)
    refused = drawn = 0
    for n in range(80):
        path = tmp_path / f"{n}.ttf"
        path.write_bytes(damaged(whole, random))
        fonts = (str(path), str(path))
        if fault := find_font_fault(str(path)):
            assert fault.startswith(("is damaged: its ", "is not a readable font", "has no "))
            refused += 1
            continue
        with contextlib.suppress(LayoutFault):  # which names what can't be drawn
            make_measure("tone", fonts)(TEXT, 20.0, "regular")
        draw_contact_sheet([("thd-power", CARD)], next(iter(LOOKS.values())), fonts)
        drawn += 1
    assert refused
    assert drawn
