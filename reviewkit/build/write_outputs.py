"""Complete outputs or none: every output is written next to its place, flushed, and moved in; findings.json last."""

from __future__ import annotations

import contextlib
import os
import shutil
import time
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path

from reviewkit.build import own_files
from reviewkit.build.atomic_files import incoming_place, sweep, write_flushed
from reviewkit.build.own_files import MANIFEST, list_of
from reviewkit.model.errors import CannotFinish

LAST = "findings.json"
_BOTH = f"{MANIFEST}.both"
_PAUSES_S = (0.01, 0.05, 0.2, 0.5, 0.0)  # after each try to remove a folder
_STILL_THERE = "the outputs of the last build are still there"


class Incoming:
    """A folder next to the outputs, for files that are too large for memory until all is ready. `path` exists until its
    content is delivered; `at_end` takes a call that clears it in any case.

    Raises
    ------
    CannotFinish
        If the folder can't be made.
    """

    def __init__(self, out: Path, at_end: Callable[[Callable[[], None]], object]) -> None:
        self.path = incoming_place(out)
        self._made = not out.exists()
        at_end(self.clear)
        try:
            sweep(out)  # a link in its place, or the remains of a killed build
            self.path.mkdir(parents=True)
        except OSError as error:
            raise CannotFinish(f"{out}: {error.strerror or error}") from error

    def put(self, files: Mapping[str, bytes | Path]) -> dict[str, bytes | Path]:
        """Write files there, and return where they are; files that are there already are left.

        Raises
        ------
        CannotFinish
            If one can't be written.
        """
        try:
            for name, content in files.items():
                if isinstance(content, bytes):
                    write_flushed(self.path / name, content)
        except OSError as error:
            raise CannotFinish(f"{self.path.parent}: {error.strerror or error}; {_STILL_THERE}") from error
        return {name: self.path / name if isinstance(content, bytes) else content for name, content in files.items()}

    def clear(self) -> None:
        """Remove the folder, and the one around it if it was made for it and nothing was delivered."""
        # an encoder whose process has just been stopped may open its file in it meanwhile
        for pause_s in _PAUSES_S:
            shutil.rmtree(self.path, ignore_errors=True)
            if not self.path.exists():
                break
            time.sleep(pause_s)
        if self._made:
            with contextlib.suppress(OSError):  # it is no longer empty
                self.path.parent.rmdir()


@contextlib.contextmanager
def alone(out: Path) -> Iterator[None]:
    """Lock `out`, so that no other build moves anything into it; wait if one does.

    The lock is on the folder itself and ends with the process; if the system has no locks, builds go on without.

    Raises
    ------
    CannotFinish
        If the folder can't be created.
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


def write_outputs(
    out: Path,
    files: Mapping[str, bytes | Path],
    *,
    partial: bool = False,
    there: Collection[str] = (),
    inputs: Collection[Path] = (),
    adopt: bool = False,
) -> list[str]:
    """Move a build's outputs into a folder.

    A finished file, given by its place in an `Incoming`, is moved.

    Parameters
    ----------
    out : Path
        The folder.
    files : Mapping[str, bytes | Path]
        Content or finished files, by relative path.
    partial : bool
        Whether only some outputs were asked for, so that nothing is removed.
    there : Collection[str]
        The outputs that are already in their place.
    inputs : Collection[Path]
        The files that the session reads: none of them is ever replaced or removed.
    adopt : bool
        Whether to replace files that no build made.

    Returns
    -------
    list[str]
        The files removed because they are no longer made.

    Raises
    ------
    InputError
        If an output would replace a file of the user's own. Nothing was written.
    CannotFinish
        If the disk is full, the folder can't be written, …; until everything is written nothing old is touched.
    ValueError
        If the next build wouldn't recognise an output as its own: a fault of the program.
    """
    if unknown := [name for name in files if not own_files.can_be_output(name)]:
        raise ValueError(f"no build would know these as its own: {unknown}; list them in own_files")
    own_files.refuse_to_replace(out, files, inputs, adopt=adopt)
    incoming = incoming_place(out)
    new = {name: content for name, content in files.items() if name not in there}
    try:
        out.mkdir(parents=True, exist_ok=True)
        sweep(out, {content.parent for content in files.values() if isinstance(content, Path)})
        before = own_files.own_files(out).names
        _refuse_links(out, incoming, {*files, *before})
        now = {*files, *(before if partial else ())}
        # everything that takes space comes before the first move: a full disk leaves everything as it was
        for name, content in {**new, _BOTH: list_of(now | before), MANIFEST: list_of(now)}.items():
            write_flushed(incoming / name, content)
        for folder in {(out / name).parent for name in new}:
            folder.mkdir(parents=True, exist_ok=True)
        # first the list names old and new: a build that is stopped here leaves no file off the list
        os.replace(incoming / _BOTH, out / MANIFEST)  # noqa: PTH105
        for name in sorted(new, key=lambda n: (n == LAST, n)):
            os.replace(incoming / name, out / name)  # noqa: PTH105
        removed = [] if partial else _remove(out, sorted(before - now), now, inputs)
        os.replace(incoming / MANIFEST, out / MANIFEST)  # noqa: PTH105
    except OSError as error:
        raise CannotFinish(f"{out}: {error.strerror or error}; {_STILL_THERE}") from error
    finally:
        shutil.rmtree(incoming, ignore_errors=True)
    return removed


def _remove(out: Path, stale: Collection[str], now: Collection[str], inputs: Collection[Path]) -> list[str]:
    """Remove files that are no longer made, and return their names.

    Files that the session reads stay, and so do those that are still made under a name in other case.
    """
    read, folded = own_files.identities(inputs), own_files.by_folded_name(now)
    removed = []
    for name in stale:
        place, twin = out / name, folded.get(name.casefold())
        is_one = twin is not None and not (own_files.is_listed(place) and own_files.is_listed(out / twin))
        if place.is_file() and not is_one and not own_files.is_input(place, read):
            place.unlink(missing_ok=True)
            removed.append(name)
            with contextlib.suppress(OSError):  # a folder that still holds something stays
                for parent in Path(name).parents[:-1]:
                    (out / parent).rmdir()
    return removed


def _refuse_links(out: Path, incoming: Path, names: Collection[str]) -> None:
    """Raise CannotFinish if a folder on the way to an output is a link: files would be written or removed at its
    target.

    A link in a file's own place does no harm: it is replaced.
    """
    folders = {out / parent for name in names for parent in Path(name).parents if parent.name}
    for folder in (incoming, *sorted(folders)):
        if folder.is_symlink():
            raise CannotFinish(f"{folder} is a link to another place; remove it, or build with --out")
