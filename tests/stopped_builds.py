"""The real command stopped on its way: killed at a moment or at a step, or with a disk that is full. For the suite and
for the longer run in tests/bench/.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import one_evening
from one_evening import outputs, put

from reviewkit.build.build import build
from reviewkit.build.cache import VARIABLE, open_cache
from reviewkit.build.options import Options
from reviewkit.build.write_outputs import MANIFEST

CHECKOUT = Path(__file__).resolve().parents[1]
# Counts every call that changes what is on the disk, and at one of them ends as a process does that is killed there, or
# has the disk refuse it and every later one.
_PROGRAM = """
import errno, os, signal, sys
nth, what = int(sys.argv.pop(1)), sys.argv.pop(1)
calls = 0
def counted(call):
    def counting(*arguments, **keys):
        global calls
        calls += 1
        if calls == nth and what == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        if calls >= nth and what == "full" and call.__name__ in ("fsync", "mkdir"):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return call(*arguments, **keys)
    return counting
for name in ("fsync", "mkdir", "replace", "rmdir", "unlink", "utime"):
    setattr(os, name, counted(getattr(os, name)))
from reviewkit.commands.cli import run
status = run(sys.argv[1:])
if what == "count":
    print(calls)
sys.stdout.flush()
os._exit(status)
"""


@dataclass(frozen=True)
class Two:
    """A session that was built, then changed in every card. `old`, `new`: its outputs before and after the next build;
    `steps`: of that build that change the disk; `seconds`: how long it takes.
    """

    folder: Path
    kept: Path  # the outputs before the next build, and the cache as it was then
    old: dict[str, bytes]
    new: dict[str, bytes]
    steps: int
    seconds: float

    @property
    def out(self) -> Path:
        return self.folder / "out"

    @property
    def cache(self) -> Path:
        return self.folder.parent / "cache"

    def restore(self) -> None:
        """The outputs and the cache as the last build left them, times and all."""
        for folder, kept in ((self.out, self.kept / "out"), (self.cache, self.kept / "cache")):
            shutil.rmtree(folder, ignore_errors=True)
            shutil.copytree(kept, folder)

    def broken(self) -> list[str]:
        """The outputs that are neither the old nor the new ones, whole."""
        found = []
        for name, content in outputs(self.out).items():
            if name.startswith(".incoming-"):
                continue
            if name == MANIFEST:
                whole = isinstance(json.loads(content), list)
            else:
                whole = content in (self.old.get(name), self.new.get(name))
            if not whole:
                found.append(name)
        return found

    def lost(self) -> list[str]:
        """The outputs that were there, are to be there, and are not."""
        return sorted((set(self.old) & set(self.new)) - set(outputs(self.out)))

    def completes(self) -> bool:
        """Whether the next build leaves what it would have left, and nothing else."""
        os.environ[VARIABLE] = str(self.cache)
        build(self.folder, Options(), cache=open_cache())
        return outputs(self.out) == self.new


def two(folder: Path) -> Two:
    """Make the session, and find out what its builds leave."""
    session, kept, afresh = folder / "session", folder / "kept", folder / "afresh"
    one_evening.write(session)
    os.environ[VARIABLE] = str(folder / "cache")
    build(session, Options(), cache=open_cache())
    kept.mkdir()
    shutil.move(session / "out", kept / "out")
    shutil.copytree(folder / "cache", kept / "cache")
    put(
        session / "session.toml", one_evening.SESSION.replace('"Forty"', '"Forty B"').replace("bass full up", "bass up")
    )
    put(session / "measurements/leak.csv", one_evening.leak(-62))
    put(session / "final.txt", "0:00 opening\n0:40 after\n1:30 closing\n")  # one output more
    (session / "repair.csv").unlink()  # and some less
    shutil.copytree(kept / "out", session / "out")
    began = time.perf_counter()
    ran = _stopped(session, 0, "count")
    seconds = time.perf_counter() - began
    assert ran.returncode == 0, ran.stderr
    new = outputs(session / "out")
    build(session, Options(out=afresh))
    assert new == outputs(afresh)
    return Two(session, kept, outputs(kept / "out"), new, int(ran.stdout), seconds)


def kill_at_step(pair: Two, step: int) -> None:
    """Run the command, and have it killed at one of its steps."""
    assert _stopped(pair.folder, step, "kill").returncode == -signal.SIGKILL


def kill_at(pair: Two, share: float, jobs: int = 2) -> bool:
    """Run the command with several processes and kill the first of them after a share of its time. Whether it came so
    far as to end by itself; if not, those that it began must end, too.
    """
    arguments = [sys.executable, "-m", "reviewkit", "build", str(pair.folder), "--jobs", str(jobs)]
    with subprocess.Popen(arguments, cwd=CHECKOUT, stderr=subprocess.PIPE, start_new_session=True) as process:
        try:
            return process.wait(share * pair.seconds) == 0
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
    _wait_for_the_group(process.pid)
    return False


def _wait_for_the_group(leader: int) -> None:
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            os.killpg(leader, 0)
        except ProcessLookupError:
            return
        time.sleep(0.02)
    os.killpg(leader, signal.SIGKILL)
    raise AssertionError("a process that the build began outlives it")


def fill_at_step(pair: Two, step: int) -> subprocess.CompletedProcess[str]:
    """Run the command on a disk that is full from one of its steps on."""
    return _stopped(pair.folder, step, "full")


def _stopped(folder: Path, step: int, what: str) -> subprocess.CompletedProcess[str]:
    arguments = [sys.executable, "-c", _PROGRAM, str(step), what, "build", str(folder)]
    return subprocess.run(arguments, cwd=CHECKOUT, capture_output=True, text=True, check=False)


def moments(pair: Two, number: int, seed: int) -> Iterator[tuple[str, float]]:
    """Random moments of a build: half of them steps that change the disk, half any time in it."""
    chosen = random.Random(seed)
    for index in range(number):
        yield ("step", chosen.randint(1, pair.steps)) if index % 2 else ("time", chosen.uniform(0.02, 1.0))


def kill(pair: Two, how: str, moment: float) -> list[str]:
    """Kill a build at a moment; what is wrong after it."""
    pair.restore()
    if how == "step":
        kill_at_step(pair, int(moment))
    else:
        kill_at(pair, moment)
    wrong = [f"{name} is broken" for name in pair.broken()] + [f"{name} is lost" for name in pair.lost()]
    if not wrong and not pair.completes():
        wrong.append("the next build leaves something else")
    return wrong


@contextmanager
def small_disk(place: Path, kilobytes: int) -> Iterator[bool]:
    """A file system of this size at `place`; False where this machine lets nobody mount one."""
    place.mkdir(exist_ok=True)
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", place], capture_output=True, check=False
    )
    try:
        yield mounted.returncode == 0
    finally:
        if mounted.returncode == 0:
            subprocess.run(["umount", "-l", place], check=True)


__all__ = ["Two", "fill_at_step", "kill", "kill_at", "moments", "outputs", "small_disk", "two"]
