"""How long a plain million-row file takes to read and how much memory, beside a fast general-purpose parser.

Run `python tests/bench/read_speed.py` from the checkout. It writes a file of a million rows and three columns, and one
with a single odd line in it, and prints:

- the time against that of pandas' C engine (`read_csv` with dtype float64) on the same file: medians of runs in turn,
  so that what else the machine does weighs on both. This reader looks at each cell, so as to say what is wrong in
  which line; 4.0 to 4.4 were measured. Recent pandas parses a path in several threads, so the figure means most on an
  idle machine.
- the memory at its peak, above what the imports take, against that of the arrays that come out, in a process of its
  own. At most 3 is promised.
- the time of the file with the odd line against that of the plain one.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

CHECKOUT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(CHECKOUT))

from reviewkit.ingest.sheet.sheet_file import parse_sheet, read_export  # noqa: E402

ROWS = 1_000_000
RUNS = 15


def write(path: Path, rows: int = ROWS, odd: str = "") -> None:
    """A capture of two channels; `odd`: a line put into its middle."""
    seconds = np.arange(rows) / 48_000
    left = 3 * np.sin(2000 * np.pi * seconds)
    right = 1.01 * left + 1e-3 * np.random.default_rng(1).normal(size=rows)
    lines = [f"{t:.9f},{v:.7f},{w:.7f}" for t, v, w in zip(seconds, left, right, strict=True)]
    if odd:
        lines.insert(rows // 2, odd)
    path.write_text("Time (s),Left (V),Right (V)\n" + "\n".join(lines) + "\n", encoding="ascii")


def seconds_of(work: Callable[[], object]) -> float:
    """How long one call takes."""
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def peak() -> int:
    """The most memory this process has had, bytes. Linux; getrusage would count that of the process it came from."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return 1024 * int(status.partition("VmHWM:")[2].split()[0])


def memory_ratio(path: Path) -> float:
    """Memory at its peak above what was taken before, over the arrays' own. For a process that has read nothing."""
    begin = b"Time (s),V\n" + b"".join(b"%d.5,1.5\n" % n for n in range(60_000))
    parse_sheet(begin, "begin")  # everything is imported and begun
    before = peak()
    sheet = parse_sheet(read_export(path, path.name), path.name)
    return (peak() - before) / sum(column.values.nbytes for column in sheet.columns)


def main() -> None:
    """Write the files, measure, print."""
    with tempfile.TemporaryDirectory() as folder:
        plain, odd = Path(folder) / "plain.csv", Path(folder) / "odd.csv"
        write(plain)
        write(odd, odd="# warm")
        again = [sys.executable, __file__, "--memory", str(plain)]
        memory = float(subprocess.run(again, capture_output=True, text=True, check=True).stdout)
        works = {
            "pandas": lambda: pd.read_csv(plain, dtype=np.float64),
            "plain": lambda: parse_sheet(read_export(plain, "plain.csv"), "plain.csv"),
            "odd": lambda: parse_sheet(read_export(odd, "odd.csv"), "odd.csv"),
        }
        taken: dict[str, list[float]] = {name: [] for name in works}
        for _ in range(RUNS):
            for name, work in works.items():
                taken[name].append(seconds_of(work))
    median = {name: statistics.median(each) for name, each in taken.items()}
    print(f"pandas {pd.__version__}: {median['pandas']:.3f} s; this reader: {median['plain']:.3f} s")
    print(f"time, this reader over pandas:      {median['plain'] / median['pandas']:.2f}")
    print(f"memory, peak over the arrays' own:  {memory:.2f}  (at most 3)")
    print(f"one odd line in the middle:         {median['odd']:.3f} s, {median['odd'] / median['plain']:.2f} times")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--memory"]:
        print(memory_ratio(Path(sys.argv[2])))
    else:
        main()
