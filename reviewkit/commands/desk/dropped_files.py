"""Dropped files: each is taken into measurements/ under a name that any system keeps."""

from __future__ import annotations

import re
import unicodedata
from itertools import count
from pathlib import Path, PurePosixPath
from typing import Any

from reviewkit.commands.desk.fields import text_of
from reviewkit.commands.desk.inputs import Conflict, Inputs
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import refusal

_DROPPED_IN = "measurements"
_LONGEST_NAME = 120


def take_in(inputs: Inputs, words: dict[str, Any], place: Path) -> dict[str, Any]:
    """Copy a dropped file into the session, unless it is there already.

    Raises
    ------
    InputError
        If it is empty, or if its name can't be kept.
    Conflict
        If another file has its name, and the action doesn't say which to keep.
    """
    name = f"{_DROPPED_IN}/{clean_name(text_of(words, 'name', _LONGEST_NAME * 10))}"
    target, how = inputs.folder / name, words.get("how")
    if not place.stat().st_size:
        raise refusal(name, "is empty; export it again")
    if target.exists() or target.is_symlink():
        if file_digest(target) == file_digest(place):
            return {"name": name, "same": True}
        if how not in ("both", "replace"):
            raise Conflict({"name": name, "faults": [f"{name} differs from the one here"]})
        name = _free_name(inputs.folder, name) if how == "both" else name
    inputs.take_in(name, place, "file", f"{name.rsplit('/', 1)[-1]} copied in")
    return {"name": name}


def clean_name(name: str) -> str:
    """Return the name of a dropped file as it is kept: no folders, nothing hidden, only signs that any system has.

    Raises
    ------
    InputError
        If nothing of the name is left.
    """
    name = unicodedata.normalize("NFC", re.split(r"[/\\]", name)[-1])
    name = "".join(sign if sign.isalnum() or sign in " ._-+()" else "_" for sign in name).strip(" .")
    stem, dot, ending = name.rpartition(".")
    name = f"{(stem or ending)[:_LONGEST_NAME]}{dot if stem else ''}{ending[:12] if stem else ''}"
    if not name or not re.search(r"\w", name):
        raise refusal("a dropped file", "has no name that can be kept; rename it and drop it again")
    if re.fullmatch(r"(?:con|prn|aux|nul|com\d|lpt\d)", name.split(".")[0].casefold()):
        name = f"_{name}"  # names that Windows reserves
    return name


def _free_name(folder: Path, name: str) -> str:
    path = PurePosixPath(name)
    names = (path.with_stem(f"{path.stem}-{number}").as_posix() for number in count(2))
    return next(each for each in names if not (folder / each).exists())
