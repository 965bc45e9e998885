"""A build that is stopped, by whatever, loses nothing and leaves nothing half-written, and the next one completes."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import one_evening
import pytest
import stopped_builds
from one_evening import outputs, put
from stopped_builds import CHECKOUT, Two, kill, moments, small_disk

from reviewkit.build.build import build, hand_over, make
from reviewkit.build.cache import open_cache
from reviewkit.build.options import Options
from reviewkit.model.errors import CannotFinish

MOMENTS = 20
pytestmark = pytest.mark.long  # whole builds by the real command, again and again


@pytest.fixture(scope="module")
def pair(tmp_path_factory) -> Two:
    return stopped_builds.two(tmp_path_factory.mktemp("stopped"))


def test_killed_at_random_moments_every_file_is_the_old_or_the_new_one(pair):
    assert pair.steps > 100
    wrong = {moment: kill(pair, *moment) for moment in moments(pair, MOMENTS, 1)}
    assert {moment: found for moment, found in wrong.items() if found} == {}


def test_on_a_full_disk_there_is_one_message_and_the_old_outputs(pair):
    """At each of some steps in turn: the first, the last that needs room, and others between them."""
    for step in (1, 2, pair.steps // 8, pair.steps // 4, pair.steps // 2):
        pair.restore()
        ran = stopped_builds.fill_at_step(pair, step)
        assert ran.returncode == 1, step
        assert ran.stderr.count("\n") == 1
        assert "No space left on device; the outputs of the last build are still there" in ran.stderr
        assert ran.stdout == ""
        assert outputs(pair.out) == pair.old, step
    assert pair.completes()


@pytest.mark.parametrize("free_k", [0, 8, 300, 900])
def test_on_a_disk_that_is_really_full(pair, tmp_path, free_k):
    """A small file system, filled up to so many kilobytes."""
    with small_disk(tmp_path / "disk", 16_000) as is_there:
        if not is_there:
            pytest.skip("this machine lets nobody mount a file system in memory")
        out = tmp_path / "disk/out"
        shutil.copytree(pair.kept / "out", out)
        before = outputs(out)
        filler = tmp_path / "disk/filler"
        free = shutil.disk_usage(tmp_path / "disk").free
        filler.write_bytes(bytes(max(free - free_k * 1024, 0)))
        ran = subprocess.run(
            [sys.executable, "-m", "reviewkit", "build", str(pair.folder), "--out", str(out)],
            cwd=CHECKOUT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert (ran.returncode, ran.stdout) == (1, "")
        assert ran.stderr.startswith(f"reviewkit: could not finish: {out}: No space left on device; ")
        assert ran.stderr.count("\n") == 1
        assert outputs(out) == before
        filler.unlink()
        build(pair.folder, Options(out=out))
        assert outputs(out) == pair.new


def test_two_builds_of_one_session_at_once(pair):
    """Of two that want other things, the outputs are those of the one that came last, not some of each."""
    pair.restore()
    command = [sys.executable, "-m", "reviewkit", "build", str(pair.folder)]
    both = [subprocess.Popen([*command, *more], cwd=CHECKOUT) for more in ([], ["--overlay"])]
    assert [process.wait() for process in both] == [0, 0]
    found = outputs(pair.out)
    with_overlays = any(name.startswith("overlays/") for name in found)
    build(pair.folder, Options(out=pair.folder.parent / "both", overlay=with_overlays))
    assert found == outputs(pair.folder.parent / "both")


def test_what_two_builds_hand_over_at_once_is_never_mixed(pair, monkeypatch):
    """The second waits while the first moves its outputs in, however slow that is."""
    pair.restore()
    first, second = make(pair.folder, Options()), make(pair.folder, Options(overlay=True))
    move, waiting = os.replace, []

    def slow(source, place):
        if not waiting:
            waiting.append(subprocess.Popen([sys.executable, "-c", HAND_OVER, str(pair.out)], cwd=CHECKOUT))
            with pytest.raises(subprocess.TimeoutExpired):
                waiting[0].wait(1.0)
        move(source, place)

    monkeypatch.setattr(os, "replace", slow)
    hand_over(first, Options())
    assert waiting[0].wait(20) == 0
    assert (pair.out / "the second was here").exists()
    (pair.out / "the second was here").unlink()
    monkeypatch.undo()
    hand_over(second, Options(overlay=True))
    assert (pair.out / "overlays").is_dir()


HAND_OVER = """
import sys
from pathlib import Path
from reviewkit.build.write_outputs import alone
with alone(Path(sys.argv[1])):
    Path(sys.argv[1], "the second was here").touch()
