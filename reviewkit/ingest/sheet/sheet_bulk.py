"""Plain rows by a fast parser."""

from __future__ import annotations

import csv
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
    import pandas as pd  # type: ignore[import-untyped]

    blank = separator in (SPACES, WIDE_SPACES)
    if '"' in text or (separator == WIDE_SPACES and _has_single_blanks(text)):
        return None
    end = f"{separator}\n"
    if not blank and text[: text.find("\n") + 1].endswith(end):
        text = text.replace(end, "\n")  # one separator too many at the end of every row
    older = tuple(int(part) for part in pd.__version__.split(".")[:2]) < (3, 1)
    exact = {"float_precision": "round_trip"} if older else {}  # from 3.1 on the default rounds correctly
    try:
        frame = pd.read_csv(
            io.BytesIO(text.encode()),
            sep=r"\s+" if blank else separator,
            decimal=decimal,
            header=None,
            dtype=np.float64,
            na_filter=False,
            quoting=csv.QUOTE_NONE,
            skip_blank_lines=False,
            engine="c",
            low_memory=False,
            **exact,
        )
    except ValueError:
        return None
    values: NDArray[np.float64] = frame.to_numpy()
    whole = values.shape == (text.count("\n") + (text[-1] != "\n"), width)
    return values if whole and np.isfinite(values).all() else None


def _has_single_blanks(text: str) -> bool:
    """Return whether there is a single blank or a tab, which may be part of a cell."""
    signs = np.frombuffer(text.encode("utf-8"), dtype=np.uint8)
    is_blank = signs == ord(" ")
    inside = is_blank[1:-1] & ~is_blank[:-2] & ~is_blank[2:]
    inside &= (signs[:-2] != ord("\n")) & (signs[2:] != ord("\n"))
    return "\t" in text or bool(inside.any())
