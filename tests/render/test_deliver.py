"""Outputs are moved in whole or not at all, and only what a build made is ever removed."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from reviewkit.errors import CannotFinish
from reviewkit.render.deliver import LAST, MANIFEST, deliver

OLD = {"outline.md": b"old outline", "cards/01-title.png": b"old title", "cards/02-tone.png": b"old tone", LAST: b"old"}
NEW = {
    "outline.md": b"new outline",
    "cards/01-title.png": b"new title",
    "cards/02-hum.png": b"new hum",
    "page.html": b"new page",
    LAST: b"new",
}
FOREIGN = {"my notes.txt": b"mine", "cards/03-mine.png": b"mine too", "other/keep.bin": b"\x00"}


def there(out: Path) -> dict[str, bytes]:
    """Every file in the folder but the list of what was made."""
    files = {p.relative_to(out).as_posix(): p.read_bytes() for p in out.rglob("*") if p.is_file()}
    files.pop(MANIFEST, None)
    return files


def listed(out: Path) -> list[str]:
    return json.loads((out / MANIFEST).read_text())


def with_foreign(out: Path) -> None:
    for name, content in FOREIGN.items():
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_bytes(content)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """A folder with the outputs of a last build and files of the user's own."""
    folder = tmp_path / "out"
    assert deliver(folder, OLD) == []
    with_foreign(folder)
    return folder


def test_a_build_puts_everything_in_its_place(tmp_path):
    out = tmp_path / "deep" / "out"
    assert deliver(out, NEW) == []
    assert there(out) == NEW
    assert listed(out) == sorted(NEW)


def test_what_is_no_longer_made_is_removed_and_nothing_else(out):
    assert deliver(out, NEW) == ["cards/02-tone.png"]
    assert there(out) == NEW | FOREIGN
    assert listed(out) == sorted(NEW)


def test_a_folder_that_is_left_empty_goes_too(tmp_path):
    out = tmp_path / "out"
    deliver(out, OLD)
    assert sorted(deliver(out, {LAST: b"new"})) == ["cards/01-title.png", "cards/02-tone.png", "outline.md"]
    assert there(out) == {LAST: b"new"}
    assert not (out / "cards").exists()


def test_some_outputs_alone_remove_nothing(out):
    assert deliver(out, {"cards/02-hum.png": b"new hum"}, partial=True) == []
    assert there(out) == OLD | FOREIGN | {"cards/02-hum.png": b"new hum"}
    stale = {*OLD, "cards/02-hum.png"} - {LAST}
    assert sorted(deliver(out, {LAST: b"whole"})) == sorted(stale)
    assert there(out) == FOREIGN | {LAST: b"whole"}


def test_the_same_outputs_again_change_nothing(out):
    before = there(out), listed(out)
    assert deliver(out, OLD) == []
    assert (there(out), listed(out)) == before


# ------------------------------------------------------------------ failures


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EACCES, errno.EIO])
@pytest.mark.parametrize("nth", range(1, len(NEW) + 2))
def test_until_all_is_written_nothing_old_is_touched(out, monkeypatch, nth, number):
    """The disk fails at each write in turn: five outputs and the list of what was made."""
    calls, flush = [], os.fsync

    def failing(file):
        calls.append(file)
        if len(calls) == nth:
            raise OSError(number, os.strerror(number))
        flush(file)

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(CannotFinish, match=os.strerror(number)):
        deliver(out, NEW)
    assert there(out) == OLD | FOREIGN
    assert listed(out) == sorted(OLD)
    monkeypatch.undo()
    deliver(out, NEW)
    assert there(out) == NEW | FOREIGN


def test_findings_are_moved_last(out, monkeypatch):
    moved, move = [], os.replace
    monkeypatch.setattr(os, "replace", lambda a, b: (moved.append(Path(b).name), move(a, b)))
    deliver(out, NEW)
    assert [name for name in moved if name != MANIFEST][-1] == LAST
    assert moved[0] == moved[-1] == MANIFEST
    assert len(moved) == len(NEW) + 2


