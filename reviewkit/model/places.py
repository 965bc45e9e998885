"""The paths of templates/ and sample_session/, in the installed package or next to it in a checkout."""

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
    return _shipped("templates")


def samples() -> Path:
    """Return the folder of the sample session, with the small ones of other gear in it.

    Raises
    ------
    FileNotFoundError
        If they weren't installed with the program.
    """
    return _shipped("sample_session")


def _shipped(name: str) -> Path:
    for folder in (_PACKAGE / f"_{name}", _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"{name} was not installed with the program; install it again")
