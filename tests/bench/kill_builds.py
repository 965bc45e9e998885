"""Builds killed at many random moments. Not a test: run it by hand; the suite does the same at a few.

    python tests/bench/kill_builds.py [--moments 200] [--full 50] [--seed 1]

After each: every output is the old or the new one, whole, none is lost, and the next build completes. Then the same
with a disk that is full from a random step on: one message, status 1, the old outputs. Prints a table; status 1 where
anything was found.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from stopped_builds import Two, fill_at_step, kill, moments, outputs, two  # noqa: E402


def filled(pair: Two, step: int) -> list[str]:
    """What is wrong after a build whose disk is full from this step on."""
    pair.restore()
    ran = fill_at_step(pair, step)
    wrong = [] if ran.stderr.count("\n") == ran.returncode else [f"status {ran.returncode}: {ran.stderr!r}"]
    if ran.returncode and outputs(pair.out) != pair.old:
        wrong.append("the outputs are not the old ones")
    return wrong


def main() -> int:
    """Do all of it; the status."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--moments", type=int, default=200)
    parser.add_argument("--full", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        pair = two(Path(name))
        print(f"a build of {pair.seconds:.2f} s with {pair.steps} steps that change the disk, {len(pair.new)} files")
        found: dict[str, list[list[str]]] = {"killed at a step": [], "killed at a time": [], "disk full": []}
        for how, moment in moments(pair, options.moments, options.seed):
            found[f"killed at a {how}"].append(kill(pair, how, moment))
        steps = random.Random(options.seed)
        found["disk full"] += [filled(pair, steps.randint(1, pair.steps)) for _ in range(options.full)]
    for what, each in found.items():
        print(f"{what:18} {len(each):4} times, {sum(map(bool, each))} with something wrong")
    wrong = [line for each in found.values() for lines in each for line in lines]
    print(*wrong, sep="\n")
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
