"""The way of the sample's response from its CSV to its picture: few steps, and few calls deep where a row is read.

A step is a function of the package that runs once on that way, and takes or returns the measurement whole, in any form:
its text, its lines, its columns, its results, its card, the card's shapes, its pixels, its file. What runs for each
row, each label or each shape isn't a step, nor is what never sees more than a few figures.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np

from reviewkit.build.cache import NO_CACHE
from reviewkit.build.file_results import measure_file
from reviewkit.build.measuring import measure
from reviewkit.build.plain_data import from_text
from reviewkit.build.pool import ALONE
from reviewkit.build.session_files import read
from reviewkit.measure.kinds import KINDS
from reviewkit.model.card import Card, Chart
from reviewkit.model.finding import Measured, Run
from reviewkit.model.sheet import Column, Sheet
from reviewkit.render.cards.pictures import draw
from reviewkit.render.cards.scene import Page

SAMPLE = Path(__file__).resolve().parents[1] / "sample_session"
PACKAGE = str(SAMPLE.parent / "reviewkit")
WHOLE = (Sheet, Column, Measured, Run, Card, Chart, Page)
MANY = 90  # of the sweep's 181 rows; a text of so many rows has more than 1,500 signs
MOST_STEPS = 36  # 66 before the stages were straight
MOST_CALLS = 7  # 15 before


def holds_measurement(value: object, depth: int = 2) -> bool:
    """Return whether a value is the measurement in one of its forms, or holds one."""
    if isinstance(value, WHOLE):
        return True
    if isinstance(value, str | bytes):
        return len(value) > 1500
    if isinstance(value, np.ndarray):
        return value.size >= MANY
    if not isinstance(value, list | tuple | dict):
        return False
    parts: Iterable[object] = value.values() if isinstance(value, dict) else value
    return len(value) >= MANY or (depth > 0 and any(holds_measurement(part, depth - 1) for part in parts))


def named_function(frame: FrameType) -> str:
    """Return the name of the package's function that a frame runs; "" of any other."""
    code = frame.f_code
    if not code.co_filename.startswith(PACKAGE) or code.co_name.startswith("<"):
        return ""
    return f"{code.co_filename.removeprefix(PACKAGE)}: {code.co_qualname}"


def watch_calls(function: Callable[[], Any], watch: Callable[[FrameType, str, Any], None]) -> None:
    """Call a function, and another at each call and return in it."""
    before = sys.getprofile()
    sys.setprofile(watch)
    try:
        function()
    finally:
        sys.setprofile(before)


def way_of_the_response() -> Callable[[], None]:
    """Return what reads, measures and draws the sample's response."""
    files, runs = measure(read(SAMPLE, ALONE, NO_CACHE), ALONE, NO_CACHE)
    conditions = next(run.conditions for run in runs if run.conditions.measurement.id == "response")

    def go() -> None:
        text = measure_file(files.session.folder, conditions, None)
        assert isinstance(text, str)
        measured: Measured = from_text(text)
        run = Run(conditions, measured.findings, measured.withheld, measured.curves)
        draw(KINDS["response"].card([run], []), "lamplight")

    go()  # what is imported and made only once
    return go


def test_a_response_takes_few_steps_from_its_file_to_its_picture() -> None:
    calls: Counter[str] = Counter()
    whole = set()

    def watch(frame: FrameType, event: str, value: object) -> None:
        if event not in ("call", "return") or not (name := named_function(frame)):
            return
        if event == "call":
            calls[name] += 1
            code = frame.f_code
            arguments = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
            if any(holds_measurement(frame.f_locals.get(each)) for each in arguments):
                whole.add(name)
        elif holds_measurement(value):
            whole.add(name)

    watch_calls(way_of_the_response(), watch)
    steps = sorted(name for name in whole if calls[name] == 1)
    assert len(steps) <= MOST_STEPS, "\n".join([f"{len(steps)} steps", *steps])


def test_a_row_is_read_few_calls_deep() -> None:
    deepest: list[str] = []

    def watch(frame: FrameType, event: str, _value: object) -> None:
        if event != "call" or not named_function(frame).startswith("/ingest/sheet/sheet_rows.py"):
            return
        chain = []
        at: FrameType | None = frame
        while at is not None:
            chain += [name] if (name := named_function(at)) else []
            at = at.f_back
        if len(chain) > len(deepest):
            deepest[:] = chain

    watch_calls(way_of_the_response(), watch)
    assert 0 < len(deepest) <= MOST_CALLS, "\n".join(deepest)
