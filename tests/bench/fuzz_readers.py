"""Every reader fed with wild files for as long as is wanted. Not a test: run it by hand; it needs hypothesis.

    python tests/bench/fuzz_readers.py [--minutes 60] [--seed 0] [--keep FOLDER] [--readers sheet,notes]

The readers take turns: some hundred small files each (tests/ingest/wild_files.py), then some that are swollen to up to
a megabyte. Each file must be read, or refused in words that help (tests/ingest/every_reader.py), within two seconds
of processor time for a megabyte and with at most twenty times its size of memory, above a base of 8 MB. A line is
printed every minute, and a table at the end. Whatever is wrong is made as small as hypothesis can make it, and saved in
FOLDER; a large one is cut down by halves, and so is one on which the whole process dies. The same fault is told
once. Status 1 where anything was found.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import multiprocessing
import os
import queue
import re
import signal
import sys
import tempfile
import time
import traceback
import tracemalloc
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import hypothesis
from hypothesis import HealthCheck, Phase, given, settings

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "ingest"), str(TESTS / "truth")]

from every_reader import Reader, every_reader, wrong  # noqa: E402
from wild_files import swollen, wild  # noqa: E402

SMALL, LARGE = 400, 12  # files of a turn
MOST_S, MOST_TIMES = 2.0, 20
BASE_BYTES = 8_000_000  # that a reader may take whatever the size of its input
HANGS_S = 20.0  # of processor time, after which a reader is stopped; tracing memory makes it some four times as slow
DIES_S = 60.0  # of a process that says nothing for so long no more is expected
RATIO_FROM = 20_000  # bytes of input from which the ratio says something
CONTEXT = multiprocessing.get_context("spawn")


@dataclass
class Told:
    """What was seen of one reader. Ratios: of memory at its peak to the input, for inputs that are not tiny."""

    examples: int = 0
    slowest_s: float = 0.0
    ratio: float = 0.0
    failures: set[str] = field(default_factory=set)


class Hangs(BaseException):
    """A reader has been at work too long. No Exception, so that nothing on the way takes it for its own."""


@contextlib.contextmanager
def watched() -> Iterator[None]:
    """Ends what takes too long, where the system has the signal for it."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def stop(*_: object) -> None:
        raise Hangs

    signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, HANGS_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)


def tried(reader: Reader, data: bytes) -> str:
    """What is wrong with one reading: a word, an exception with its place, a hang; "" for nothing."""
    try:
        with watched():
            return wrong(reader, data)
    except Hangs as stopped:
        return f"hangs, at {_place(stopped)}"
    except Exception as error:  # whatever a reader raises is what is looked for
        return f"{type(error).__name__}: {str(error)[:200]!a}, at {_place(error)}"


def _place(error: BaseException) -> str:
    steps = traceback.extract_tb(error.__traceback__)
    own = [step for step in steps if "reviewkit" in Path(step.filename).parts] or steps
    return f"{Path(own[-1].filename).name}:{own[-1].lineno}"


def measured(reader: Reader, data: bytes, told: Told) -> str:
    """The same with time and memory."""
    tracemalloc.start()
    begun = time.process_time()
    try:
        bad = tried(reader, data)
        seconds, peak = time.process_time() - begun, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    most_s = MOST_S * max(1.0, len(data) / 1e6) * reader.passes
    if seconds > most_s and (not bad or bad.startswith("hangs")):
        begun = time.process_time()  # once more, without the tracing that makes it slow
        bad = tried(reader, data)
        seconds = time.process_time() - begun
    told.examples += 1
    told.slowest_s = max(told.slowest_s, seconds)
    if len(data) >= RATIO_FROM:
        told.ratio = max(told.ratio, peak / len(data))
    if not bad and seconds > most_s:
        return f"slow: {seconds:.1f} s for {len(data)} bytes"
    if not bad and peak > MOST_TIMES * len(data) + BASE_BYTES:
        return f"large: {peak / 1e6:.0f} MB for {len(data)} bytes"
    return bad


def kind_of(bad: str) -> str:
    """The same for the same fault, whatever the file."""
    words = bad.partition(":")[0] if bad.startswith(("slow", "large", "a message")) else bad
    return (
        re.sub(r"\d+|'.*'|\".*\"", "#", words)[:80] + bad[-20:] if " at " in bad[-40:] else re.sub(r"\d+", "#", words)
    )


