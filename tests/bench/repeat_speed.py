"""How long it takes to build again, beside a script that draws the same files anew. Not a test: run it by hand.

    python tests/bench/repeat_speed.py SCRIPT SESSION_TOML SWEEP [--pairs 5] [--sessions 10]

SCRIPT and SESSION_TOML as in build_speed.py; SWEEP is the name of one of the files, which is changed by a last digit.
The script draws everything each time; beside it a build where nothing changed, and one where that sweep did. Then so
many sessions, built from nothing in one command by one process and by two, and half as many. Each runs in a new
interpreter.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median

from build_speed import seconds

MOST_UNCHANGED, MOST_CHANGED, LEAST_GAIN = 1 / 30, 1 / 4, 1.7


def changed(sweep: Path, times: int) -> None:
    """Write another last digit into the middle line of a file."""
    lines = sweep.read_text(encoding="utf-8").splitlines()
    middle = len(lines) // 2
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
        for jobs in (1, 2):
            build(folder, jobs=jobs)
            numbers = iter(range(1, 1000))

            def again(jobs: int = jobs) -> float:
                return build(folder, jobs=jobs)

            def after_a_change(again: Callable[[], float] = again, numbers: object = numbers) -> float:
                changed(sweep, next(numbers))  # type: ignore[call-overload]
                return again()

            for what, ours, most in (
                ("nothing changed", again, MOST_UNCHANGED),
                ("one sweep changed", after_a_change, MOST_CHANGED),
            ):
                against(f"{what}, --jobs {jobs}", ours, lambda: seconds(draw), options.pairs, most)
        several(folder, Path(name), options.sessions, options.pairs)


def several(folder: Path, place: Path, number: int, rounds: int) -> None:
    """Sessions from nothing by one process and by two, and half of them."""
    shutil.rmtree(folder / "out", ignore_errors=True)
    folders = [Path(shutil.copytree(folder, place / f"session-{index}")) for index in range(number)]

    def anew(some: list[Path], jobs: int) -> float:
        for each in some:
            shutil.rmtree(each / "out", ignore_errors=True)
        return build(*some, jobs=jobs)

    half = folders[: number // 2]
    taken = [(anew(folders, 1), anew(folders, 2), anew(half, 2)) for _ in range(min(rounds, 3))]
    alone, together, of_half = (median(times) for times in zip(*taken, strict=True))
    print(
        f"{number} sessions: one process {alone:.1f} s, two {together:.1f} s, {alone / together:.2f} times as fast; "
        f"at least {LEAST_GAIN} wanted; {len(half)} by two: {of_half:.1f} s, {together / of_half:.2f} times less"
    )


if __name__ == "__main__":
    main()