"""


def test_a_folder_that_may_not_be_written(pair):
    pair.restore()
    for folder in (pair.out, *(path for path in pair.out.rglob("*") if path.is_dir())):
        folder.chmod(0o555)
    command = [sys.executable, "-m", "reviewkit", "build", str(pair.folder)]
    # whoever may do everything may also write here: without that right, where the system can take it
    without_rights = ["setpriv", "--bounding-set", "-all", "--inh-caps", "-all"]
    if os.geteuid() == 0 and not shutil.which("setpriv"):
        pytest.skip("run by one who may write everywhere, and this machine cannot take that right away")
    prefix = without_rights if os.geteuid() == 0 else []
    ran = subprocess.run([*prefix, *command], cwd=CHECKOUT, capture_output=True, text=True, check=False)
    try:
        assert (ran.returncode, ran.stdout) == (1, "")
        assert "Permission denied" in ran.stderr
        assert ran.stderr.count("\n") == 1
        assert outputs(pair.out) == pair.old
    finally:
        for folder in (pair.out, *(path for path in pair.out.rglob("*") if path.is_dir())):
            folder.chmod(0o755)


def test_where_nothing_changed_a_folder_need_not_be_writable(pair, tmp_path):
    folder = one_evening.write(tmp_path / "session")
    build(folder, Options(), cache=open_cache())
    for path in ((folder / "out"), *(folder / "out").rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        ran = subprocess.run([sys.executable, "-m", "reviewkit", "build", str(folder)], cwd=CHECKOUT, check=False)
        assert ran.returncode == 0
    finally:
        for path in ((folder / "out"), *(folder / "out").rglob("*")):
            path.chmod(0o755)


# ------------------------------------------------------------------ what is not ours


FOREIGN = dict.fromkeys(("mine.txt", "cards/03-mine.png", ".kept/mine", ".incoming-notes/x", "clips/cut.mp4"), "mine")


def test_files_of_others_stay_whatever_happens(pair):
    pair.restore()
    for name, content in FOREIGN.items():
        put(pair.out / name, content)
    stopped_builds.kill_at(pair, 0.5)
    stopped_builds.fill_at_step(pair, 1)
    build(pair.folder, Options(overlay=True))
    build(pair.folder, Options())
    found = outputs(pair.out)
    assert {name: found[name].decode() for name in FOREIGN} == FOREIGN
    assert {name: content for name, content in found.items() if name not in FOREIGN} == pair.new


@pytest.mark.parametrize("link", ["cards", "strips"])
def test_a_link_that_leads_out_is_not_followed(pair, tmp_path, link):
    """What is written, moved over or removed would be elsewhere."""
    pair.restore()
    elsewhere = tmp_path / "elsewhere"
    shutil.copytree(pair.out / "cards", elsewhere)
    before = outputs(elsewhere)
    shutil.rmtree(pair.out / link)
    (pair.out / link).symlink_to(elsewhere)
    with pytest.raises(CannotFinish, match="is a link to another place"):
        build(pair.folder, Options())
    assert outputs(elsewhere) == before


def test_a_link_where_a_build_writes_first_is_taken_away(pair, tmp_path):
    pair.restore()
    put(tmp_path / "elsewhere/mine.txt", "mine")
    (pair.out / f".incoming-{os.getpid()}").symlink_to(tmp_path / "elsewhere")
    assert pair.completes()
    assert outputs(tmp_path / "elsewhere") == {"mine.txt": b"mine"}


def test_a_link_in_a_files_place_is_moved_over(pair, tmp_path):
    pair.restore()
    put(tmp_path / "mine.txt", "mine")
    (pair.out / "outline.md").unlink()
    (pair.out / "outline.md").symlink_to(tmp_path / "mine.txt")
    build(pair.folder, Options())
    assert (tmp_path / "mine.txt").read_text(encoding="utf-8") == "mine"
    assert not (pair.out / "outline.md").is_symlink()
    assert outputs(pair.out) == pair.new


def test_the_sessions_own_place_for_outputs_may_be_no_link(pair, tmp_path):
    folder = one_evening.write(tmp_path / "session")
    (tmp_path / "elsewhere").mkdir()
    (folder / "out").symlink_to(tmp_path / "elsewhere")
    ran = subprocess.run(
        [sys.executable, "-m", "reviewkit", "build", str(folder)],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 2
    assert "out: is a link; remove it, or name the folder that it leads to with --out" in ran.stderr
    assert not any((tmp_path / "elsewhere").iterdir())


def test_leftovers_of_a_killed_build_are_swept(pair):
    pair.restore()
    stopped_builds.kill(pair, "step", pair.steps // 2)
    assert not [path for path in pair.out.rglob("*") if ".incoming-" in path.name]


def test_a_publication_is_remembered_whole_or_not_at_all(pair, tmp_path, monkeypatch):
    folder = one_evening.write(tmp_path / "session")
    build(folder, Options(published=True))
    before = (folder / "published.json").read_bytes()
    put(folder / "measurements/leak.csv", one_evening.leak(-50))
    published = Options(published=True)
    ready, flush = make(folder, published), os.fsync
    built = hand_over(ready, published)
    assert built.files
    now = (folder / "published.json").read_bytes()
    assert now != before
    put(folder / "measurements/leak.csv", one_evening.leak(-55))
    ready = make(folder, published)
    monkeypatch.setattr(os, "fsync", lambda file: flush(file) if _is_in(file, "out") else refuse())
    with pytest.raises(CannotFinish):
        hand_over(ready, published)
    assert (folder / "published.json").read_bytes() == now
    assert [path.name for path in folder.iterdir() if path.name.startswith(".")] == []


def _is_in(file: int, name: str) -> bool:
    return name in Path(f"/proc/self/fd/{file}").readlink().parts


def refuse() -> None:
    raise OSError(28, "No space left on device")
