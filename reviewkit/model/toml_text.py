"""Lines of session.toml that a message suggests, as TOML wants them."""

from __future__ import annotations

import json
from collections.abc import Mapping


def quoted(key: str) -> str:
    """Return a key, in quotation marks if it needs them."""
    return f'"{key}"' if " " in key else key


def inline_table(pairs: Mapping[str, str | int]) -> str:
    """Return a table in braces: "{ left = 1, frequency = "Hz" }"."""
    values = (f"{quoted(key)} = {json.dumps(value, ensure_ascii=False)}" for key, value in pairs.items())
    return "{ " + ", ".join(values) + " }"
