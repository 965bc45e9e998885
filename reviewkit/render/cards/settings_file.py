"""A file of settings for the drawing library that lies where the command is run: it may be a stranger's."""

from __future__ import annotations

from pathlib import Path

from reviewkit.model.errors import Fault, InputError

NAME = "matplotlibrc"


def refuse_settings() -> None:
    """Raise InputError where the library would take settings from the folder that the command is run in. Whoever runs
    it in a session's own folder would take a stranger's, and older versions of the library run what they say.
    """
    if Path(NAME).exists() and not Path(NAME).is_dir():
        remedy = "run reviewkit from another folder, or take the file away"
        raise InputError(Fault(NAME, 0, f"holds settings that the drawing library would take up from here; {remedy}"))
