"""The shapes of a card: wide, tall, square. Places and sizes are pixels of the shape's own frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

from reviewkit.render.cards.box import Box


@dataclass(frozen=True)
class Shape:
    """The frame of a card.

    Attributes
    ----------
    safe
        Text stays inside. Wide: the 5 % graphics-safe box of EBU R 95. Tall: a player's own buttons cover the lower
        part (common practice, no source).
    overline, title, dial
        Baseline of the overline and of the title's first line; height of the dial line.
    high_dial
        Its height on cards that read downwards from it: the score, tables.
    title_sizes, title_lines
        Em sizes, falling; the most lines.
    chart
        Top and bottom of the plot.
    strip
        Top of the hero with its needle, if they are above the plot.
    under_strip
        From the strip to the plot; the number of the highest rule is there.
    curves
        Left and right end of the dial's scale.
    columns
        Left end of what is rated and of the verdict's word, wherever they have room there.
    stacked
        True if figures, and the parts of the strip, are one above the other.
    framed
        False without overline, name and title.
    """

    name: str
    width: int
    height: int
    safe: Box
    overline: float
    title: float
    title_sizes: tuple[float, ...]
    title_lines: int
    dial: float
    chart: tuple[float, float]
    strip: float
    under_strip: float
    curves: tuple[float, float]
    columns: tuple[float, float]
    high_dial: float = 316.0
    stacked: bool = False
    conditions_under_title: bool = False
    framed: bool = True

    @property
    def frame(self) -> Box:
        """Return the whole frame."""
        return Box(0.0, 0.0, float(self.width), float(self.height))

    @property
    def is_tall(self) -> bool:
        """Tell whether the frame is higher than it is wide."""
        return self.height > self.width

    @property
    def numbers(self) -> float:
        """Return the baseline of the dial's numbers."""
        return self.dial + 70.0


WIDE = Shape(
    "wide",
    1920,
    1080,
    Box(96.0, 54.0, 1824.0, 1026.0),
    overline=92.0,
    title=186.0,
    title_sizes=(88.0, 80.0, 72.0),
    title_lines=2,
    dial=922.0,
    chart=(300.0, 880.0),
    strip=262.0,
    under_strip=64.0,
    curves=(250.0, 1750.0),
    columns=(990.0, 1480.0),
)
TALL = Shape(
    "tall",
    1080,
    1920,
    Box(54.0, 96.0, 1026.0, 1630.0),
    overline=150.0,
    title=289.0,
    title_sizes=(124.0, 110.0, 98.0, 88.0),
    title_lines=2,
    dial=1546.0,
    chart=(640.0, 1496.0),
    strip=560.0,
    under_strip=100.0,
    curves=(190.0, 1000.0),
    columns=(54.0, 720.0),
    high_dial=660.0,
    stacked=True,
    conditions_under_title=True,
)
SQUARE = Shape(
    "square",
    1080,
    1080,
    Box(54.0, 54.0, 1026.0, 1026.0),
    overline=92.0,
    title=178.0,
    title_sizes=(74.0, 66.0, 60.0),
    title_lines=2,
    dial=920.0,
    chart=(272.0, 880.0),
    strip=232.0,
    under_strip=72.0,
    curves=(176.0, 960.0),
    columns=(54.0, 797.0),
    high_dial=300.0,
    stacked=True,
)
# the chart that leads the page, under the page's own title: in a wide window, on a phone
LEAD = replace(
    WIDE,
    name="lead",
    width=2560,
    height=700,
    safe=Box(128.0, 16.0, 2432.0, 690.0),
    chart=(60.0, 570.0),
    dial=608.0,
    strip=24.0,
    curves=(340.0, 2330.0),
    columns=(1280.0, 2088.0),
    framed=False,
)
NARROW_LEAD = replace(
    SQUARE,
    name="narrow lead",
    height=860,
    safe=Box(54.0, 16.0, 1026.0, 850.0),
    chart=(60.0, 730.0),
    dial=768.0,
    strip=24.0,
    framed=False,
)
SHAPES = {shape.name: shape for shape in (WIDE, TALL, SQUARE)}
