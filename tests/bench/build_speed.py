"""How long a build takes beside a script that draws the same files, and how it grows. Not a test: run it by hand.

    python tests/bench/build_speed.py SCRIPT SESSION_TOML [--pairs 5] [--jobs N] [--without KIND,KIND --only NAME,NAME]

SCRIPT takes `gen DATA` (make the files) and `draw DATA OUT --size 1080|2160 [--only NAME,NAME]`; SESSION_TOML lists the
same files under measurements/. The two take turns, each in a new interpreter, so that a busy machine is busy for both.
A build counts whole: cards, the page's pictures, all figures, checks and texts. Both run once before they are timed, so
that modules are there as bytecode, as they are where a package is installed. `--without` leaves out measurements of
some kinds, and `--only` then names the charts that the script is to draw.
"""

from __future__ import annotations

import argparse
import atexit
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from functools import cache
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parents[2]
SIZES = ("1080", "2160")
MOST = {"1080": 0.45, "2160": 0.30}  # of the script's time


def seconds(command: list[str | Path]) -> float:
    """How long a command takes from its start to its end. Stops with what it said if it fails."""
    start = time.perf_counter()
    ran = subprocess.run(command, capture_output=True, text=True, env=environment())
    if ran.returncode:
        sys.exit(f"{' '.join(map(str, command))}\n{ran.stdout}{ran.stderr}")
    return time.perf_counter() - start


@cache
def environment() -> dict[str, str]:
    """The environment that both run in; bytecode is kept, in a folder of its own."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    modules = {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(folder / "modules")}
    return {**kept, **modules, "REVIEWKIT_CACHE": str(folder / "cache")}


def empty_cache() -> None:
    """Remove all that earlier builds have stored."""
    shutil.rmtree(environment()["REVIEWKIT_CACHE"], ignore_errors=True)


def without(session: str, kinds: list[str]) -> str:
    """A session's text without the measurements of some kinds."""
    head, *tables = session.split("[[measurement]]")
    kept = [table for table in tables if not re.search(rf'^kind = "({"|".join(kinds)})"', table, re.MULTILINE)]
    return "[[measurement]]".join([head, *(kept if kinds else tables)])


def copies(session: str, number: int) -> str:
    """A session's text with every measurement so many times over, each with an id of its own."""
    head, *tables = session.split("[[measurement]]")
    found = [head]
    for copy in range(number):
        for index, table in enumerate(tables):
            bare = re.sub(r"^id = .*\n", "", table, flags=re.MULTILINE)
            found.append(f'\nid = "m{index}-{copy}"{bare}')
    return "[[measurement]]".join(found)


def build(folder: Path, size: str, jobs: str) -> float:
    """A cold build: nothing of an earlier one is there, and the cache is empty. `jobs`: "" leaves the option out."""
    shutil.rmtree(folder / "out", ignore_errors=True)
    empty_cache()
    option = ["--jobs", jobs] if jobs else []
    return seconds([sys.executable, "-m", "reviewkit", "build", folder, "--size", size, "--quiet", *option])


def main() -> None:
    """Make the files, let both draw them in turns, print medians and ratios."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("script", type=Path)
    parser.add_argument("session", type=Path)
    parser.add_argument("--pairs", type=int, default=5)
    parser.add_argument("--jobs", default="", help="processes; without it as many as the program chooses")
    parser.add_argument("--without", default="", help="kinds, separated by commas")
    parser.add_argument("--only", default="", help="charts of the script, separated by commas")
    parser.add_argument("--growth", action="store_true", help="also one, two and four times as many measurements")
    options = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, Python {sys.version.split()[0]}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        data = folder / "measurements"
        seconds([sys.executable, options.script, "gen", data])
        text = without(options.session.read_text(encoding="utf-8"), list(filter(None, options.without.split(","))))
        (folder / "session.toml").write_text(text, encoding="utf-8")
        only = ["--only", options.only] if options.only else []
        for size in SIZES:
            draw = [sys.executable, options.script, "draw", data, folder / "drawn", "--size", size, *only]
            seconds(draw)
            build(folder, size, options.jobs)
            pairs = []
            for _ in range(options.pairs):
                drawn = seconds(draw)
                pairs.append((build(folder, size, options.jobs), drawn))
            ours, theirs = (median(times) for times in zip(*pairs, strict=True))
            ratio = median(one / other for one, other in pairs)
            print(
                f"{size}: build {ours:.2f} s, script {theirs:.2f} s (medians of {len(pairs)}); "
                f"ratio {ours / theirs:.2f} (median of the pairs' {ratio:.2f}); at most {MOST[size]} wanted"
            )
        if options.growth:
            for number in (1, 2, 4):
                (folder / "session.toml").write_text(copies(text, number), encoding="utf-8")
                taken = median(build(folder, "1080", options.jobs) for _ in range(3))
                cards = len(list((folder / "out/cards").iterdir()))
                print(f"growth: {number} × the measurements, {cards} cards, {taken:.2f} s")


if __name__ == "__main__":
    main()
