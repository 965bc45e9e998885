"""Printing where the terminal's encoding lacks a sign: Ω is written ohm, and what has no such spelling is escaped."""

from __future__ import annotations

import codecs
import io
import sys

_NAME = "reviewkit.spelled"
_SPELLINGS = {
    "Ω": "ohm", "µ": "u", "°": " deg", "±": "+/-", "≤": "<=", "≥": ">=", "−": "-", "–": "-", "—": "-", "×": "x",
    "→": "->", "…": "...", "“": '"', "”": '"', "‘": "'", "’": "'", "·": "-", "∞": "inf", "\u00a0": " ", "\u202f": " ",
}  # fmt: skip


def print_anywhere() -> None:
    """Make both outputs write every text, whatever their encoding."""
    codecs.register_error(_NAME, _spelled)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.errors in ("strict", "backslashreplace"):
            stream.reconfigure(errors=_NAME)


def _spelled(error: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return "".join(_SPELLINGS.get(sign, ascii(sign)[1:-1]) for sign in signs), error.end