@pytest.mark.parametrize("nth", range(1, len(NEW) + 3))
def test_a_move_that_fails_leaves_each_file_whole_and_the_next_build_puts_it_right(out, monkeypatch, nth):
    calls, move = [], os.replace

    def failing(source, place):
        calls.append(place)
        if len(calls) == nth:
            raise OSError(errno.EACCES, "Permission denied")
        move(source, place)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(CannotFinish):
        deliver(out, NEW)
    found = there(out)
    for name, content in found.items():
        assert content in (OLD.get(name), NEW.get(name), FOREIGN.get(name))
    if found.get(LAST) == NEW[LAST]:
        assert found.items() >= NEW.items()
    assert found.items() >= FOREIGN.items()
    monkeypatch.undo()
    deliver(out, NEW)
    assert there(out) == NEW | FOREIGN
    assert listed(out) == sorted(NEW)


KILLED = """
import os, signal, sys
from pathlib import Path
from reviewkit.render.deliver import deliver
nth, calls, move = int(sys.argv[2]), [], os.replace
def killing(source, place):
    calls.append(place)
    if len(calls) == nth:
        os.kill(os.getpid(), signal.SIGKILL)
    move(source, place)
os.replace = killing
deliver(Path(sys.argv[1]), {name: name.encode() for name in sys.argv[3:]})
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system cannot kill outright")
@pytest.mark.parametrize("nth", [1, 2, 4, len(NEW) + 1, len(NEW) + 2])
def test_a_build_that_is_killed_leaves_no_broken_file_and_its_leftovers_are_swept(out, checkout, nth):
    done = subprocess.run([sys.executable, "-c", KILLED, str(out), str(nth), *NEW], cwd=checkout, check=False)
    assert done.returncode == -signal.SIGKILL
    assert list(out.glob(".incoming-*"))
    for name, content in there(out).items():
        if not name.startswith(".incoming-"):
            assert content in (OLD.get(name), FOREIGN.get(name), name.encode())
    deliver(out, NEW)
    assert there(out) == NEW | FOREIGN
    assert not list(out.glob(".incoming-*"))


def test_an_interrupted_build_sweeps_up_after_itself(out, monkeypatch):
    def interrupted(file):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        deliver(out, NEW)
    assert there(out) == OLD | FOREIGN


# ------------------------------------------------------------------ leftovers of others


def test_only_the_leftovers_of_dead_builds_are_swept(out):
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as running:
        names = [f".incoming-{dead.pid}", f".incoming-{running.pid}", ".incoming-notes"]
        for name in names:
            (out / name / "cards").mkdir(parents=True)
            (out / name / "cards" / "half.png").write_bytes(b"half")
        deliver(out, OLD)
        assert [name for name in names if (out / name).exists()] == names[1:]
        running.communicate(b"\n")


# ------------------------------------------------------------------ the list of what was made


@pytest.mark.parametrize(
    "damaged",
    [
        b"",
        b"{",
        b"null",
        b'{"cards": 1}',
        b'"outline.md"',
        b"\xff\xfe\x00",
        b"[1, null, {}]",
        b'["../session.toml", "/etc/hosts", "cards/../../session.toml", ""]',
        b'["."]',
        b'["cards"]',
        b'["gone.png"]',
    ],
)
def test_a_damaged_list_removes_nothing_and_stops_nothing(out, damaged):
    (out.parent / "session.toml").write_bytes(b"the user's")
    (out / MANIFEST).write_bytes(damaged)
    deliver(out, NEW)
    assert there(out) == OLD | NEW | FOREIGN
    assert (out.parent / "session.toml").read_bytes() == b"the user's"
    assert listed(out) == sorted(NEW)


def test_a_missing_list_removes_nothing(out):
    (out / MANIFEST).unlink()
    assert deliver(out, NEW) == []
    assert there(out) == OLD | NEW | FOREIGN


# ------------------------------------------------------------------ a folder that cannot be written


@pytest.mark.parametrize("number", [errno.EROFS, errno.EACCES])
def test_a_folder_that_may_not_be_written(out, monkeypatch, number):
    make = Path.mkdir

    def refused(self, *args, **keys):
        if self.name.startswith(".incoming-"):
            raise OSError(number, os.strerror(number), str(self))
        make(self, *args, **keys)

    monkeypatch.setattr(Path, "mkdir", refused)
    with pytest.raises(CannotFinish, match=os.strerror(number)) as raised:
        deliver(out, NEW)
    assert str(out) in str(raised.value)
    assert there(out) == OLD | FOREIGN


def test_a_file_where_the_folder_should_be(tmp_path):
    (tmp_path / "out").write_bytes(b"mine")
    with pytest.raises(CannotFinish):
        deliver(tmp_path / "out", NEW)
    assert (tmp_path / "out").read_bytes() == b"mine"
