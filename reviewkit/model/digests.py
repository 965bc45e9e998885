"""Digests of files and data, which identify their content."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from pathlib import Path

from reviewkit.model import path_checks


def digest_of(content: bytes) -> str:
    """Return the digest of some bytes."""
    return hashlib.sha256(content).hexdigest()


def file_digest(path: Path) -> str:
    """Return the digest of a file's content; "" if there is no regular file that can be read."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):  # a pipe would block
            return ""
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError):
        return ""


def files_in(folder: Path) -> Iterator[str]:
    """Yield the paths of all files in a folder and its subfolders, relative to it, in order.

    Yields nothing if the folder is a link that leads out of the one around it.
    """
    if path_checks.is_outside(folder.parent, folder.name):
        return
    places = ((Path(place).relative_to(folder).parts, names) for place, _, names in os.walk(folder))
    yield from map("/".join, sorted((*parts, name) for parts, names in places for name in names))
