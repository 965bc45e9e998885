"""Paths named in session.toml: they stay inside the session's folder, and the file is there."""

from __future__ import annotations

import difflib
import re
from pathlib import Path

from reviewkit.ingest.session_values import written


def path_fault(folder: Path, name: str, key: str) -> str:
    """What is wrong with a path in the session's folder, ready to print; "" where it names a file inside it.

    Symbolic links are followed before the path is judged: a link that leads outside is refused like any other way out.
    """
    stated = f"{key} = {written(name)}"
    if "\\" in name:
        return f"{stated} holds a backslash; write / between the parts of a path"
    if name.startswith(("/", "~")) or re.match(r"[A-Za-z]:", name):
        return f"{stated} does not start in the session's folder; copy the file there and write its path from there"
    try:
        inside = folder.resolve()
        target = (inside / name).resolve()
        if not target.is_relative_to(inside):
            return f"{stated} leads outside the session's folder; copy the file into it"
        if target.is_file():
            return ""
        if target.is_dir():
            return f"{stated} is a folder; name a file in it"
        return f"{stated}: there is no such file{_like(inside, name)}"
    except (OSError, RuntimeError):  # a loop of links, a name too long for the file system, a folder without access
        return f"{stated} cannot be followed to a file; write the path of a file in the session's folder"


def _like(folder: Path, name: str) -> str:
    parent = (folder / name).parent
    names = sorted(entry.name for entry in parent.iterdir() if entry.is_file()) if parent.is_dir() else []
    # the ending says little: with it, any two exports would look alike
    by_stem = {Path(each).stem: each for each in reversed(names)}
    close = difflib.get_close_matches(Path(name).stem, by_stem, n=1, cutoff=0.7)
    if close:
        return f'; did you mean "{(Path(name).parent / by_stem[close[0]]).as_posix()}"?'
    return "; put it there, or correct the path"
