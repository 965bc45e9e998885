"""What is drawn on a card, as plain shapes with their extents: pixels of a 1920 × 1080 frame, y downwards.

Every shape says which `part` of the card it is, in the order a clip brings them in: frame (there from the start),
curve, label (names at the curves' ends, marks), reading, needle.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple, Protocol

from reviewkit.model.errors import Fault, InputError
from reviewkit.render.cards.look import Look

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

    Points = Sequence[tuple[float, float]] | Array


class LayoutFault(InputError):
    """A card that cannot be drawn as it should be, since a text of the session has no place on it: which card, which
    text, and what to do about it.
    """

    def __init__(self, card_id: str, text: str, problem: str, remedy: str) -> None:
        self.card_id, self.text, self.problem, self.remedy = card_id, text, problem, remedy
        what = f'"{text}" ' if text else ""
        super().__init__(Fault("session.toml", 0, f'card "{card_id}": {what}{problem}; {remedy}'))


class Extent(NamedTuple):
    """How large a text is drawn: its advance, the ink's rise and drop, the gap before the first letter's ink."""

    width: float
    rise: float
    drop: float
    bearing: float = 0.0


class Measure(Protocol):
    """How large the renderer draws a text."""

    def __call__(self, text: str, size: float, bold: bool) -> Extent:
        """The extent of one line."""


@dataclass(frozen=True)
class Box:
    """A rectangle; right and bottom are just outside."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """From left to right."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From top to bottom."""
        return self.bottom - self.top

    def grown(self, x: float, y: float) -> Box:
        """The box with a margin added on all sides (taken off where negative)."""
        return Box(self.left - x, self.top - y, self.right + x, self.bottom + y)

    def meets(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


@dataclass(frozen=True)
class Text:
    """One line of text. `x`: its left end on the baseline; `box`: its ink; `remedy`: what to do if it is too long."""

    text: str
    x: float
    baseline: float
    size: float
    colour: str
    bold: bool
    box: Box
    remedy: str
    part: str = "frame"


@dataclass(frozen=True, eq=False)
class Stroke:
    """A line. `kind`: curve, limit, leader, needle, mark, scale, rule or grid; NaN points part it; `dash` in pixels."""

    kind: str
    points: Points
    colour: str
    width: float
    dash: tuple[float, float] | None = None
    part: str = "frame"


@dataclass(frozen=True, eq=False)
class Area:
    """A filled polygon. `kind`: band, needle, curve (a single point, a bar) or mark."""

    kind: str
    points: Points
    colour: str
    part: str = "frame"


Item = Text | Stroke | Area
_LARGE = 56.0
_USUAL_BEARING = 3.0  # of the labels and lines that a large text stands over


class Page:
    """A card while it is laid out: makes texts with their measured extents, and keeps what is placed."""

    def __init__(self, card_id: str, look: Look, measure: Measure) -> None:
        self.card_id = card_id
        self.look = look
        self.measure = measure
        self.items: list[Item] = []
        self._part = "frame"

    def add(self, *items: Item) -> None:
        """Place shapes; later ones are drawn over earlier ones."""
        self.items += [item if item.part == self._part else replace(item, part=self._part) for item in items]

    @contextmanager
    def part_of(self, part: str) -> Iterator[None]:
        """What is placed within belongs to this part of the card."""
        before, self._part = self._part, part
        try:
            yield
        finally:
            self._part = before

    def width(self, text: str, size: float, bold: bool = False) -> float:
        """A text's width as it would be drawn."""
        return self.measure(text, size, bold)[0]

    def cap(self, size: float, bold: bool = False) -> float:
        """The height of a capital, by which lines are spaced and centred."""
        return self.measure("H", size, bold)[1]

    def text(
        self,
        text: str,
        x: float,
        baseline: float,
        size: float,
        colour: str,
        *,
        bold: bool = False,
        anchor: str = "left",
        remedy: str = "",
    ) -> Text:
        """A text with its left end, middle ("centre") or right end at `x`; not yet placed.

        Large bold texts are set to the left until their ink begins where that of smaller texts does: the room before
        their first letter would look like an indent.
        """
        width, rise, drop, bearing = self.measure(text, size, bold)
        left = x - {"left": 0.0, "centre": width / 2, "right": width}[anchor]
        if anchor == "left" and bold and size >= _LARGE:
            left -= max(bearing - _USUAL_BEARING, 0.0)
        box = Box(left + bearing, baseline - rise, left + width, baseline + drop)
        return Text(text, left, baseline, size, colour, bold, box, remedy)

    def fault(self, text: str, remedy: str, problem: str = "does not fit") -> LayoutFault:
        """The fault to raise where no shorter form of a text is left."""
        return LayoutFault(self.card_id, text, problem, remedy)
