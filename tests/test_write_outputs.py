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
from one_evening import put

from reviewkit.build.write_outputs import LAST, MANIFEST, write_outputs
from reviewkit.model.errors import CannotFinish, InputError

OLD = {"outline.md": b"old outline", "cards/01-title.png": b"old title", "cards/02-tone.png": b"old tone", LAST: b"old"}
NEW = {
    "outline.md": b"new outline",
    "cards/01-title.png": b"new title",
    "cards/02-hum.png": b"new hum",
    "episode.html": b"new page",
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
        put(out / name, content)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """A folder with the outputs of a last build and files of the user's own."""
    folder = tmp_path / "out"
    assert write_outputs(folder, OLD) == []
    with_foreign(folder)
    return folder


def test_a_build_puts_everything_in_its_place(tmp_path):
    out = tmp_path / "deep" / "out"
    assert write_outputs(out, NEW) == []
    assert there(out) == NEW
    assert listed(out) == sorted(NEW)


def test_what_is_no_longer_made_is_removed_and_nothing_else(out):
    assert write_outputs(out, NEW) == ["cards/02-tone.png"]
    assert there(out) == NEW | FOREIGN
    assert listed(out) == sorted(NEW)


def test_a_folder_that_is_left_empty_goes_too(tmp_path):
    out = tmp_path / "out"
    write_outputs(out, OLD)
    assert sorted(write_outputs(out, {LAST: b"new"})) == ["cards/01-title.png", "cards/02-tone.png", "outline.md"]
    assert there(out) == {LAST: b"new"}
    assert not (out / "cards").exists()


def test_so_does_the_folder_it_was_in(tmp_path):
    out = tmp_path / "out"
    write_outputs(out, {"tall/01-title.png": b"card", "tall/strips/02-tone.png": b"strip", LAST: b"old"})
    write_outputs(out, {LAST: b"new"})
    assert [path.name for path in out.iterdir() if path.name != MANIFEST] == [LAST]


def test_some_outputs_alone_remove_nothing(out):
    assert write_outputs(out, {"cards/02-hum.png": b"new hum"}, partial=True) == []
    assert there(out) == OLD | FOREIGN | {"cards/02-hum.png": b"new hum"}
    stale = {*OLD, "cards/02-hum.png"} - {LAST}
    assert sorted(write_outputs(out, {LAST: b"whole"})) == sorted(stale)
    assert there(out) == FOREIGN | {LAST: b"whole"}


def test_the_same_outputs_again_change_nothing(out):
    before = there(out), listed(out)
    assert write_outputs(out, OLD) == []
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
        write_outputs(out, NEW)
    assert there(out) == OLD | FOREIGN
    assert listed(out) == sorted(OLD)
    monkeypatch.undo()
    write_outputs(out, NEW)
    assert there(out) == NEW | FOREIGN


def test_findings_are_moved_last(out, monkeypatch):
    moved, move = [], os.replace
    monkeypatch.setattr(os, "replace", lambda a, b: (moved.append(Path(b).name), move(a, b)))
    write_outputs(out, NEW)
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
        write_outputs(out, NEW)
    found = there(out)
    for name, content in found.items():
        assert content in (OLD.get(name), NEW.get(name), FOREIGN.get(name))
    if found.get(LAST) == NEW[LAST]:
        assert found.items() >= NEW.items()
    assert found.items() >= FOREIGN.items()
    monkeypatch.undo()
    write_outputs(out, NEW)
    assert there(out) == NEW | FOREIGN
    assert listed(out) == sorted(NEW)


KILLED = """
import os, signal, sys
from pathlib import Path
from reviewkit.build.write_outputs import write_outputs
nth, calls, move = int(sys.argv[2]), [], os.replace
def killing(source, place):
    calls.append(place)
    if len(calls) == nth:
        os.kill(os.getpid(), signal.SIGKILL)
    move(source, place)
os.replace = killing
write_outputs(Path(sys.argv[1]), {name: name.encode() for name in sys.argv[3:]})
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
    write_outputs(out, NEW)
    assert there(out) == NEW | FOREIGN
    assert not list(out.glob(".incoming-*"))


def test_an_interrupted_build_sweeps_up_after_itself(out, monkeypatch):
    def interrupted(file):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_outputs(out, NEW)
    assert there(out) == OLD | FOREIGN


# ------------------------------------------------------------------ leftovers of others


def test_only_the_leftovers_of_dead_builds_are_swept(out):
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as running:
        ours = [f".incoming-{dead.pid}", f".incoming-{running.pid}", ".incoming-notes"]
        names = [*ours, f".incoming-{dead.pid}-notes", f".incoming-{dead.pid}.old"]
        for name in names:
            (out / name / "cards").mkdir(parents=True)
            (out / name / "cards" / "half.png").write_bytes(b"half")
        write_outputs(out, OLD)
        assert [name for name in names if (out / name).exists()] == names[1:]
        running.communicate(b"\n")


# ------------------------------------------------------------------ the list of what was made

DAMAGED = [
    b"",
    b"{",
    b"null",
    b'{"cards": 1}',
    b'"outline.md"',
    b"\xff\xfe\x00",
    b"[1, null, {}]",
    b"[" * 100_000,
    b"1" * 5000,
    json.dumps([*OLD, "x" * 10_000_000]).encode(),
]
NAMES_NOTHING = [
    b"[]",
    b'["../session.toml", "/etc/hosts", "cards/../../session.toml", ""]',
    b'["."]',
    b'["cards"]',
    b'["gone.png"]',
    b'["Outline.md", "cards/../outline.md", "./outline.md", "cards//01-title.png"]',
]


@pytest.mark.parametrize(
    ("content", "why"),
    [
        *((content, "is damaged") for content in DAMAGED),
        *((content, "does not name them") for content in NAMES_NOTHING),
        (None, "is missing"),
    ],
)
def test_without_a_list_that_names_them_files_are_not_the_programs_own(out, content, why):
    (out.parent / "session.toml").write_bytes(b"the user's")
    (out / MANIFEST).unlink()
    if content is not None:
        (out / MANIFEST).write_bytes(content)
    with pytest.raises(InputError) as raised:
        write_outputs(out, NEW)
    said = str(raised.value)
    assert said.startswith(f"{out}: ")
    assert (
        f"cards/01-title.png, findings.json, outline.md (the list of reviewkit's own files, {MANIFEST}, {why})" in said
    )
    assert "--adopt" in said
    assert there(out) == OLD | FOREIGN
    assert write_outputs(out, NEW, adopt=True) == []
    assert there(out) == OLD | NEW | FOREIGN
    assert (out.parent / "session.toml").read_bytes() == b"the user's"
    assert listed(out) == sorted(NEW)


@pytest.mark.parametrize("content", [*DAMAGED, None])
def test_where_nothing_is_in_the_way_no_list_is_needed(tmp_path, content):
    with_foreign(tmp_path)
    if content is not None:
        (tmp_path / MANIFEST).write_bytes(content)
    write_outputs(tmp_path, NEW)
    assert there(tmp_path) == NEW | FOREIGN


def test_many_files_in_the_way_are_counted(tmp_path):
    cards = {f"cards/{n:02d}-tone.png": b"new" for n in range(1, 13)}
    for name in cards:
        put(tmp_path / name, b"mine")
    with pytest.raises(InputError, match=r"cards/05-tone\.png and 7 more"):
        write_outputs(tmp_path, cards)
    assert there(tmp_path) == dict.fromkeys(cards, b"mine")


def test_a_list_that_may_not_be_written_is_moved_over(out):
    (out / MANIFEST).chmod(0o444)
    write_outputs(out, NEW)
    assert listed(out) == sorted(NEW)


FORMER = ("record", "results", "tone.page", "tone.small")


def test_what_an_earlier_version_left_is_taken_over(out):
    """It kept what the next build could use in a folder of its own, and listed that too."""
    for name in FORMER:
        put(out / ".kept" / name, b"kept")
    (out / MANIFEST).write_text(json.dumps([*OLD, *(f".kept/{name}" for name in FORMER)], indent=0))
    assert write_outputs(out, NEW) == [*(f".kept/{name}" for name in FORMER), "cards/02-tone.png"]
    assert there(out) == NEW | FOREIGN
    assert not (out / ".kept").exists()


STRANGERS = [
    "sub/mine.txt",
    "session.toml",
    "cards/mine.png",
    "cards/sub/01-a.png",
    "cards/01-a.txt",
    "notes.txt",
    "a.png",
]
STRANGERS += [
    ".kept/mine",
    ".kept/sub/a.page",
    "clips/01-a.avi",
    "templates/outline.md.j2",
    "cards/٠١-a.png",
    "published.json",
]


def test_only_names_that_a_build_can_make_are_removed_whatever_the_list_says(out):
    for name in STRANGERS:
        put(out / name, b"mine")
    (out / MANIFEST).write_text(json.dumps([*OLD, *STRANGERS, "my notes.txt", "cards/03-mine.png"]))
    assert write_outputs(out, NEW) == ["cards/02-tone.png", "cards/03-mine.png"]  # a card's name: the list is believed
    assert there(out).items() >= dict.fromkeys(STRANGERS, b"mine").items()
    assert (out / "my notes.txt").read_bytes() == b"mine"


def test_every_name_must_be_one_that_the_next_build_knows(tmp_path):
    with pytest.raises(ValueError, match=r"extra\.txt"):
        write_outputs(tmp_path / "out", {**NEW, "extra.txt": b"new"})
    assert not (tmp_path / "out").exists()


# ------------------------------------------------------------------ what the session reads


@pytest.mark.parametrize("adopt", [False, True])
@pytest.mark.parametrize("name", ["outline.md", "cards/02-hum.png"])
def test_a_file_that_the_session_reads_is_never_replaced(out, name, adopt):
    put(out / name, b"read")
    before = there(out)
    with pytest.raises(
        InputError, match=f"the session reads these files, and outputs would replace them: {name}; move"
    ):
        write_outputs(out, NEW, inputs=[out / name, out / "not there"], adopt=adopt)
    assert there(out) == before


def test_a_file_that_the_session_reads_is_never_removed(out):
    assert write_outputs(out, NEW, inputs=[out / "cards/02-tone.png"]) == []
    assert there(out) == OLD | NEW | FOREIGN
    assert listed(out) == sorted(NEW)  # from now on it is the user's own
    with pytest.raises(InputError, match=r"may be yours: cards/02-tone\.png"):
        write_outputs(out, OLD)


@pytest.mark.skipif(os.name == "nt", reason="makes links as only other systems have them")
@pytest.mark.parametrize("to", ["out/outline.md", "link to link", "by folder/outline.md", "hard"])
def test_an_input_is_known_by_whatever_path_it_is_read(out, to):
    root = out.parent
    (root / "link to link").symlink_to("out/outline.md")
    (root / "by folder").symlink_to("out")
    (root / "photo").hardlink_to(out / "outline.md") if to == "hard" else (root / "photo").symlink_to(to)
    with pytest.raises(InputError, match="the session reads these files"):
        write_outputs(out, NEW, inputs=[root / "photo"])
    assert there(out) == OLD | FOREIGN


@pytest.mark.skipif(os.name == "nt", reason="makes links as only other systems have them")
def test_a_link_that_is_an_input_stays(out):
    put(out.parent / "front.png", b"photo")
    (out / "episode.html").symlink_to("../front.png")
    with pytest.raises(InputError, match="the session reads these files"):
        write_outputs(out, NEW, inputs=[out / "episode.html"])
    assert (out / "episode.html").is_symlink()


# ------------------------------------------------------------------ a folder in a file's place, and names in other case


@pytest.mark.parametrize("adopt", [False, True])
@pytest.mark.parametrize("name", ["outline.md", "cards/02-hum.png", MANIFEST])
def test_a_folder_in_a_files_place_stays(out, name, adopt):
    (out / name).unlink(missing_ok=True)
    put(out / name / "mine.txt", b"mine")
    before = there(out)
    with pytest.raises(InputError, match=f"a folder where there is a file, or the reverse: {name}"):
        write_outputs(out, NEW, adopt=adopt)
    assert there(out) == before


@pytest.mark.parametrize("adopt", [False, True])
def test_a_file_in_a_folders_place_stays(tmp_path, adopt):
    put(tmp_path / "cards", b"mine")
    with pytest.raises(InputError, match="or the reverse: cards;"):
        write_outputs(tmp_path, NEW, adopt=adopt)
    assert there(tmp_path) == {"cards": b"mine"}


RENAMED = {LAST: b"new", "cards/02-Tone.png": b"new tone"}


def test_a_card_whose_name_changes_case_replaces_the_one_before(out):
    assert write_outputs(out, RENAMED) == ["cards/01-title.png", "cards/02-tone.png", "outline.md"]
    assert there(out) == RENAMED | FOREIGN


def test_on_a_disk_that_ignores_case_it_is_not_removed_again(out, monkeypatch):
    """There both names lead to one entry, under one of them. Here a link stands for that."""
    (out / "cards/02-Tone.png").hardlink_to(out / "cards/02-tone.png")
    entries = os.listdir
    monkeypatch.setattr(os, "listdir", lambda folder: [name for name in entries(folder) if name != "02-Tone.png"])
    assert write_outputs(out, RENAMED) == ["cards/01-title.png", "outline.md"]
    assert there(out).items() >= RENAMED.items()
    assert listed(out) == sorted(RENAMED)


def test_a_file_of_the_users_whose_name_differs_in_case_is_the_users(out):
    put(out / "cards/02-Tone.png", b"mine")
    if (out / "cards/02-tone.png").read_bytes() == b"mine":
        pytest.skip("this disk ignores case")
    with pytest.raises(InputError, match=r"may be yours: cards/02-Tone\.png"):
        write_outputs(out, RENAMED)
    assert there(out) == OLD | FOREIGN | {"cards/02-Tone.png": b"mine"}


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
        write_outputs(out, NEW)
    assert str(out) in str(raised.value)
    assert there(out) == OLD | FOREIGN


def test_a_file_where_the_folder_should_be(tmp_path):
    (tmp_path / "out").write_bytes(b"mine")
    with pytest.raises(CannotFinish):
        write_outputs(tmp_path / "out", NEW)
    assert (tmp_path / "out").read_bytes() == b"mine"
