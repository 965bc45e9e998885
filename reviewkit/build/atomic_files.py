"""Files written next to their place, flushed, and moved in: a reader gets the old one or the new one, complete."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path

from reviewkit.model.errors import CannotFinish

_INCOMING = ".incoming-"  # then the number of the process, then, for a single file, its name


def incoming_place(folder: Path, name: str = "") -> Path:
    """Return the folder in which this process puts what will be moved into a folder."""
    return folder / f"{_INCOMING}{os.getpid()}{f'-{name}' if name else ''}"


def write_whole(place: Path, content: bytes) -> None:
    """Put one file in its place, complete or not at all.

    Raises
    ------
    CannotFinish
        If it can't be written.
    """
    new = incoming_place(place.parent, place.name)
    try:
        sweep(place.parent, name=place.name)
        write_flushed(new, content)
        os.replace(new, place)  # noqa: PTH105
    except OSError as error:
        with suppress(OSError):
            new.unlink(missing_ok=True)
        raise CannotFinish(f"{place}: {error.strerror or error}") from error


def write_flushed(place: Path, content: bytes | Path) -> None:
    """Write a file that nobody reads yet, and flush it to the disk. `content`: its bytes; or a file, which is moved."""
    place.parent.mkdir(parents=True, exist_ok=True)
    if isinstance(content, Path):
        os.replace(content, place)  # noqa: PTH105
    with place.open("rb+" if isinstance(content, Path) else "wb") as file:
        if not isinstance(content, Path):
            file.write(content)
            file.flush()
        os.fsync(file.fileno())


def sweep(folder: Path, used: Collection[Path] = (), *, name: str = "") -> None:
    """Remove what processes that were killed left in a folder; those still running keep theirs. `name`: of the single
    file that they were to write there, else what they were to move in together.
    """
    ending = re.escape(f"-{name}" if name else "")
    for left in folder.glob(f"{_INCOMING}*"):
        pid = re.fullmatch(rf"{re.escape(_INCOMING)}([0-9]+){ending}", left.name)
        if pid and left not in used and not _alive(int(pid[1])):
            with suppress(OSError):
                shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()


def _alive(pid: int) -> bool:
    """Return whether another process with this number runs.

    If it isn't safe to ask (Windows), assume so.
    """
    if os.name == "nt":
        return True
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return pid != os.getpid()
