"""Whether what a name leads to lies in a folder and is a file, links followed: a session may come from a stranger."""

from __future__ import annotations

import os
from pathlib import Path

OUTSIDE = "leads outside"
A_FOLDER = "is a folder"
NO_FILE = "is no ordinary file"
ABSENT = "is not there"
LOST = "cannot be followed to a file"


def is_there(place: Path) -> bool:
    """Whether anything goes by this name, a link to nothing too."""
    return os.path.lexists(place)


def flaw(folder: Path, name: str) -> str:
    """What keeps `name`, a path from `folder`, from being a file in it: one of the words above; "" where it is one.

    Where it leads is asked first, so that nothing is told of what lies outside.
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
    """Whether a folder's entry leads out of it, or nowhere at all."""
    return flaw(folder, name) in (OUTSIDE, LOST)


def is_within(place: Path, folder: Path) -> bool:
    """Return whether a place, which need not exist, is this folder or lies in it, links followed."""
    try:
        target, around = place.resolve(), folder.resolve()
        if not folder.exists():
            return target.is_relative_to(around)
        return any(each.exists() and each.samefile(folder) for each in (target, *target.parents))
    except (OSError, RuntimeError, ValueError):
        return False
