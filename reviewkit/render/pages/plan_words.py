"""The variables of the plan's templates and of the terminal: every line of a plan, ready to print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.gear import Gear


@dataclass(frozen=True)
class ChecklistItem:
    """A line with a box to tick.

    Attributes
    ----------
    notes
        What the session has for it.
    cautions
        The cautions that apply from this line on.
    fill
        The readings to leave room for on paper.
    """

    text: str
    done: bool
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
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
    note: str  # the existing measurements, or what of them doesn't fit


@dataclass(frozen=True)
class SetUpBlock:
    """The steps that share one set-up."""

    setup: str
    hot: bool
    steps: tuple[CaptureStep, ...]


@dataclass(frozen=True)
class RatingLine:
    """A rating with what it has and what it lacks; `done`: no measurement is needed."""

    label: str
    rated: str
    word: str
    text: str
    done: bool


@dataclass(frozen=True)
class PlanWords:
    """All variables of the plan's templates."""

    name: str
    what: str
    summary: str
    ticked: str  # what the session's files have ticked
    gear: Gear | None
    gate_intro: str
    example: tuple[str, str]  # if nothing is rated: a line of a brochure, and what else makers give
    cautions: tuple[str, ...]  # all of them; below, each where it applies
    first_cautions: tuple[str, ...]
    power_cautions: tuple[str, ...]
    as_it_came: tuple[ChecklistItem, ...]
    gate: tuple[ChecklistItem, ...]
    gate_rows: tuple[str, ...]  # what to write into a file of readings for the gate's lines that have none
    stop: tuple[str, ...]  # readings that aren't OK
    prepare: tuple[str, ...]
    cold: tuple[SetUpBlock, ...]
    hot: tuple[SetUpBlock, ...]
    cooling: str
    preconditioning: tuple[str, str] | None  # what, and its risk
    going_back: tuple[ChecklistItem, ...]
    ratings: tuple[RatingLine, ...]
    columns: tuple[tuple[str, str], ...]
    tables: tuple[tuple[int, tuple[str, ...]], ...]  # what to write into session.toml, by the step's number
    readings: tuple[str, ...]  # what to write into a file of readings
    repaired: bool
    planned: tuple[tuple[str, str], ...]  # by session.toml, and still to be made


def table_rows(words: PlanWords) -> Sequence[tuple[str, str, str, str, str]]:
    """Return the captures as rows of a terminal table: box, number, what, set-up and level, purpose."""
    return [
        (
            "[x]" if step.done else "[ ]",
            str(step.number),
            step.what,
            f"{block.setup}. {step.level}",
            "; ".join(step.serves) + (f" (so far: {step.note})" if step.note else ""),
        )
        for block in (*words.cold, *words.hot)
        for step in block.steps
    ]
