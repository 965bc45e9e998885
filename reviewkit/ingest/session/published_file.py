"""published.json → Published: the one file that reviewkit keeps outside out/."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from reviewkit.ingest.plain_text import read_text
from reviewkit.model.errors import refusal
from reviewkit.model.published import FILE_NAME, Published

_HALF_SIGN = re.compile("[\ud800-\udfff]")  # JSON can write half of a sign, and no file can hold it


def read_published(folder: Path) -> Published | None:
    """Return the session folder's record of its last publication; None if nothing was published."""
    if not (folder / FILE_NAME).exists():
        return None
    return parse_published(read_text(folder / FILE_NAME, FILE_NAME))


def parse_published(text: str) -> Published:
    """Return what a published.json says.

    Raises
    ------
    InputError
        The file is not as it was written.
    """
    try:
        data = json.loads(text)
        said, corrected = data["said"], data["corrected"]
    except (ValueError, LookupError, TypeError, RecursionError):
        said = corrected = None
    if not _are_texts(said) or not _are_texts(corrected):
        remedy = "bring back the file as it was, or delete it and build with --published again"
        raise refusal(FILE_NAME, f"this is not what reviewkit wrote there; {remedy}")
    return Published(said, corrected)


def _are_texts(entries: Any) -> bool:
    """Return whether this is a table of figures by their subjects, all in text that can be written back."""
    if not isinstance(entries, dict) or not all(isinstance(figure, str) for figure in entries.values()):
        return False
    return not any(_HALF_SIGN.search(part) for entry in entries.items() for part in entry)
