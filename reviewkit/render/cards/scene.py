"""A card as plain shapes with their extents: pixels of its shape's frame, y downwards.

Every shape names the `part` of the card it belongs to, in the order in which a clip shows them:

line       the dial line, which is there from the start
scale      its ticks and numbers
frame      overline, title, rules
ghost      curves before the repair, where those after it are drawn too
curve      curves, and the room between them
fall       the change at one reading
label      names of curves, marks, limits
reading    the figure that is large
needle     the needle with its rating
word       the verdict
step 1 …   what a card without a chart shows after its frame, one after another; sweep 3: from left to right
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple, Protocol

from reviewkit.model.errors import Fault, InputError
from reviewkit.render.cards.box import Box
from reviewkit.render.cards.colours import Look

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array
    from reviewkit.render.cards.shape import Shape

    Points = Sequence[tuple[float, float]] | Array


class LayoutFault(InputError):
    """A card that cannot be drawn as it should be, since a text of the session has no place on it: which card, in
    which shape if that isn't wide, which text, and what to do about it.
    """

    def __init__(self, card_id: str, text: str, problem: str, remedy: str, shape: str = "wide") -> None:
        self.card_id, self.text, self.problem, self.remedy = card_id, text, problem, remedy
        what = f'"{text}" ' if text else ""
        which = "" if shape == "wide" else f"{shape} "
        super().__init__(Fault("session.toml", 0, f'{which}card "{card_id}": {what}{problem}; {remedy}'))


class Extent(NamedTuple):
    """The drawn size of a text: its advance, the ink's rise and drop, the gap before the first letter's ink."""

    width: float
    rise: float
    drop: float
    bearing: float = 0.0


class Measure(Protocol):
    """A function that returns the size at which the renderer draws a text."""

    def __call__(self, text: str, size: float, weight: str) -> Extent:
        """Return the extent of one line."""


@dataclass(frozen=True)
class Text:
    """One line of text.

    Attributes
    ----------
    x
        Left end on the baseline.
    box
        Extent of the ink.
    remedy
        What to do if it is too long.
    """

    text: str
    x: float
    baseline: float
    size: float
    colour: str
    weight: str
    box: Box
    remedy: str
    part: str = "frame"


@dataclass(frozen=True, eq=False)
class Stroke:
    """A line.

    Attributes
    ----------
    kind
        Curve, limit, leader, needle, mark, scale, dial, rule or grid.
    points
        Shape (n, 2), in pixels; NaN rows separate parts.
    dash
        Lengths of dash and gap, in pixels.
    """

    kind: str
    points: Points
    colour: str
    width: float
    dash: tuple[float, float] | None = None
    part: str = "frame"


@dataclass(frozen=True, eq=False)
class Area:
    """A filled polygon.

    Attributes
    ----------
    kind
        Band, room, needle, hunt, curve (a single point) or mark.
    """

    kind: str
    points: Points
    colour: str
    part: str = "frame"


@dataclass(frozen=True, eq=False)
class Picture(Area):
    """A picture of the user's own, in the rectangle of its points.

    Attributes
    ----------
    kind
        "photo", cropped to fill it, or "mark", scaled to fit into it.
    data
        Bytes of a JPEG or PNG file.
    """

    data: bytes = b""


Item = Text | Stroke | Area
_LARGE = 56.0
_REACH = 1.0  # to the left of where it is set: more than that is moved
_USUAL_BEARING = 3.0  # of the labels and lines below a large text


@dataclass(eq=False)
class Page:
    """A card during layout: creates texts with their measured extents and collects the shapes placed so far."""

    card_id: str
    look: Look
    measure: Measure
    shape: Shape
    items: list[Item] = field(default_factory=list)
    _part: str = "frame"

    def blank(self) -> Page:
        """Return a page of the same card with nothing on it, to try something."""
        return Page(self.card_id, self.look, self.measure, self.shape)

    def within(self, shape: Shape) -> Page:
        """Return the same page for a part of its frame: what is placed there is on this page too."""
        part = copy(self)
        part.shape = shape
        return part

    def add(self, *items: Item) -> None:
        """Place shapes; later ones are drawn over earlier ones."""
        self.items += [item if item.part == self._part else replace(item, part=self._part) for item in items]

    @contextmanager
    def part_of(self, part: str) -> Iterator[None]:
        """Assign what is placed within the context to a part of the card."""
        before, self._part = self._part, part
        try:
            yield
        finally:
            self._part = before

    def width(self, text: str, size: float, weight: str = "regular") -> float:
        """Return a text's width as drawn."""
        return self.measure(text, size, weight)[0]

    def cap(self, size: float, weight: str = "regular") -> float:
        """Return the height of a capital, by which lines are spaced and centred."""
        return self.measure("H", size, weight)[1]

    def text(
        self,
        text: str,
        x: float,
        baseline: float,
        size: float,
        colour: str,
        *,
        weight: str = "regular",
        anchor: str = "left",
        remedy: str = "",
    ) -> Text:
        """Create a text without placing it.

        Large texts move left until their ink begins where that of smaller texts does: the room before their first
        letter would look like an indent. A letter that reaches to the left of its place, as a "j", moves right.

        Parameters
        ----------
        text : str
            One line.
        x, baseline : float
            Place of the anchor, in pixels.
        size : float
            Em size in pixels.
        colour : str
            Colour or role.
        weight : str
            "light", "regular", "bold" or "black".
        anchor : str
            Which end of the text is at `x`: "left", "centre" or "right".
        remedy : str
            What to do if it is too long.

        Returns
        -------
        Text
            The text with its extent.
        """
        width, rise, drop, bearing = self.measure(text, size, weight)
        left = x - {"left": 0.0, "centre": width / 2, "right": width}[anchor]
        if anchor == "left" and size >= _LARGE:
            left -= max(bearing - _USUAL_BEARING, 0.0)
        if anchor == "left" and bearing < -_REACH:
            left -= bearing
        box = Box(left + bearing, baseline - rise, left + width, baseline + drop)
        return Text(text, left, baseline, size, colour, weight, box, remedy)

    def fault(self, text: str, remedy: str, problem: str = "does not fit") -> LayoutFault:
        """Return the fault to raise if no shorter form of a text is left."""
        return LayoutFault(self.card_id, text, problem, remedy, self.shape.name)
