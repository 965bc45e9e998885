"""Plain rows by a fast parser."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.ingest.sheet.sheet_text import SPACES, WIDE_SPACES

if TYPE_CHECKING:
    from numpy.typing import NDArray


def parse_plain_rows(text: str, separator: str, width: int, decimal: str) -> NDArray[np.float64] | None:
    """Return the numbers of rows that hold nothing else, or None if a line is, or may be, anything other than that.

    Parameters
    ----------
    text
        Whole lines.
    separator, width, decimal
        What sets the cells apart, how many a row has, and their decimal mark.

    Returns
    -------
    numpy.ndarray or None
        Shape (lines, width), correctly rounded.

    Notes
    -----
    The parser gives up wherever it could read otherwise than cell by cell: at a missing value, another decimal mark, a
    mark between thousands, a cell too many or too few, a quoted cell, a comment, a blank line.
    """
    blank = separator in (SPACES, WIDE_SPACES)
    if '"' in text or (separator == WIDE_SPACES and _has_single_blanks(text)):
        return None
    if decimal == ",":
        if "." in text:  # which may set thousands apart
            return None
        text = text.replace(",", ".")
    end = f"{separator}\n"
    if not blank and text[: text.find("\n") + 1].endswith(end):
        text = text.replace(end, "\n")  # one separator too many at the end of every row
    lines = text.count("\n") + (text[-1] != "\n")
    try:
        values = np.loadtxt(io.StringIO(text), delimiter=None if blank else separator, comments=None, ndmin=2)
    except ValueError:
        return None
    whole = values.shape == (lines, width)  # blank lines are left out
    return values if whole and np.isfinite(values).all() else None


def _has_single_blanks(text: str) -> bool:
    """Return whether there is a single blank or a tab, which may be part of a cell."""
    signs = np.frombuffer(text.encode("utf-8"), dtype=np.uint8)
    is_blank = signs == ord(" ")
    inside = is_blank[1:-1] & ~is_blank[:-2] & ~is_blank[2:]
    inside &= (signs[:-2] != ord("\n")) & (signs[2:] != ord("\n"))
    return "\t" in text or bool(inside.any())
