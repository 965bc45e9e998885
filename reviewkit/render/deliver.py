"""Writing whole or not at all: every output is written beside its place, flushed, and moved in; findings.json last."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Callable, Collection, Mapping
from pathlib import Path

from reviewkit.errors import CannotFinish

LAST = "findings.json"
# what the last build made, so that the next can remove what it no longer makes and leave foreign files alone
MANIFEST = ".made-by-reviewkit.json"
_INCOMING = ".incoming-"


class Incoming:
    """A folder beside the outputs, for files that are too large to be held in memory until all is ready. `path` is
    there until what is in it was delivered; `at_end` takes a call that clears it in any case. Raises CannotFinish.
    """

    def __init__(self, out: Path, at_end: Callable[[Callable[[], None]], object]) -> None:
        self.path = out / f"{_INCOMING}{os.getpid()}"
        self._made = not out.exists()
        at_end(self.clear)
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotFinish(f"{out}: {error.strerror or error}") from error

    def clear(self) -> None:
        """Remove the folder, and the one around it if it was made for it and nothing was delivered."""
        shutil.rmtree(self.path, ignore_errors=True)
        if self._made:
            with contextlib.suppress(OSError):  # it is no longer empty
                self.path.parent.rmdir()


def deliver(out: Path, files: Mapping[str, bytes | Path], *, partial: bool = False) -> list[str]:
    """Move a build's outputs into `out` (names are relative paths); a finished file, given by its
    place in an `Incoming`, is moved. Returns what was removed as no longer made.

    `partial`: only some outputs were asked for, so nothing is removed. Raises CannotFinish (disk full, folder not
    writable, …); until everything is written nothing old is touched.
    """
    incoming = out / f"{_INCOMING}{os.getpid()}"
    try:
        out.mkdir(parents=True, exist_ok=True)
        _sweep(out, {content.parent for content in files.values() if isinstance(content, Path)})
        for name, content in files.items():
            _write(incoming / name, content)
        before = _made(out)
        now = sorted({*files, *(before if partial else ())})
        _write(incoming / MANIFEST, json.dumps(sorted({*now, *before}), indent=0).encode())
        # the manifest names old and new first: a build that is stopped here leaves nothing that no build owns
        os.replace(incoming / MANIFEST, out / MANIFEST)  # noqa: PTH105
        for name in sorted(files, key=lambda n: (n == LAST, n)):
            place = out / name
            place.parent.mkdir(parents=True, exist_ok=True)
            os.replace(incoming / name, place)  # noqa: PTH105
        stale = [] if partial else [name for name in before if name not in files]
        for name in [name for name in stale if (out / name).is_file()]:
            (out / name).unlink(missing_ok=True)
            with contextlib.suppress(OSError):
                (out / name).parent.rmdir()
        _write(incoming / MANIFEST, json.dumps(now, indent=0).encode())
        os.replace(incoming / MANIFEST, out / MANIFEST)  # noqa: PTH105
    except OSError as error:
        raise CannotFinish(
            f"{out}: {error.strerror or error}; the outputs of the last build are still there"
        ) from error
    finally:
        shutil.rmtree(incoming, ignore_errors=True)
    return stale


def write_whole(place: Path, content: bytes) -> None:
    """Put one file in its place, whole or not at all. Raises CannotFinish."""
    beside = place.with_name(f"{_INCOMING}{os.getpid()}-{place.name}")
    try:
        _write(beside, content)
        os.replace(beside, place)  # noqa: PTH105
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise CannotFinish(f"{place}: {error.strerror or error}") from error


def _write(place: Path, content: bytes | Path) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    if isinstance(content, Path):
        with content.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(content, place)  # noqa: PTH105
        return
    with place.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _made(out: Path) -> list[str]:
    """What the last build made here; nothing where its list is missing or damaged."""
    try:
        names = json.loads((out / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    if not isinstance(names, list):
        return []
    # a list edited by hand must not reach outside the folder
    return [n for n in names if isinstance(n, str) and n and not Path(n).is_absolute() and ".." not in Path(n).parts]


def _sweep(out: Path, used: Collection[Path]) -> None:
    """Remove what builds that were killed left behind; those still running keep theirs."""
    for left in out.glob(f"{_INCOMING}*"):
        pid = left.name.removeprefix(_INCOMING)
        if left not in used and pid.isdigit() and not _alive(int(pid)):
            shutil.rmtree(left, ignore_errors=True)


def _alive(pid: int) -> bool:
    """Whether another process with this number runs. Where that cannot be asked without harm (Windows), it is
    assumed.
    """
    if os.name == "nt":
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return pid != os.getpid()
