"""The program's identity: its own files by their bytes, every installed package by version."""

from __future__ import annotations

import hashlib
import sys
from contextlib import suppress
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from reviewkit.model import places
from reviewkit.model.digests import file_digest, files_in

_TYPE = "font_source_sans_pro"  # its fonts are used for drawing, and could be replaced without a change of version


@cache
def program_digest() -> str:
    """Return a digest that changes with the program's code or templates, its fonts, Python, or any installed package.

    The number of the program is the same for every commit, so its files are read.
    """
    package = Path(__file__).resolve().parents[1]
    lines = [sys.version, sys.platform]
    endings: str | tuple[str, ...]
    for folder, endings in ((package, ".py"), (places.templates(), ""), (_fonts(), ("Regular.ttf", "Bold.ttf"))):
        names = [name for name in files_in(folder) if name.endswith(endings) and "__pycache__" not in name]
        lines += [f"{name} {file_digest(folder / name)}" for name in names]
    return hashlib.sha256("\n".join([*lines, *_installed()]).encode(errors="replace")).hexdigest()


def _installed() -> list[str]:
    """Return every installed package with its version, as named by their metadata folders."""
    found: set[str] = set()
    for folder in sys.path:
        with suppress(OSError):
            found |= {path.name for path in Path(folder).iterdir() if path.suffix in (".dist-info", ".egg-info")}
    return sorted(found)


def _fonts() -> Path:
    spec = find_spec(_TYPE)
    return Path(spec.origin).parent if spec and spec.origin else Path("there is none")
