"""Paths of templates/ and sample_session/, in the installed package or next to it in a checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]


def templates() -> Path:
    """Return the folder of the shipped templates."""
    return _travelling("_templates", "templates")


def sample_session() -> Path:
    """Return the folder of the invented sample session."""
    return _travelling("_sample_session", "sample_session")


def _travelling(installed: str, checkout: str) -> Path:
    for folder in (_PACKAGE / installed, _PACKAGE.parent / checkout):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"{checkout} did not travel with the program; install it again")
