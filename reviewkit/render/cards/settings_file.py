"""A settings file of the drawing library in the current folder: it may be a stranger's."""

from __future__ import annotations

from pathlib import Path

from reviewkit.model.errors import Fault, InputError

NAME = "matplotlibrc"


def refuse_settings() -> None:
    """Refuse to run in a folder from which the drawing library would take its settings.

    In a session's own folder they could be a stranger's, and older versions of the library execute parts of them.

    Raises
    ------
    InputError
        If there is such a file.
    """
    if Path(NAME).exists() and not Path(NAME).is_dir():
        remedy = "run reviewkit from another folder, or remove the file"
        raise InputError(Fault(NAME, 0, f"has settings that the drawing library would read from here; {remedy}"))
