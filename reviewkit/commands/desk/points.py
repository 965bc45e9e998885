"""The test points in the order in which they are done: cautions, go or no-go cold, then warm, then what to capture."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from reviewkit.model.finding import Run
from reviewkit.model.repair import RepairRow
from reviewkit.plan.gates import Check, gate_checks, return_checks
from reviewkit.render.pages.plan_words import PlanWords
from reviewkit.verdict.repair_points import OK, point_word
from reviewkit.verdict.safety_readings import BIAS, LEAKAGE, OFFSET, RAILS, is_about, side_of

BOX, GATE = "box: ", "gate: "  # of a box of the plan, and of one of go or no-go: its key begins with this
CAUTION, CHECK, READING, NO_GO, HUNT, CAPTURE = "caution", "check", "reading", "no-go", "hunt", "capture"
_NAMES = {
    RAILS: ("Rail, positive", "Rail, negative"),
    OFFSET: ("DC offset L, {}", "DC offset R, {}"),
    BIAS: ("Bias L, {}", "Bias R, {}"),
    LEAKAGE: ("Leakage from the chassis, plug one way", "Leakage from the chassis, plug the other way"),
}
_UNITS = {RAILS: "V", OFFSET: "mV", BIAS: "mV", LEAKAGE: "mV"}


@dataclass(frozen=True)
class NextStep:
    """A step that is to be done next.

    Attributes
    ----------
    kind
        One of the words above.
    key
        What identifies it.
    text
        The caution, what to check, the point's name, or what to capture.
    line
        The row in repair.csv, 0 if there is none yet.
    level
        Of a capture: the level to set.
    """

    kind: str
    key: str
    text: str
    line: int = 0
    row: RepairRow | None = None
    word: str = ""
    level: str = ""


@dataclass(frozen=True)
class Points:
    """Every step that is left, and the rows that have been read. `last`: the latest of them, newest first."""

    steps: tuple[NextStep, ...] = ()
    read: int = 0
    good: int = 0
    last: tuple[tuple[RepairRow, str], ...] = ()

    @property
    def now(self) -> NextStep | None:
        """Return the next step."""
        return self.steps[0] if self.steps else None


def find_points(
    plan: PlanWords | None, rows: Sequence[RepairRow], runs: Sequence[Run], done: Collection[str]
) -> Points:
    """Find what is left to do at the test points.

    Parameters
    ----------
    plan : PlanWords, optional
        The session's plan in words, if there is one yet.
    rows : sequence of RepairRow
        The rows of repair.csv as it is now.
    runs : sequence of Run
        The measurements.
    done : collection of str
        Keys of steps that were confirmed or skipped.

    Returns
    -------
    Points
        The steps.
    """
    read = [row for row in rows if row.found_text or row.after_text]
    words = [(row, point_word(row)) for row in read]
    steps = tuple(step for step in _steps(plan, rows, runs, done) if step.key not in done)
    good = sum(word == OK for _, word in words)
    return Points(steps, len(read), good, tuple(reversed(words[-2:])))


def _steps(
    plan: PlanWords | None, rows: Sequence[RepairRow], runs: Sequence[Run], done: Collection[str]
) -> Iterator[NextStep]:
    gear = plan.gear if plan else None
    checks, back = gate_checks(rows, runs, gear), return_checks(rows, runs, gear)
    for check in (*checks, *back):
        if (bad := _bad_row(check, rows)) is not None:
            yield from _stopped(bad, rows, done)  # and nothing else goes on
            return
    for number, caution in enumerate(plan.cautions if plan else ()):
        yield NextStep(CAUTION, f"caution {number}", caution)
    texts = {check.name: item.text for check, item in zip(checks, plan.gate, strict=True)} if plan else {}
    for check in checks:
        key, _, state = check.name.partition("-")
        if key in _NAMES:
            yield from () if check.done else _open_readings(key, state, rows)
        # the last line is about the time after the repair, when every reading is there once more
        elif plan and check.name != "after-repair":
            yield NextStep(CHECK, f"{GATE}{texts[check.name]}", texts[check.name])
    yield from _hunt(rows)
    for block in (*plan.cold, *plan.hot) if plan else ():
        for step in block.steps:
            if not step.done:
                key, level = f"{BOX}{step.what} {step.level}", f"{block.setup}. {step.level}"
                yield NextStep(CAPTURE, key, step.what, level=level)
    for check in back if plan and plan.repaired else ():
        yield from () if check.done else _open_readings(check.name, "", rows)


def _stopped(bad: RepairRow, rows: Sequence[RepairRow], done: Collection[str]) -> Iterator[NextStep]:
    """Return what is left while a reading says no-go: switching off, then finding the cause, then reading again."""
    off = f"off {bad.point} {bad.after_text or bad.found_text}"
    if off not in done:
        yield NextStep(NO_GO, off, bad.point, bad.line, bad, point_word(bad))
        return
    yield from _hunt(rows)
    yield NextStep(HUNT, f"again {bad.point}", bad.point, bad.line, bad, point_word(bad))


def _bad_row(check: Check, rows: Sequence[RepairRow]) -> RepairRow | None:
    """Return the row of the reading that says no-go; None if there is none, or if it is in a file of readings."""
    bad = {reading.point for reading in check.stops}
    return next((row for row in reversed(rows) if row.point in bad), None)


def _open_readings(key: str, state: str, rows: Sequence[RepairRow]) -> Iterator[NextStep]:
    """Return the readings of a line that are still to be taken: rows that wait for one, else the usual points."""
    own = [row for row in rows if is_about(key, row, state)]
    waiting = [row for row in own if not row.found_text]
    for row in waiting:
        yield NextStep(READING, f"read {row.point}", row.point, row.line, row)
    read = {side_of(row.point) for row in own if row.found_text}
    if key == RAILS and read:
        return
    for name in _NAMES[key]:
        point = name.format(state)
        if side_of(point) not in read | {side_of(row.point) for row in waiting}:
            like = [row for row in rows if is_about(key, row) and side_of(row.point) == side_of(point)]
            yield NextStep(READING, f"read {point}", point, 0, like[-1] if like else None)


def _hunt(rows: Sequence[RepairRow]) -> Iterator[NextStep]:
    """Return the rows that wait for a reading and decide nothing."""
    for row in rows:
        if not row.found_text and row.expected_text and not any(is_about(key, row) for key in _NAMES):
            yield NextStep(READING, f"read {row.point}", row.point, row.line, row)


def usual_unit(point: str) -> str:
    """Return the unit that a point's reading usually has; "" if that isn't known."""
    row = RepairRow(point, None, "", None, "", "", None, "", "", "")
    return next((_UNITS[key] for key in _NAMES if is_about(key, row)), "")


def reading_dial(step: NextStep | None) -> dict[str, str] | None:
    """Return the places on the dial of a point: its tolerance, what is expected, and the reading."""
    row = step.row if step else None
    if row is None or row.expected is None or not row.tolerance:
        return None
    low, high = row.expected - 5 * row.tolerance, row.expected + 5 * row.tolerance

    def place(value: float) -> str:
        return f"{100 * min(1.0, max(0.0, (value - low) / (high - low))):.2f}"

    return {
        "low": f"{low:.9g}",
        "high": f"{high:.9g}",
        "from": place(row.expected - row.tolerance),
        "expected": place(row.expected),
        "to": place(row.expected + row.tolerance),
        "from_text": f"{row.expected - row.tolerance:.4g}",
        "to_text": f"{row.expected + row.tolerance:.4g} {row.unit}",
        "expected_text": f"{row.expected:.4g}",
        "now": place(row.found) if row.found is not None else "",
    }
