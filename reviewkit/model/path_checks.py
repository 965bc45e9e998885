"""Path checks: whether a path leads to a file inside a folder, links followed. A session may come from a stranger."""

from __future__ import annotations

import os
from pathlib import Path

OUTSIDE = "leads outside"
A_FOLDER = "is a folder"
NO_FILE = "is not an ordinary file"
ABSENT = "is not there"
LOST = "cannot be followed to a file"


def is_there(place: Path) -> bool:
    """Tell whether anything has this name, even a link to nothing."""
    return os.path.lexists(place)


def flaw(folder: Path, name: str) -> str:
    """Return what keeps a path from being a file in a folder: one of the words above; "" if it is one.

    The target's place is checked first, so that nothing is revealed of what is outside.

    Parameters
    ----------
    folder : Path
        The folder.
    name : str
        Path relative to it.

    Returns
    -------
    str
        OUTSIDE, A_FOLDER, NO_FILE, ABSENT, LOST or "".
    """
    try:
        inside = folder.resolve()
        target = (inside / name).resolve()
        if not target.is_relative_to(inside):
            return OUTSIDE
        if target.is_file():
            return ""
        if target.is_dir():
            return A_FOLDER
        # a pipe, a device or a socket: reading one may never end
        return NO_FILE if target.exists() else ABSENT
    except (OSError, RuntimeError, ValueError):
        # a loop of links, a name too long for the file system or with a sign that it has not, a folder without access
        return LOST


def is_outside(folder: Path, name: str) -> bool:
    """Tell whether a folder's entry leads out of it, or nowhere."""
    return flaw(folder, name) in (OUTSIDE, LOST)


def is_within(place: Path, folder: Path) -> bool:
    """Tell whether a path, which need not exist, is this folder or inside it, links followed."""
    try:
        target, around = place.resolve(), folder.resolve()
        if not folder.exists():
            return target.is_relative_to(around)
        return any(each.exists() and each.samefile(folder) for each in (target, *target.parents))
    except (OSError, RuntimeError, ValueError):
        return False
