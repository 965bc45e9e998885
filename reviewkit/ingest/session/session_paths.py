"""Paths in a session's folder, named in session.toml or known by their names: they stay inside, and are files."""

from __future__ import annotations

import difflib
import os
import re
from contextlib import suppress
from pathlib import Path

from reviewkit.model import path_checks
from reviewkit.model.errors import Fault, refusal

RATINGS = "ratings.txt"
# files that are read if present, under names that aren't in session.toml
FIXED = ("session.toml", RATINGS, "notes.txt", "repair.csv", "final.txt", "final.otio", "published.json")


def find_flaw(folder: Path, name: str, whose: str = "session") -> str:
    """Return the flaw of a path in a session's (or a studio's) folder, to be put after it; "" if it names one inside.

    Symbolic links are followed before the path is judged: a link that leads outside is refused like any other way out.
    """
    if "\\" in name:
        return "holds a backslash; write / between the parts of a path"
    if name.startswith(("/", "~")) or re.match(r"[A-Za-z]:", name):
        return f"does not start in the {whose}'s folder; copy the file there and write its path from there"
    flaw = path_checks.flaw(folder, name)
    if flaw == path_checks.ABSENT:
        return f": there is no such file{_like(folder.resolve(), name)}"
    return f"{flaw}{_REMEDIES[flaw]}".replace("session's", f"{whose}'s") if flaw else ""


_REMEDIES = {
    path_checks.OUTSIDE: " the session's folder; copy the file into it",
    path_checks.A_FOLDER: "; name a file in it",
    path_checks.NO_FILE: " but a pipe, a device or a socket; write the path of a file",
    path_checks.LOST: "; write the path of a file in the session's folder",
}


def _like(folder: Path, name: str) -> str:
    parent = (folder / name).parent
    names: list[str] = []
    with suppress(OSError):  # a folder that can't be searched
        names = sorted(entry.name for entry in parent.iterdir() if not path_checks.flaw(parent, entry.name))
    # without the suffix: with it, any two exports would look alike
    by_stem = {Path(each).stem: each for each in reversed(names)}
    close = difflib.get_close_matches(Path(name).stem, by_stem, n=1, cutoff=0.7)
    if close:
        return f'; did you mean "{(Path(name).parent / by_stem[close[0]]).as_posix()}"?'
    return "; put it there, or correct the path"


# ------------------------------------------------------------------ what is known by its name


def fixed_faults(folder: Path) -> list[Fault]:
    """Return the faults of the files that are looked for by their names; a missing one isn't a fault."""
    faults = []
    for name in FIXED:
        flaw = path_checks.flaw(folder, name) if path_checks.is_there(folder / name) else ""
        if flaw:
            faults.append(Fault(name, 0, f"{flaw}{_FIXED_REMEDIES[flaw]}"))
    return faults


_FIXED_REMEDIES = {
    path_checks.OUTSIDE: " the session's folder; put the file itself in place of the link",
    path_checks.A_FOLDER: "; a file is read by this name, so call the folder something else",
    path_checks.NO_FILE: " but a pipe, a device or a socket; put a file in its place, or remove it",
    path_checks.ABSENT: ": the link leads to nothing; put a file in its place, or remove it",
    path_checks.LOST: "; put a file in its place, or remove it",
}


def templates_of(folder: Path) -> Path:
    """Return where the session's own templates are, if it has any.

    Raises
    ------
    InputError
        The folder is a link that leads outside.
    """
    if path_checks.is_outside(folder, "templates"):
        raise refusal("templates", "leads outside the session's folder; copy the folder into it")
    return folder / "templates"


def links_out(folder: Path) -> list[Fault]:
    """Return a fault for each link in a session's folder to another one outside it."""
    remedy = "copy what you need of it into the session's folder, and remove the link"
    faults = []
    for place, names, _ in os.walk(folder):
        names[:] = [name for name in names if Path(place) != folder or name != "out"]
        for link in (Path(place) / name for name in names if (Path(place) / name).is_symlink()):
            name = link.relative_to(folder).as_posix()
            if path_checks.is_outside(folder, name):
                faults.append(Fault(name, 0, f"leads outside the session's folder; {remedy}"))
    return faults
