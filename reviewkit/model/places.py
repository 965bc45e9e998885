"""The path of templates/, in the installed package or next to it in a checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]


def templates() -> Path:
    """Return the folder of the shipped templates.

    Raises
    ------
    FileNotFoundError
        If they weren't installed with the program.
    """
    for folder in (_PACKAGE / "_templates", _PACKAGE.parent / "templates"):
        if folder.is_dir():
            return folder
    raise FileNotFoundError("the templates were not installed with the program; install it again")
