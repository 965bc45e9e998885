"""What the plan's templates and the terminal are given: every line of a plan, ready to print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class ChecklistItem:
    """A line with a box. `notes`: what the session holds for it; `bad`: one of them says stop; `fill`: readings that
    it leaves room for on paper.
    """

    text: str
    done: bool
    notes: tuple[str, ...] = ()
    bad: bool = False
    fill: tuple[str, ...] = ()


@dataclass(frozen=True)
class CaptureStep:
    """A capture in words."""

    number: int
    done: bool
    kind: str
    what: str
    level: str
    serves: tuple[str, ...]
    note: str  # what is held, or what of it does not fit


@dataclass(frozen=True)
class SetUpBlock:
    """The steps of one set-up."""

    setup: str
    hot: bool
    steps: tuple[CaptureStep, ...]


@dataclass(frozen=True)
class RatingLine:
    """A rating with what it has and what it lacks. `done`: no measurement is wanted."""

    label: str
    rated: str
    word: str
    text: str
    done: bool


@dataclass(frozen=True)
class PlanWords:
    """All that the plan's templates are given."""

    name: str
    what: str
    summary: str
    cautions: tuple[str, ...]
    as_it_came: tuple[ChecklistItem, ...]
    gate: tuple[ChecklistItem, ...]
    gate_rows: tuple[str, ...]  # what to write into a file of readings for the gate's lines that have none
    stop: tuple[str, ...]  # readings that are not in order
    prepare: tuple[str, ...]
    cold: tuple[SetUpBlock, ...]
    hot: tuple[SetUpBlock, ...]
    cooling: str
    preconditioning: tuple[str, str] | None  # what, and its risk
    ratings: tuple[RatingLine, ...]
    columns: tuple[tuple[str, str], ...]
    tables: tuple[tuple[int, tuple[str, ...]], ...]  # what to write into session.toml, by the step's number
    readings: tuple[str, ...]  # what to write into a file of readings
    mended: bool


def table_rows(words: PlanWords) -> Sequence[tuple[str, str, str, str, str]]:
    """The captures as rows of a terminal's table: box, number, what, set-up and level, what for."""
    return [
        (
            "[x]" if step.done else "[ ]",
            str(step.number),
            step.what,
            f"{block.setup}. {step.level}",
            "; ".join(step.serves) + (f" (held: {step.note})" if step.note else ""),
        )
        for block in (*words.cold, *words.hot)
        for step in block.steps
    ]
