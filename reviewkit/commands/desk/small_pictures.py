"""Small pictures of what is in a file: its curves as points of a polyline, without scales."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from reviewkit.model.arrays import Array
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Run

WIDTH, HEIGHT = 150, 40
_MOST_POINTS = 75
_MOST_CURVES = 2
_WIDE_RANGE = 30.0  # of the highest x to the lowest: from there on, equal ratios are equally far apart
_LARGEST_FILE = 30_000_000  # bytes of a file that is read for its picture alone
Picture = tuple[tuple[str, str], ...]  # of each curve, its channel and its points


def run_picture(run: Run) -> Picture:
    """Return the picture of a measurement: its first curves, one for each channel."""
    first = run.curves[0].name if run.curves else ""
    curves = [curve for curve in run.curves if curve.name == first][:_MOST_CURVES]
    return _picture([(curve.channel[:1], curve.x, curve.y) for curve in curves])


def file_picture(folder: Path, name: str, given: Mapping[str, Any]) -> Picture:
    """Return the picture of a file that isn't understood yet; empty if it can't be read.

    `given`: the keys of its likeliest [[measurement]], among them the units that it doesn't name.
    """
    try:
        found = (folder / name).stat()
    except OSError:
        return ()
    if found.st_size > _LARGEST_FILE:
        return ()
    return _file_picture(folder, name, found.st_mtime_ns, json.dumps(dict(given), default=str))


@lru_cache(maxsize=64)
def _file_picture(folder: Path, name: str, changed: int, given: str) -> Picture:
    from reviewkit.ingest.measurement_file import read_any

    try:
        columns = read_any(folder / name, name, given=json.loads(given)).columns
    except InputError:
        return ()
    if len(columns) < 2:
        return ()
    curves = columns[1 : 1 + _MOST_CURVES]
    return _picture([(curve.channel or "LR"[n], columns[0].values, curve.values) for n, curve in enumerate(curves)])


def _picture(curves: Sequence[tuple[str, Array, Array]]) -> Picture:
    curves = [(channel, x, y) for channel, x, y in curves if len(x) > 1]
    if not curves:
        return ()
    thinned = [(channel, *_thin(x, y)) for channel, x, y in curves]
    all_x, all_y = [v for _, x, _ in thinned for v in x], [v for _, _, y in thinned for v in y]
    if not all_x or not all_y:
        return ()
    logarithmic = min(all_x) > 0 and max(all_x) / min(all_x) > _WIDE_RANGE
    scale = math.log10 if logarithmic else float
    left, right = scale(min(all_x)), scale(max(all_x))
    low, high = min(all_y), max(all_y)

    def place(x: float, y: float) -> str:
        across = (scale(x) - left) / (right - left) if right > left else 0.5
        up = (y - low) / (high - low) if high > low else 0.5
        return f"{across * WIDTH:.1f},{(1 - up) * (HEIGHT - 6) + 3:.1f}"

    return tuple((channel, " ".join(place(a, b) for a, b in zip(x, y, strict=True))) for channel, x, y in thinned)


def _thin(x: Array, y: Array) -> tuple[list[float], list[float]]:
    """Return so many points of a curve as a small picture can show; of each stretch, the one farthest up or down."""
    step = max(1, len(x) // _MOST_POINTS)
    middle = float(y.mean())
    xs, ys = [], []
    for start in range(0, len(x), step):
        part = y[start : start + step]
        at = start + int(abs(part - middle).argmax())
        if math.isfinite(x[at]) and math.isfinite(y[at]):
            xs.append(float(x[at]))
            ys.append(float(y[at]))
    return xs, ys
