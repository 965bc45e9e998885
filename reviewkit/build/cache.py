"""The cache: results addressed by what they were computed from, in the user's own cache folder.

A key is a digest of everything a result depends on, the program included, so an entry is never out of date. Deleting
the cache changes no output. Entries are data and are never executed.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

VARIABLE = "REVIEWKIT_CACHE"  # names another folder for the cache
LIMIT_BYTES = 1_000_000_000
_KEPT_SHARE = 0.8  # share of the limit that remains when old entries are removed, so that this is rare
_RESULTS, _TEMPLATES = "results", "templates"
_DIGEST_BYTES = hashlib.sha256().digest_size
# the Cache Directory Tagging Specification: backups leave out a folder that holds this file
_TAG, _SIGNATURE = "CACHEDIR.TAG", b"Signature: 8a477f597d28d172789f06886806bc55"
_TAG_TEXT = _SIGNATURE + b"\n# This is a cache of reviewkit. It can be deleted at any time.\n"
_OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH


@dataclass(frozen=True)
class Cache:
    """A cache in `folder`, or one that stores nothing if `folder` is None."""

    folder: Path | None = None

    def read(self, key: str) -> bytes | None:
        """Return the entry of a key; None if there is none or it is damaged."""
        if self.folder is None:
            return None
        path = self._path(key)
        try:
            content = path.read_bytes()
        except OSError:
            return None
        digest, entry = content[:_DIGEST_BYTES], content[_DIGEST_BYTES:]
        if hashlib.sha256(entry).digest() != digest:
            return None
        with suppress(OSError):
            os.utime(path)  # the oldest are removed first
        return entry

    def write(self, key: str, entry: bytes) -> None:
        """Store a complete entry, or do without it if it can't be written."""
        if self.folder is None:
            return
        path = self._path(key)
        with suppress(OSError):
            path.parent.mkdir(mode=0o700, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
                try:
                    file.write(hashlib.sha256(entry).digest() + entry)
                    file.close()
                    os.replace(file.name, path)  # noqa: PTH105
                except OSError:
                    Path(file.name).unlink(missing_ok=True)

    def template_folder(self) -> Path | None:
        """Return the folder for compiled templates; None if there can be none."""
        if self.folder is None:
            return None
        path = self.folder.parent / _TEMPLATES
        with suppress(OSError):
            path.mkdir(mode=0o700, parents=True, exist_ok=True)
            return path
        return None

    def trim(self, limit_bytes: int = LIMIT_BYTES) -> None:
        """Remove the entries that have not been used for longest if all of them take more than the limit."""
        if self.folder is None:
            return
        entries = sorted(_entries(self.folder))
        size = sum(each for _, each, _ in entries)
        if size <= limit_bytes:
            return
        for _, each, path in entries:
            with suppress(OSError):
                path.unlink()
            size -= each
            if size <= _KEPT_SHARE * limit_bytes:
                return

    def _path(self, key: str) -> Path:
        assert self.folder is not None
        return self.folder / key[:2] / key


NO_CACHE = Cache()


def _entries(folder: Path) -> Iterator[tuple[float, int, Path]]:
    """Yield the time of last use, size and path of each entry."""
    for path in folder.glob("??/*"):
        with suppress(OSError):
            status = path.stat()
            yield status.st_mtime, status.st_size, path


def open_cache() -> Cache:
    """Return the user's cache, or an empty one if no folder can be used that is this user's alone."""
    place = cache_folder()
    try:
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        place = place.resolve()
        if not _is_private(place) or not _is_tagged(place):
            return Cache()
        (place / _RESULTS).mkdir(mode=0o700, exist_ok=True)
    except (OSError, RuntimeError):
        return Cache()
    return Cache(place / _RESULTS)


def cache_folder() -> Path:
    """Return the cache's folder: the one in the environment, else the system's place for caches."""
    if place := os.environ.get(VARIABLE):
        return Path(place)
    from platformdirs import user_cache_path

    return user_cache_path("reviewkit", appauthor=False)


def clear_cache() -> Path:
    """Remove everything the program has put into its cache, and nothing else. Returns the folder."""
    place = cache_folder()
    if _has_tag(place):
        for name in (_RESULTS, _TEMPLATES):
            if not (place / name).is_symlink():
                shutil.rmtree(place / name, ignore_errors=True)
    return place


def _is_tagged(place: Path) -> bool:
    """Return whether a folder is marked as a cache by its tag file; an empty one gets the file now."""
    if not any(place.iterdir()):
        (place / _TAG).write_bytes(_TAG_TEXT)
    return _has_tag(place)


def _has_tag(place: Path) -> bool:
    try:
        return (place / _TAG).read_bytes().startswith(_SIGNATURE)
    except OSError:
        return False


def _is_private(folder: Path) -> bool:
    """Return whether only this user can write to a folder or replace it. Close it to other readers, too."""
    if os.name == "nt":  # a profile's folders are the user's own there
        return True
    status = folder.stat()
    if status.st_uid != os.geteuid() or status.st_mode & _OTHERS_WRITE:
        return False
    if any(_lets_others_rename(parent) for parent in folder.parents):
        return False
    folder.chmod(0o700)
    return True


def _lets_others_rename(folder: Path) -> bool:
    """Return whether another user could rename what is in a folder: they may write to it, and it is not sticky as /tmp
    is.
    """
    mode = folder.stat().st_mode
    return bool(mode & _OTHERS_WRITE) and not mode & stat.S_ISVTX
