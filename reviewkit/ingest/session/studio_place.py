"""The place of a session's studio.toml, and what keeps it from being used. Imports nothing heavy."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from reviewkit.model import path_checks
from reviewkit.model.digests import file_digest

STUDIO = "studio.toml"
PLACES = (f"../{STUDIO}", f"../../{STUDIO}")  # from the session's folder; the first that is there counts


def place_in(folder: Path, name: str) -> Path:
    """Return the place that a path from a session's folder leads to; the folder need not be there yet."""
    return Path(os.path.normpath(Path(os.path.realpath(folder)) / name))


def find_studio(folder: Path) -> str:
    """Return the path of a session's studio.toml from its folder, whether it may be used or not; "" if it has none."""
    return next((name for name in PLACES if path_checks.is_there(place_in(folder, name))), "")


def studio_flaw(place: Path) -> str:
    """Return why a studio.toml may not be used, and what to do about it; "" if it may."""
    if flaw := path_checks.flaw(place.parent, place.name):
        return (
            f"{flaw} its folder; put it there" if flaw == path_checks.OUTSIDE else f"{flaw}; put the file itself there"
        )
    if os.name == "nt":  # these numbers don't show the owner there
        return ""
    try:
        found = place.stat()
    except OSError as error:
        return f"cannot be looked at: {error.strerror}"
    if found.st_uid != os.getuid():
        return "belongs to another user; copy it, and put the copy in its place"
    if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        return f"can be written by others; chmod go-w {STUDIO}"
    return ""


def studio_digests(folder: Path) -> dict[str, str]:
    """Return what an input's digest is for each studio.toml that is looked for: "" for one that isn't there."""
    looked_for = {}
    for name in PLACES:
        looked_for[name] = input_digest(folder, name)
        if looked_for[name]:
            break
    return looked_for


def input_digest(folder: Path, name: str) -> str:
    """Return the digest of a file that a build reads or looks for, by its path from the session's folder.

    That of a studio.toml that may not be used is the reason, so that a change of its owner is a change.
    """
    if name not in PLACES:
        return file_digest(folder / name)
    place = place_in(folder, name)
    return (studio_flaw(place) or file_digest(place)) if path_checks.is_there(place) else ""
