"""Single readings → Sheet."""

from __future__ import annotations

from pathlib import Path

from reviewkit.model import Sheet


def read_readings(path: Path, source: str) -> Sheet:
    """Being written."""
    raise NotImplementedError
