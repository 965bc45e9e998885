"""A card as plain data, before it is drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

from reviewkit.model.finding import Finding
from reviewkit.model.verdict import Verdict


@dataclass(frozen=True)
class Axis:
    """`ticks`: (value, text), at most seven; `minor`: values of unlabelled ticks (the dial scale)."""

    low: float
    high: float
    scale: str  # "log" or "linear"
    ticks: tuple[tuple[float, str], ...]
    unit: str = ""
    minor: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Trace:
    """A curve. `x`, `y`: shape (n,), in the axes' units. `role`: now, before, bench or residual."""

    x: Array
    y: Array
    channel: str  # L, R or "" (neither)
    role: str = "now"
    label: str = ""  # written at the curve's end: "L", "R before", "bass +10"


@dataclass(frozen=True)
class Limit:
    """The maker's limit, drawn in the picture over from_x … to_x; low or high None where there is none on that side."""

    low: float | None
    high: float | None
    from_x: float
    to_x: float
    label: str


@dataclass(frozen=True)
class Mark:
    """A point worth pointing at in the picture."""

    x: float
    y: float
    text: str
    channel: str = ""


@dataclass(frozen=True)
class Bracket:
    """A distance worth showing, drawn upright at `x` between two heights, with its words beside it."""

    x: float
    from_y: float
    to_y: float
    text: str


@dataclass(frozen=True)
class Panel:
    """One plot. `label` stands over it: "before", "residual × 50"."""

    x: Axis
    y: Axis
    traces: tuple[Trace, ...]
    limits: tuple[Limit, ...] = ()
    marks: tuple[Mark, ...] = ()
    label: str = ""
    brackets: tuple[Bracket, ...] = ()


@dataclass(frozen=True)
class Curves:
    """Panels in a grid of `columns`, filled row by row. `heights`: relative heights of the grid's rows."""

    panels: tuple[Panel, ...]
    columns: int = 1
    heights: tuple[float, ...] = (1.0,)


@dataclass(frozen=True)
class Bar:
    """One bar: from the scale's foot up to `value`, `text` over it. `role`: now or before."""

    channel: str
    value: float
    text: str
    role: str = "now"


@dataclass(frozen=True)
class BarGroup:
    """Bars that stand side by side over one name: "THD+N", with `unit` of their texts under it."""

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
    """A row of a table card. `verdict` and `position` draw a needle at its end, `margin` stands behind its word; `note`
    stands under the first cell. `loud`: the row must be seen before the others; `findings`: what its figures are.
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
    """A table. `strong`: index of the column set in bold; `widths`: relative widths of the columns. `pages`: the rows
    of all cards that one table is split into, which are set alike; `amounts`: what stands at the ends of a scale of
    `years` under the table.
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
    """The opening card: the name large, lines under it; `amounts`: (what, amount) pairs, set large side by side, the
    first and the last at the ends of a scale of `years` where there is one. `photo`: the bytes of the user's own
    picture, to stand behind them.
    """

    name: str
    lines: tuple[str, ...]
    amounts: tuple[tuple[str, str], ...] = ()
    years: tuple[int, int] | None = None
    photo: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class Readout:
    """A block of the readings column. `key` is set large, with the `channel` whose it is behind it; `rows`: cells in
    columns, a first cell L or R is coloured.
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
