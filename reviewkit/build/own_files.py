"""The program's own files in a folder of outputs, so that nothing else there is replaced or removed.

A file is the program's own if the list in the folder names it, a build can make a file of that name in that place, and
the session doesn't read it. The list alone isn't enough: a folder may come from a stranger, the list with it.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from reviewkit.model.card_files import KINDS, card_path
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.sound import BOTH, SIDES, sound_path

MANIFEST = ".made-by-reviewkit.json"  # the list, in the folder of outputs
FIXED = frozenset(
    """
    chapters-planned.txt chapters.vtt comment.txt contact-sheet.png description.txt episode.html findings.json
    outline.md plan.html plan.md prompter.html spec-table.csv spec-table.html spec-table.md thumbnail.png
    thumbnail-figure.png thumbnail-pair.png thumbnail-photo.png timeline.otio
    """.split()
)
_FORMER = (
    r"\.kept/(?:record|results|[A-Za-z0-9_.-]+\.(?:page|small))"  # files that earlier versions kept for the next build
)
_STEM = "[0-9]{2,}-[A-Za-z0-9_.-]+"
_NUMBERED = "|".join(re.escape(card_path(kind, "STEM")).replace("STEM", _STEM) for kind in KINDS)
_PLAYED = "|".join(
    re.escape(sound_path(f"STEM-{part}", ending)).replace("STEM", "[A-Za-z0-9_.-]+")
    for part, ending in (*((part, "wav") for part in (*SIDES, BOTH)), *((side, "mp4") for side in SIDES))
)
_MADE_BY_A_BUILD = re.compile(f"{_NUMBERED}|{_PLAYED}|{_FORMER}")
_LONGEST_LIST = 4_000_000  # bytes; a session of 500 measurements with everything asked for needs a tenth of it
_MOST_NAMED = 5

_Identity = tuple[int, int]


@dataclass(frozen=True)
class OwnFiles:
    """The list of own files in a folder. `flaw`: what is wrong with the list itself, "" if nothing is."""

    names: frozenset[str] = frozenset()
    flaw: str = ""


def can_be_output(name: str) -> bool:
    """Return whether a build can make a file of this name, a path in the folder of outputs."""
    return name in FIXED or _MADE_BY_A_BUILD.fullmatch(name) is not None


def own_files(out: Path) -> OwnFiles:
    """Read the list in a folder of outputs. Names that no build can make are left out."""
    if not os.path.lexists(out / MANIFEST):
        return OwnFiles(flaw="is missing")
    damaged = OwnFiles(flaw="is damaged")
    if not (out / MANIFEST).is_file() or (out / MANIFEST).stat().st_size > _LONGEST_LIST:
        return damaged
    try:
        names = json.loads((out / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return damaged
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        return damaged
    return OwnFiles(frozenset(filter(can_be_output, names)))


def list_of(names: Iterable[str]) -> bytes:
    """Return the list's content for these names."""
    return json.dumps(sorted(names), indent=0).encode()


def refuse_to_replace(out: Path, names: Collection[str], inputs: Collection[Path], *, adopt: bool) -> None:
    """Raise InputError if writing these outputs would replace a file that is not the program's own.

    Parameters
    ----------
    out, names
        The folder of outputs, and what is to be written there.
    inputs
        The files that the session reads. None of them is ever replaced.
    adopt
        Whether other files may be replaced: the user wants the program to take them over.

    Raises
    ------
    InputError
        If an output would replace an input or, unless adopted, a file of the user's, or if it needs a folder where
        there is a file.
    """
    own, read = own_files(out), identities(inputs)
    folders = sorted({parent.as_posix() for name in names for parent in Path(name).parents if parent.name})
    linked = {name for name in folders if (out / name).is_symlink()}  # refused when the outputs are moved in
    blocked = [name for name in folders if name not in linked and _is_there(out / name) and not (out / name).is_dir()]
    ours, folded = own.names | {MANIFEST}, by_folded_name(own.names)
    inputs_here, foreign = [], []
    for name in sorted({*names, MANIFEST}):
        place = out / name
        if Path(name).parent.as_posix() in linked or not _is_there(place):
            continue
        if is_input(place, read):
            inputs_here.append(name)
        elif place.is_symlink():
            pass  # only the link is replaced, not its target
        elif place.is_dir():
            blocked.append(name)
        elif not (adopt or name in ours or (name.casefold() in folded and not is_listed(place))):
            foreign.append(name)
    faults = []
    if inputs_here:
        remedy = "move them and correct their paths in session.toml, or write to another folder (build --out)"
        faults.append(f"the session reads these files, and outputs would replace them: {_some(inputs_here)}; {remedy}")
    if blocked:
        remedy = "move them, or write to another folder (build --out)"
        faults.append(f"an output needs a folder where there is a file, or the reverse: {_some(blocked)}; {remedy}")
    if foreign:
        why = f"(the list of reviewkit's own files, {MANIFEST}, {own.flaw or 'does not name them'})"
        remedy = "move them, write to another folder (build --out), or let reviewkit take them over (--adopt)"
        faults.append(f"outputs would replace files that may be yours: {_some(foreign)} {why}; {remedy}")
    if faults:
        raise InputError(Fault(str(out), 0, message) for message in faults)


def identities(files: Iterable[Path]) -> frozenset[_Identity]:
    """Return what identifies files on the disk, whatever their paths look like: links, what they lead to, and names in
    other case or another Unicode form.
    """
    return frozenset(found for file in files for follow in (False, True) if (found := _identity(file, follow=follow)))


def is_input(place: Path, read: frozenset[_Identity]) -> bool:
    """Return whether a file, or the link in its place, is one of those that the session reads."""
    return _identity(place, follow=False) in read


def by_folded_name(names: Iterable[str]) -> dict[str, str]:
    """Return names by what is left of them on a disk that ignores case."""
    return {name.casefold(): name for name in names}


def is_listed(place: Path) -> bool:
    """Return whether the folder has an entry of exactly this name. A disk that ignores case finds others, too."""
    try:
        return place.name in os.listdir(place.parent)  # noqa: PTH208
    except OSError:
        return False


def _is_there(place: Path) -> bool:
    return _identity(place, follow=False) is not None


def _identity(place: Path, *, follow: bool) -> _Identity | None:
    try:
        found = place.stat(follow_symlinks=follow)
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino


def _some(names: Collection[str]) -> str:
    first = list(names)[:_MOST_NAMED]
    return ", ".join(first) + (f" and {len(names) - len(first)} more" if len(names) > len(first) else "")
