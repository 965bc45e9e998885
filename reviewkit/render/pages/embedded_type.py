"""The page's type, as small as a page needs it: Source Sans Pro with the letters of Europe's Latin, as WOFF."""

from __future__ import annotations

import io
from functools import cache
from importlib.util import find_spec

WEIGHTS = {400: "SourceSansPro", 700: "SourceSansProBold", 900: "SourceSansProBlack"}
_RANGES = ((0x20, 0x7F), (0xA0, 0x180), (0x2010, 0x2027))  # Latin, and the dashes and quotation marks
_SIGNS = "‹›€−×±≈≤≥∞√→←↑↓ΔΩμπ′″"  # other letters come from the reader's own type
# Tables that a page does without: hints, names, and what moves or replaces letters. The cards have no kerning either,
# and to reduce its tables would take six times as long as all the rest; accented letters are letters of their own.
_LEFT_OUT = ["name", "GPOS", "GSUB", "GDEF"]


def installed_type() -> tuple[str, ...]:
    """Return the names in WEIGHTS; none if the type isn't installed."""
    return tuple(WEIGHTS.values()) if find_spec("font_source_sans_pro") else ()


@cache
def subset_type(name: str) -> bytes:
    """Return the WOFF file of one of WEIGHTS.

    The same versions of type and library give the same bytes.
    """
    import font_source_sans_pro  # type: ignore[import-untyped]
    from fontTools import subset  # type: ignore[import-untyped]
    from fontTools.ttLib import newTable  # type: ignore[import-untyped]

    options = subset.Options(flavor="woff", hinting=False, layout_features=[], recalc_timestamp=False)
    options.drop_tables += _LEFT_OUT
    codes = (code for first, end in _RANGES for code in range(first, end))
    file = io.BytesIO()
    with subset.load_font(str(font_source_sans_pro.font_files_ttf[name]), options) as font:
        reduced = subset.Subsetter(options)
        reduced.populate(unicodes=[*codes, *map(ord, _SIGNS)])
        reduced.subset(font)
        font["name"] = newTable("name")  # browsers refuse a file without one
        font["name"].names = []
        subset.save_font(font, file, options)
    return file.getvalue()
