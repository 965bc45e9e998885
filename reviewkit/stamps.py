"""Telling whether files are as they were: by a look at sizes and times, by their content where that leaves a doubt."""

from __future__ import annotations

import hashlib
import os
import stat
from functools import lru_cache
from pathlib import Path

from reviewkit import inside

Stamp = tuple[int, ...]
_SECOND_NS = 1_000_000_000
# How much later than a file's last change it must have been looked at, for the look to be worth something: a change
# within the same tick of the file system's clock would leave the same times behind. Systems that keep whole seconds
# keep every other one at worst.
_TICK_NS, _COARSE_TICK_NS = 20_000_000, 2 * _SECOND_NS


def stamp(path: Path) -> Stamp:
    """What tells a file from the one that was there before without reading it: inode, size, time of its content and of
    its entry, in ns; () where there is no file.
    """
    try:
        found = path.stat()
    except (OSError, ValueError):
        return ()
    if not stat.S_ISREG(found.st_mode):
        return ()
    return (found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)


def stamps(folder: Path) -> tuple[tuple[str, Stamp], ...]:
    """The stamps of all files of a folder and those within it, in order of their names; none where the folder is a link
    that leads out of the one around it, which may be to anything.
    """
    if inside.is_outside(folder.parent, folder.name):
        return ()
    places = sorted(Path(place) / name for place, _, names in os.walk(folder) for name in names)
    return tuple((str(place.relative_to(folder)), found) for place in places if (found := stamp(place)))


def is_settled(found: Stamp, looked_ns: int) -> bool:
    """Whether a change after the look must show in the stamp. A clock that was put back leaves a doubt, never a wrong
    yes: what counts is that the file's own times lie well before the look.
    """
    if not found:
        return True
    coarse = all(when % _SECOND_NS == 0 for when in found[2:])
    return looked_ns - max(found[2:]) > (_COARSE_TICK_NS if coarse else _TICK_NS)


def digest(path: Path) -> str:
    """What tells a file's content from any other; "" where there is no file that can be read."""
    return _digest(path, stamp(path))


@lru_cache(maxsize=4096)
def _digest(path: Path, found: Stamp) -> str:
    """`found`: the file's stamp, so that a file that was written to is read again."""
    if not found:
        return ""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
