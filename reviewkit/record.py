"""What a build was made from, kept beside its outputs: whether anything has to be made again, and what need not be.

A session folder may come from a stranger, out/ with it. So the record is sealed with what a stranger cannot know: when,
to the nanosecond, each file of this installation was put on this machine. The seal is broken by another installation,
another version of the program or of a library it draws with, and by any change to the record; it is then as if there
were none.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from reviewkit import places
from reviewkit.options import Options
from reviewkit.stamps import Stamp, digest, is_settled, stamp, stamps

KEPT = ".kept"  # the folder in out/ of what a later build may take over
FILE_NAME = f"{KEPT}/record"
_TEMPLATES = "templates/"
_MARK_BYTES = 6
# what figures, pictures or texts come from beside our own code: another version of one of these may give other bytes
_LIBRARIES = (
    "numpy pandas matplotlib PIL jinja2 markdown nh3 pydantic soundfile font_source_sans_pro opentimelineio "
    "imageio_ffmpeg"
).split()


@dataclass(frozen=True)
class Record:
    """One build. `options`: what was asked for; `inputs`: every file of the session that was read or looked for, by its
    path there, as a digest; `outputs`: every file made, by its path in out/, likewise; `pictures`: which of these show
    what, by all that they were drawn from, then by their kind; `said`: what the command line said of the build.
    """

    options: Mapping[str, Any]
    inputs: Mapping[str, str]
    outputs: Mapping[str, str]
    pictures: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    said: Sequence[str] = ()

    def has(self, out: Path, name: str, made: str = "") -> bool:
        """Whether an output lies in its place as it was made, and has this digest, where one is given."""
        before = self.outputs.get(name, "")
        return before != "" and made in ("", before) and digest(out / name) == before

    def is_current(self, folder: Path, options: Options) -> bool:
        """Whether a build with these options would make again what lies in its folder."""
        out = options.out_of(folder)
        templates = {name for name in self.inputs if name.startswith(_TEMPLATES)}
        if options.for_record() != self.options or own_templates(folder) != templates:
            return False
        found = self._look(folder, out)
        *_, marked_ns, looked_ns = stamp(out / FILE_NAME) or (0, 0)
        if marked_ns == _mark(found) and all(is_settled(each, looked_ns) for each in found):
            return True
        same = all(digest(folder / name) == before for name, before in self.inputs.items())
        if not same or not all(self.has(out, name) for name in self.outputs):
            return False
        _set_mark(out, found)  # next time a look will do
        return True

    def written(self) -> bytes:
        """The record as it lies in out/."""
        body = json.dumps(asdict(self), separators=(",", ":"))
        return json.dumps({"seal": _seal(body), "body": body}, indent=0).encode()

    def mark(self, out: Path, inputs: Sequence[Stamp]) -> None:
        """Note how all files look once they lie in `out`. `inputs`: the stamps of the files as they were read, in their
        order here.
        """
        _set_mark(out, [*inputs, *(stamp(out / name) for name in self.outputs)])

    def _look(self, folder: Path, out: Path) -> list[Stamp]:
        return [*(stamp(folder / name) for name in self.inputs), *(stamp(out / name) for name in self.outputs)]


def _mark(found: Sequence[Stamp]) -> int:
    """A number that stands for how all files look: a time in ns, in whole µs, before 1979."""
    return int.from_bytes(hashlib.sha256(repr(list(found)).encode()).digest()[:_MARK_BYTES]) * 1000


def _set_mark(out: Path, found: Sequence[Stamp]) -> None:
    """Note how all files look. The note is the time of the record itself, whose bytes are then the same for the same
    outputs, wherever and whenever they were made. Where times cannot be set, all files are read every time.
    """
    mark = _mark(found)
    with suppress(OSError):
        os.utime(out / FILE_NAME, ns=(mark, mark))


def own_templates(folder: Path) -> set[str]:
    """The session's own templates, as paths in its folder."""
    return {f"{_TEMPLATES}{Path(name).as_posix()}" for name, _ in stamps(folder / _TEMPLATES)}


def read(out: Path) -> Record | None:
    """The record of the last build, if this installation made it and nobody has changed it."""
    if not stamp(out / FILE_NAME):  # a pipe would be waited for
        return None
    try:
        content = json.loads((out / FILE_NAME).read_bytes())
        if not hmac.compare_digest(content["seal"], _seal(content["body"])):
            return None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    return Record(**json.loads(content["body"]))


def _seal(body: str) -> str:
    return hmac.new(_installation(), body.encode(), "sha256").hexdigest()


@cache
def _installation() -> bytes:
    """What only this machine knows of the program as it is installed here, and of what it builds on."""
    package = Path(__file__).resolve().parent
    found: list[Any] = [sys.version, os.fspath(package)]
    found += [each for each in stamps(package) if each[0].endswith(".py")]
    found += stamps(places.templates())
    for name in _LIBRARIES:
        spec = find_spec(name)
        found.append((name, stamp(Path(spec.origin)) if spec and spec.origin else ()))
    return hashlib.sha256(repr(found).encode()).digest()