def search(reader: Reader, swell: bool, seed: int, known: set[str], now: Path) -> tuple[Told, str, bytes]:
    """A stretch of one reader's turn: what was seen, and what is wrong and not known, with the smallest such file."""
    told = Told()
    last: dict[str, Any] = {}
    how = settings(
        max_examples=LARGE if swell else SMALL,
        database=None,
        deadline=None,
        derandomize=False,
        report_multiple_bugs=False,
        phases=(Phase.generate,) if swell else (Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
    )

    @hypothesis.seed(seed)
    @how
    @given(swollen(reader) if swell else wild(reader))
    def look(data: bytes) -> None:
        now.write_bytes(data)
        bad = measured(reader, data, told)
        if bad and kind_of(bad) not in known and kind_of(bad) == last.setdefault("kind", kind_of(bad)):
            last.update(data=data, bad=bad)
            raise AssertionError(bad)

    with contextlib.suppress(AssertionError, hypothesis.errors.Flaky):
        look()
    bad, data = last.get("bad", ""), last.get("data", b"")
    if bad and swell:  # hypothesis would take an hour to make it small
        data = cut_down(data, lambda less: kind_of(measured(reader, less, told)) == last["kind"], most=25)
    return told, bad, data


def work(names: list[str], seed: int, known: dict[str, set[str]], until: float, now: Path, said: Any) -> None:
    """What the process does that the readers run in: turn after turn, each told to the one that watches."""
    readers = every_reader()
    for reader in readers.values():
        tried(reader, reader.good[0])  # everything is imported and begun
    parent = os.getppid()
    while time.time() < until:
        for name in names:
            for swell in (False, True):
                told, bad, data = search(readers[name], swell, seed, known[name], now)
                if bad:
                    known[name].add(kind_of(bad))
                said.put((name, told, bad, data))
            if os.getppid() != parent:
                return  # nobody listens any more
            if time.time() >= until:
                break
        seed += 1


def dies(name: str, data: bytes) -> bool:
    """Whether a process of its own does not outlive this file."""
    process = CONTEXT.Process(target=_once, args=(name, data))
    process.start()
    process.join(DIES_S)
    if process.is_alive():
        process.kill()
        process.join()
    return process.exitcode != 0


def _once(name: str, data: bytes) -> None:
    tried(every_reader()[name], data)


def cut_down(data: bytes, fails: Callable[[bytes], bool], most: int = 60) -> bytes:
    """A smaller file that fails as well, found by leaving out halves, quarters and so on, in at most so many trials."""
    size = len(data) // 2
    while size and most > 0:
        at = 0
        while at < len(data) and most > 0:
            less = data[:at] + data[at + size :]
            most -= 1
            if fails(less):
                data = less
            else:
                at += size
        size //= 2
    return data


def saved(keep: Path, name: str, bad: str, data: bytes) -> None:
    """Keep a file that shows a fault, and say so."""
    keep.mkdir(parents=True, exist_ok=True)
    stem = f"{name.replace(' ', '-')}-{hashlib.sha256(data).hexdigest()[:8]}"
    (keep / f"{stem}.bin").write_bytes(data)
    (keep / f"{stem}.txt").write_text(f"{name}: {bad}\n", encoding="utf-8")
    print(f"FOUND {name}: {bad[:300]} ({len(data)} bytes: {keep / stem}.bin)", flush=True)


def main() -> None:
    """Start the process that reads, watch it, start another where it dies, print."""
    parser = argparse.ArgumentParser(description="Feed every reader with wild files.")
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "fuzzed-readers")
    parser.add_argument("--readers", default=",".join(every_reader()))
    options = parser.parse_args()
    names = options.readers.split(",")
    begun, seed = time.time(), options.seed * 1_000_000
    until, printed = begun + 60 * options.minutes, 0
    seen = {name: Told() for name in names}
    options.keep.mkdir(parents=True, exist_ok=True)
    now = options.keep / "now.bin"
    while time.time() < until:
        said = CONTEXT.Queue()
        known = {name: set(told.failures) for name, told in seen.items()}
        process = CONTEXT.Process(target=work, args=(names, seed, known, until, now, said))
        process.start()
        heard, at = time.time(), names[0]
        while process.is_alive() or not said.empty():
            with contextlib.suppress(queue.Empty):
                name, told, bad, data = said.get(timeout=1)
                heard, at = time.time(), name
                total = seen[name]
                total.examples += told.examples
                total.slowest_s = max(total.slowest_s, told.slowest_s)
                total.ratio = max(total.ratio, told.ratio)
                if bad:
                    total.failures.add(kind_of(bad))
                    saved(options.keep, name, bad, data)
            # making a fault small takes as much as five minutes
            if time.time() - heard > 400 + DIES_S:
                process.kill()
            if (minute := int((time.time() - begun) // 60)) > printed:
                printed = minute
                count, found = sum(t.examples for t in seen.values()), sum(len(t.failures) for t in seen.values())
                print(f"{minute:3d} min: {count} files, {found} faults", flush=True)
        process.join()
        if process.exitcode and process.exitcode > 0:
            raise SystemExit("this script itself has failed")
        if process.exitcode:
            # the reader at work is the one heard of last, or the next in turn
            data = now.read_bytes()
            order = names[names.index(at) :] + names[: names.index(at)]
            name = next((each for each in order if dies(each, data)), "")
            if name:
                seen[name].failures.add(f"dies {len(seen[name].failures)}")
                data = cut_down(data, partial(dies, name))
                saved(options.keep, name, f"the process died ({process.exitcode})", data)
            else:  # stopped or ended from outside
                print(
                    f"the process ended ({process.exitcode}), and on its last file no reader does so again", flush=True
                )
        seed += 500_000
    now.unlink(missing_ok=True)
    print(f"{'reader':<16}{'files':>9}{'slowest, s':>12}{'memory/size':>13}{'faults':>8}")
    for name, told in seen.items():
        print(f"{name:<16}{told.examples:>9}{told.slowest_s:>12.2f}{told.ratio:>13.1f}{len(told.failures):>8}")
    raise SystemExit(any(told.failures for told in seen.values()))


if __name__ == "__main__":
    main()
