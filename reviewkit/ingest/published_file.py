"""published.json → Published: the one file that reviewkit keeps outside out/."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from reviewkit.errors import Fault, InputError
from reviewkit.ingest.plain_text import read_text
from reviewkit.published import FILE_NAME, Published


def read_published(folder: Path) -> Published | None:
    """What the session's folder remembers of its last publication; None where nothing was published."""
    if not (folder / FILE_NAME).exists():
        return None
    return parse_published(read_text(folder / FILE_NAME, FILE_NAME))


def parse_published(text: str) -> Published:
    """What a published.json says. Raises InputError where it is not as it was written."""
    try:
        data = json.loads(text)
        said, corrected = data["said"], data["corrected"]
    except (ValueError, LookupError, TypeError, RecursionError):
        said = corrected = None
    if not _texts(said) or not _texts(corrected):
        remedy = "bring back the file as it was, or delete it and build with --published again"
        raise InputError(Fault(FILE_NAME, 0, f"this is not what reviewkit wrote there; {remedy}"))
    return Published(said, corrected)


def _texts(entries: Any) -> bool:
    return isinstance(entries, dict) and all(isinstance(figure, str) for figure in entries.values())
