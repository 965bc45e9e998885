"""How long it takes to build again, beside a script that draws the same files anew. Not a test: run it by hand.

    python tests/bench/repeat_speed.py SCRIPT SESSION_TOML SWEEP [--pairs 5] [--sessions 10]

SCRIPT and SESSION_TOML as in build_speed.py; SWEEP is the name of one of the files, which is changed by a last digit.
The script draws everything each time; beside it a build where nothing changed, and one where that sweep did. Then so
many sessions, built from nothing and with an empty cache in one command by one process and by two, and half as many. No
two of them share a measurement file or a card, so that none finds another's results in the cache. Each runs in a new
interpreter. What two processes can gain on this machine is measured in the same turns: the script drawing twice, one
after the other and both at the same time.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path
from statistics import median

from build_speed import empty_cache, environment, seconds

MOST_UNCHANGED, MOST_CHANGED, LEAST_GAIN = 1 / 30, 1 / 4, 1.7


def changed(sweep: Path, times: int) -> None:
    """Write another last digit into the middle line of a file; after every tenth time, into the next line."""
    lines = sweep.read_text(encoding="utf-8").splitlines()
    middle = len(lines) // 2 + times // 10
    lines[middle] = re.sub(r"\d(?=\D*$)", str(times % 10), lines[middle])
    sweep.write_text("\n".join([*lines, ""]), encoding="utf-8")


def build(*folders: Path, jobs: int) -> float:
    """One command for these sessions."""
    return seconds([sys.executable, "-m", "reviewkit", "build", *folders, "--jobs", str(jobs), "--quiet"])


def against(name: str, ours: Callable[[], float], theirs: Callable[[], float], pairs: int, most: float) -> None:
    """The two in turns; prints medians and their ratio."""
    taken = [(ours(), theirs()) for _ in range(pairs)]
    one, other = (median(times) for times in zip(*taken, strict=True))
    print(f"{name}: {one:.3f} s, script {other:.2f} s; ratio 1/{other / one:.1f}; at most 1/{1 / most:.0f} wanted")


def main() -> None:
    """Make the files, run all of it, print medians and ratios."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("script", type=Path)
    parser.add_argument("session", type=Path)
    parser.add_argument("sweep")
    parser.add_argument("--pairs", type=int, default=5)
    parser.add_argument("--sessions", type=int, default=10)
    options = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, Python {sys.version.split()[0]}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "session"
        data, sweep = folder / "measurements", folder / "measurements" / options.sweep
        seconds([sys.executable, options.script, "gen", data])
        shutil.copy(options.session, folder / "session.toml")
        draw = [sys.executable, options.script, "draw", data, Path(name) / "drawn", "--size", "1080"]
        seconds(draw)
        numbers = count(1)  # no change is made twice, for the cache would have its results
        for jobs in (1, 2):
            build(folder, jobs=jobs)

            def again(jobs: int = jobs) -> float:
                return build(folder, jobs=jobs)

            def after_a_change(again: Callable[[], float] = again) -> float:
                changed(sweep, next(numbers))
                return again()

            for what, ours, most in (
                ("nothing changed", again, MOST_UNCHANGED),
                ("one sweep changed", after_a_change, MOST_CHANGED),
            ):
                against(f"{what}, --jobs {jobs}", ours, lambda: seconds(draw), options.pairs, most)
        several(folder, Path(name), options.sessions, options.pairs, draw)


def several(folder: Path, place: Path, number: int, rounds: int, draw: list[str | Path]) -> None:
    """Sessions from nothing by one process and by two, and half of them; beside it the script by one and by two."""
    folders = [unlike(folder, place / f"session-{index}", index) for index in range(number)]

    def from_nothing(some: list[Path], jobs: int) -> float:
        for each in some:
            shutil.rmtree(each / "out", ignore_errors=True)
        empty_cache()
        return build(*some, jobs=jobs)

    half = folders[: number // 2]
    taken = [
        (
            from_nothing(folders, 1),
            from_nothing(folders, 2),
            from_nothing(half, 2),
            seconds(draw) + seconds(draw),
            at_a_time(draw),
        )
        for _ in range(min(rounds, 3))
    ]
    alone, together, of_half, in_turn, side_by_side = (median(times) for times in zip(*taken, strict=True))
    print(
        f"{number} sessions: one process {alone:.1f} s, two {together:.1f} s, {alone / together:.2f} times as fast; "
        f"at least {LEAST_GAIN} wanted; {len(half)} by two: {of_half:.1f} s, {together / of_half:.2f} times less"
    )
    print(
        f"the script twice: in turn {in_turn:.1f} s, at a time {side_by_side:.1f} s, "
        f"{in_turn / side_by_side:.2f} times as fast"
    )


def unlike(folder: Path, copy: Path, number: int) -> Path:
    """Copy a session with another digit in each of its measurements, and another model in its cards' texts."""
    shutil.copytree(folder, copy, ignore=shutil.ignore_patterns("out"))
    for file in (copy / "measurements").iterdir():
        changed(file, number)
    session = copy / "session.toml"
    named = re.sub(r'^(model = ".*)"', rf'\1 {number}"', session.read_text(encoding="utf-8"), flags=re.MULTILINE)
    session.write_text(named, encoding="utf-8")
    return copy


def at_a_time(command: list[str | Path]) -> float:
    """How long a command takes that runs twice at the same time."""
    start = time.perf_counter()
    both = [subprocess.Popen(command, env=environment()) for _ in range(2)]
    statuses = [process.wait() for process in both]
    if any(statuses):
        sys.exit(f"{' '.join(map(str, command))} failed")
    return time.perf_counter() - start


if __name__ == "__main__":
    main()
