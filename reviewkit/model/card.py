"""Cards as plain data, before they are drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

from reviewkit.model.finding import Finding
from reviewkit.model.verdict import Verdict


@dataclass(frozen=True)
class Axis:
    """An axis of a panel.

    Attributes
    ----------
    scale
        "log" or "linear".
    ticks
        (value, text) pairs, at most seven.
    minor
        Values of unlabelled ticks (the dial scale).
    """

    low: float
    high: float
    scale: str  # "log" or "linear"
    ticks: tuple[tuple[float, str], ...]
    unit: str = ""
    minor: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Trace:
    """A curve.

    Attributes
    ----------
    x, y
        Shape (n,), in the axes' units.
    channel
        L, R or "" (neither).
    role
        Now, before, bench or residual.
    label
        Written at the curve's end: "L", "R before", "bass +10".
    """

    x: Array
    y: Array
    channel: str  # L, R or "" (neither)
    role: str = "now"
    label: str = ""  # written at the curve's end: "L", "R before", "bass +10"


@dataclass(frozen=True)
class Limit:
    """The maker's limit, drawn in the picture over from_x … to_x; low or high is None if that side has no limit."""

    low: float | None
    high: float | None
    from_x: float
    to_x: float
    label: str


@dataclass(frozen=True)
class Mark:
    """A point in the picture to draw attention to."""

    x: float
    y: float
    text: str
    channel: str = ""


@dataclass(frozen=True)
class Bracket:
    """A distance in the picture to draw attention to: upright at `x` between two heights, with its text."""

    x: float
    from_y: float
    to_y: float
    text: str


@dataclass(frozen=True)
class Panel:
    """One plot. `label` is above it: "before", "residual × 50"."""

    x: Axis
    y: Axis
    traces: tuple[Trace, ...]
    limits: tuple[Limit, ...] = ()
    marks: tuple[Mark, ...] = ()
    label: str = ""
    brackets: tuple[Bracket, ...] = ()


@dataclass(frozen=True)
class Curves:
    """Panels in a grid of `columns`, filled row by row; `heights`: relative heights of the grid's rows."""

    panels: tuple[Panel, ...]
    columns: int = 1
    heights: tuple[float, ...] = (1.0,)


@dataclass(frozen=True)
class Bar:
    """One bar, from the scale's foot to `value`, with `text` above it; `role`: now or before."""

    channel: str
    value: float
    text: str
    role: str = "now"


@dataclass(frozen=True)
class BarGroup:
    """Bars side by side above one name: "THD+N", with the `unit` of their texts below it."""

    label: str
    bars: tuple[Bar, ...]
    unit: str = ""


@dataclass(frozen=True)
class BarLimit:
    """The maker's limit, drawn across some groups (by index)."""

    value: float
    groups: tuple[int, ...]
    label: str


@dataclass(frozen=True)
class Bars:
    """Groups of bars on one vertical scale."""

    y: Axis
    groups: tuple[BarGroup, ...]
    limits: tuple[BarLimit, ...] = ()


@dataclass(frozen=True)
class Row:
    """A row of a table card.

    Attributes
    ----------
    verdict, position
        Draw a needle at the row's end.
    margin
        Follows the verdict.
    note
        Goes below the first cell.
    loud
        True if the row must be seen before the others.
    findings
        The findings that its figures come from.
    """

    cells: tuple[str, ...]
    verdict: str = ""
    position: float | None = None
    note: str = ""
    margin: str = ""
    loud: bool = False
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Rows:
    """A table.

    Attributes
    ----------
    strong
        Index of the column in bold.
    widths
        Relative widths of the columns.
    pages
        The rows of all cards that one table is split into, which are set alike.
    amounts
        Go at the ends of a scale of `years` below the table.
    """

    headers: tuple[str, ...]
    rows: tuple[Row, ...]
    widths: tuple[float, ...]
    strong: int | None = None
    needles: bool = False
    pages: tuple[tuple[Row, ...], ...] = ()
    amounts: tuple[tuple[str, str], ...] = ()
    years: tuple[int, int] | None = None


@dataclass(frozen=True)
class TitlePage:
    """The opening card: the name large, lines below it.

    Attributes
    ----------
    amounts
        (what, amount) pairs, large and side by side, at the ends of a scale of `years` if there is one.
    photo
        Bytes of the user's own picture, for the background.
    """

    name: str
    lines: tuple[str, ...]
    amounts: tuple[tuple[str, str], ...] = ()
    years: tuple[int, int] | None = None
    photo: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class Readout:
    """A block of figures in the column next to the picture.

    Attributes
    ----------
    key
        The key figure, large, followed by its `channel`.
    rows
        Cells in columns; a first cell L or R is coloured.
    """

    label: str = ""
    key: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    channel: str = ""


@dataclass(frozen=True)
class Card:
    """A card as data: what is shown, never colours, sizes or fonts."""

    id: str
    title: str
    conditions: str  # one line under the title
    body: Curves | Bars | Rows | TitlePage
    readings: tuple[Readout, ...] = ()
    verdicts: tuple[Verdict, ...] = ()  # shown as needles under the readings
    foot: str = ""
    corner: str = ""  # the unit's name
    alt: str = ""  # the card in a sentence, for those who cannot see it
    shorter: tuple[str, ...] = ()  # titles to take, in this order, where the card does not fit
    first: str = ""  # where one matter takes several cards: the id of the first of them
    chart: bool = False
    hold_s: float | None = None
