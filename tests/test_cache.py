"""The cache: private, limited, and never believed if damaged."""

from __future__ import annotations

import os
import stat
import time
from pathlib import Path

import pytest

from reviewkit.build.cache import VARIABLE, Cache, clear_cache, open_cache

KEY, OTHER = "ab" * 32, "cd" * 32


@pytest.fixture
def place(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


def entry_of(place: Path) -> Path:
    (entry,) = (path for path in place.rglob("*") if path.name == KEY)
    return entry


def test_what_is_written_is_read_again(place):
    cache = open_cache()
    assert cache.read(KEY) is None
    cache.write(KEY, b"an entry")
    assert open_cache().read(KEY) == b"an entry"
    assert cache.read(OTHER) is None


@pytest.mark.parametrize("content", [b"", b"short", b"\0" * 40, None])
def test_a_damaged_entry_counts_as_absent(place, content):
    open_cache().write(KEY, b"an entry")
    entry = entry_of(place)
    entry.write_bytes(entry.read_bytes()[:-1] if content is None else content)
    assert open_cache().read(KEY) is None
    open_cache().write(KEY, b"another")
    assert open_cache().read(KEY) == b"another"


@pytest.mark.skipif(os.name == "nt", reason="POSIX modes")
def test_nobody_else_can_read_it(place):
    open_cache().write(KEY, b"an entry")
    for path in (place, *place.rglob("*")):
        mode = stat.S_IMODE(path.stat().st_mode)
        assert path.name == "CACHEDIR.TAG" or not mode & 0o077, path


@pytest.mark.skipif(os.name == "nt", reason="POSIX modes")
@pytest.mark.parametrize("which", ["the folder", "the one around it"])
def test_a_folder_that_others_may_write_to_is_not_used(tmp_path, monkeypatch, which):
    shared = tmp_path / "shared"
    (shared / "cache").mkdir(parents=True)
    (shared / "cache" if which == "the folder" else shared).chmod(0o777)
    monkeypatch.setenv(VARIABLE, str(shared / "cache"))
    assert open_cache() == Cache()
    assert not list((shared / "cache").iterdir())


@pytest.mark.skipif(os.name == "nt" or os.geteuid() != 0, reason="only root can give a folder away")
def test_a_folder_of_another_user_is_not_used(place):
    place.mkdir()
    os.chown(place, 12345, 12345)
    assert open_cache() == Cache()


def test_a_folder_with_files_of_the_users_own_is_neither_used_nor_cleared(place):
    (place / "results").mkdir(parents=True)
    (place / "results/mine.txt").write_text("mine", encoding="utf-8")
    assert open_cache() == Cache()
    clear_cache()
    assert (place / "results/mine.txt").read_text(encoding="utf-8") == "mine"


def test_where_it_cannot_be_written_builds_do_without(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv(VARIABLE, str(tmp_path / "file" / "cache"))
    cache = open_cache()
    cache.write(KEY, b"an entry")
    assert cache.read(KEY) is None
    assert cache.template_folder() is None


def test_the_oldest_entries_go_first(place):
    cache = open_cache()
    for number in range(10):
        cache.write(f"{number:064d}", bytes(1000))
        path = cache._path(f"{number:064d}")
        os.utime(path, (number, number))
    assert cache.read(f"{0:064d}") is not None  # used again, so it is young now
    cache.trim(limit_bytes=6000)
    left = [number for number in range(10) if cache.read(f"{number:064d}") is not None]
    assert left == [0, 7, 8, 9]
    cache.trim(limit_bytes=6000)
    assert [number for number in range(10) if cache.read(f"{number:064d}") is not None] == left


def test_clearing_removes_everything_and_the_next_build_starts_again(place):
    open_cache().write(KEY, b"an entry")
    assert open_cache().template_folder() is not None
    assert clear_cache() == place
    assert {path.name for path in place.iterdir()} == {"CACHEDIR.TAG"}
    assert open_cache().read(KEY) is None


def test_two_processes_may_write_at_once(place):
    import subprocess
    import sys

    program = (
        "from reviewkit.build.cache import open_cache\n"
        f"for turn in range(300):\n    c = open_cache(); c.write({KEY!r}, b'x' * 50_000)\n"
        f"    assert c.read({KEY!r}) in (b'x' * 50_000, None); c.trim(limit_bytes=1)\n"
    )
    processes = [subprocess.Popen([sys.executable, "-c", program]) for _ in range(2)]
    until = time.monotonic() + 60
    assert [process.wait(until - time.monotonic()) for process in processes] == [0, 0]
