"""Writing whole or not at all: every output is written beside its place, flushed, and moved in; findings.json last."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path

from reviewkit.errors import CannotFinish
from reviewkit.whole_files import beside, sweep, write_flushed

LAST = "findings.json"
# what the last build made, so that the next can remove what it no longer makes and leave foreign files alone
MANIFEST = ".made-by-reviewkit.json"
_BOTH = f"{MANIFEST}.both"
_STILL_THERE = "the outputs of the last build are still there"


class Incoming:
    """A folder beside the outputs, for files that are too large to be held in memory until all is ready. `path` is
    there until what is in it was delivered; `at_end` takes a call that clears it in any case. Raises CannotFinish.
    """

    def __init__(self, out: Path, at_end: Callable[[Callable[[], None]], object]) -> None:
        self.path = beside(out)
        self._made = not out.exists()
        at_end(self.clear)
        try:
            sweep(out)  # a link in its place, or what a killed build left
            self.path.mkdir(parents=True)
        except OSError as error:
            raise CannotFinish(f"{out}: {error.strerror or error}") from error

    def put(self, files: Mapping[str, bytes | Path]) -> dict[str, bytes | Path]:
        """Write files there, and give where they lie; those that lie there already are left. Raises CannotFinish."""
        try:
            for name, content in files.items():
                if isinstance(content, bytes):
                    write_flushed(self.path / name, content)
        except OSError as error:
            raise CannotFinish(f"{self.path.parent}: {error.strerror or error}; {_STILL_THERE}") from error
        return {name: self.path / name if isinstance(content, bytes) else content for name, content in files.items()}

    def clear(self) -> None:
        """Remove the folder, and the one around it if it was made for it and nothing was delivered."""
        shutil.rmtree(self.path, ignore_errors=True)
        if self._made:
            with contextlib.suppress(OSError):  # it is no longer empty
                self.path.parent.rmdir()


@contextlib.contextmanager
def alone(out: Path) -> Iterator[None]:
    """Keep other builds from moving anything into `out` meanwhile; wait while one does. The lock is on the folder
    itself and goes with the process; where the system has none, builds go on without. Raises CannotFinish.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotFinish(f"{out}: {error.strerror or error}") from error
    with contextlib.ExitStack() as left, contextlib.suppress(ImportError, OSError):
        import fcntl

        folder = os.open(out, os.O_RDONLY)
        left.callback(os.close, folder)
        fcntl.flock(folder, fcntl.LOCK_EX)
        left = left.pop_all()
    with left:
        yield


def deliver(
    out: Path, files: Mapping[str, bytes | Path], *, partial: bool = False, there: Collection[str] = ()
) -> list[str]:
    """Move a build's outputs into `out` (names are relative paths). A finished file, given by its place in an
    `Incoming`, is moved. Returns what was removed as no longer made.

    `there`: those that lie in their place already. `partial`: only some outputs were asked for, so nothing is removed.
    Raises CannotFinish (disk full, folder not writable, …); until everything is written nothing old is touched.
    """
    incoming = beside(out)
    new = {name: content for name, content in files.items() if name not in there}
    try:
        out.mkdir(parents=True, exist_ok=True)
        sweep(out, {content.parent for content in files.values() if isinstance(content, Path)})
        before = _made(out)
        _refuse_links(out, incoming, [*files, *before])
        now = sorted({*files, *(before if partial else ())})
        # all that takes room comes before the first move: a disk that is full leaves everything as it was
        for name, content in {**new, _BOTH: _list({*now, *before}), MANIFEST: _list(now)}.items():
            write_flushed(incoming / name, content)
        for folder in {(out / name).parent for name in new}:
            folder.mkdir(parents=True, exist_ok=True)
        # the list names old and new first: a build that is stopped here leaves nothing that no build owns
        os.replace(incoming / _BOTH, out / MANIFEST)  # noqa: PTH105
        for name in sorted(new, key=lambda n: (n == LAST, n)):
            os.replace(incoming / name, out / name)  # noqa: PTH105
        stale = [] if partial else [name for name in before if name not in files]
        for name in [name for name in stale if (out / name).is_file()]:
            (out / name).unlink(missing_ok=True)
            with contextlib.suppress(OSError):
                (out / name).parent.rmdir()
        os.replace(incoming / MANIFEST, out / MANIFEST)  # noqa: PTH105
    except OSError as error:
        raise CannotFinish(f"{out}: {error.strerror or error}; {_STILL_THERE}") from error
    finally:
        shutil.rmtree(incoming, ignore_errors=True)
    return stale


def _list(names: Collection[str]) -> bytes:
    return json.dumps(sorted(names), indent=0).encode()


def _refuse_links(out: Path, incoming: Path, names: Collection[str]) -> None:
    """Raise CannotFinish where a folder on the way to an output is a link: what is written or removed there would be
    elsewhere. A link in a file's own place is no harm, it is moved over.
    """
    folders = {out / parent for name in names for parent in Path(name).parents if parent.name}
    for folder in (incoming, *sorted(folders)):
        if folder.is_symlink():
            raise CannotFinish(f"{folder} is a link and leads elsewhere; take it away, or build with --out")


def _made(out: Path) -> list[str]:
    """What the last build made here; nothing where its list is missing or damaged."""
    if not (out / MANIFEST).is_file():  # a pipe would block
        return []
    try:
        names = json.loads((out / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return []
    if not isinstance(names, list):
        return []
    # a list edited by hand must not reach outside the folder
    return [n for n in names if isinstance(n, str) and n and not Path(n).is_absolute() and ".." not in Path(n).parts]
