"""The fields of an action: texts of a limited length, without control characters."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from typing import Any

from reviewkit.model.errors import refusal

Action = Callable[[dict[str, Any]], Any]  # called with its fields
_LONGEST_TEXT = 2000  # characters of a field
LONGEST_PASTE = 100_000


def text_of(words: dict[str, Any], name: str, longest: int = _LONGEST_TEXT, *, strip: bool = True) -> str:
    """Return a field of an action.

    Raises
    ------
    InputError
        If it isn't a text, is too long, or has a control character.
    """
    value = words.get(name, "")
    if not isinstance(value, str) or len(value) > longest:
        raise refusal(name, f"must be a text of at most {longest} characters")
    if not strip:
        return value
    if any(unicodedata.category(sign) == "Cc" for sign in " ".join(value.split())):
        raise refusal(name, "has a control character; type it again")
    return " ".join(value.split())
