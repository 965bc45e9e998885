"""Cards as plain data, before they are drawn: what is shown, never colours, sizes or fonts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

from reviewkit.model.finding import Finding, Point
from reviewkit.model.session import Rating
from reviewkit.model.verdict import Verdict

# ------------------------------------------------------------------ charts


@dataclass(frozen=True)
class Axis:
    """A scale.

    Attributes
    ----------
    low, high
        Values at its ends; `low` may be the larger one if better is to the right.
    scale
        "log" or "linear".
    ticks
        (value, text) pairs, at most seven.
    minor
        Values of unlabelled ticks (the dial).
    name
        Of a dial whose unit doesn't say what it is: "signal at the aerial".
    """

    low: float
    high: float
    scale: str  # "log" or "linear"
    ticks: tuple[tuple[float, str], ...]
    unit: str = ""
    minor: tuple[float, ...] = ()
    name: str = ""


OF_NO_STAGE = ("bench", "ideal")  # roles of curves that a repair doesn't change


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
        Now, before, bench, ideal (how it should be) or residual.
    label
        Written where the curve runs: "L", "right, 0.021 %", "bass full up".
    """

    x: Array
    y: Array
    channel: str
    role: str = "now"
    label: str = ""


@dataclass(frozen=True)
class Stem:
    """A line of a spectrum at one frequency, from the scale's foot to `y`: solid now, a hollow cap before."""

    x: float
    y: float
    channel: str
    role: str = "now"
    label: str = ""


@dataclass(frozen=True)
class Limit:
    """The maker's limit over from_x … to_x; low or high is None if that side has no limit. `rating`: whose it is."""

    low: float | None
    high: float | None
    from_x: float
    to_x: float
    label: str
    rating: Rating | None = None


@dataclass(frozen=True)
class Mark:
    """A ringed point with its text, if it has one. `role`: now or before; `from_y`: where an arrow to it begins;
    `optional`: whether its text is left out if there is no room for it; `part`: whether it is only a part of what the
    card's figure adds up, which is named but not ringed, because the figure isn't read there.
    """

    x: float
    y: float
    text: str = ""
    channel: str = ""
    role: str = "now"
    from_y: float | None = None
    optional: bool = False
    part: bool = False


@dataclass(frozen=True)
class Fall:
    """The change at one reading: a hollow dot where it was, a line with an arrowhead, a solid dot where it is."""

    x: float
    from_y: float
    to_y: float


@dataclass(frozen=True, eq=False)
class Room:
    """The filled space between two curves: what a fault takes (`fault`), or what its repair gained."""

    one: Trace
    other: Trace
    fault: bool = False


@dataclass(frozen=True, eq=False)
class Panel:
    """One plot; `x` is the dial.

    Attributes
    ----------
    label
        Above it: "what was added, scale × 20".
    one_channel
        True if it never shows a second channel, from which dashes would tell its own.
    square
        True if both scales are the same, so that it is as wide as it is high.
    one_scale
        True if a card of one stage has the same vertical scale as that of both.
    """

    x: Axis
    y: Axis
    traces: tuple[Trace, ...]
    limits: tuple[Limit, ...] = ()
    marks: tuple[Mark, ...] = ()
    stems: tuple[Stem, ...] = ()
    room: Room | None = None
    fall: Fall | None = None
    label: str = ""
    one_channel: bool = False
    square: bool = False
    one_scale: bool = False


@dataclass(frozen=True, eq=False)
class Chart:
    """Panels one above the other over one dial, the scale of the last; `heights`: their relative heights."""

    panels: tuple[Panel, ...]
    heights: tuple[float, ...] = (1.0,)


@dataclass(frozen=True)
class Hero:
    """The one figure that a card shows large.

    Attributes
    ----------
    figure
        "0.020 %".
    caption
        Above it, what it is, with its channel in words: "distortion, right, at 1 W".
    short
        The same where that has no room: "right, at 1 W".
    bound
        After it, "or less" or "or more" if it is a bound.
    why
        Why it is one, after the caption: "including the record's own".
    before
        The same figure before the repair, shown light and soft.
    uncertainty
        "± 1.6 W", if that decides.
    note
        Below it: where it holds, what it was.
    further
        After that, figures that the user asks for: "hum −99.2 dB right".
    rated
        "rated 45 dB", next to the figure of a fault.
    fault
        True if it is the fault's.
    x, y
        Its reading in the chart.
    findings
        Where it comes from.
    """

    figure: str
    caption: str = ""
    before: str = ""
    uncertainty: str = ""
    note: str = ""
    further: tuple[str, ...] = ()
    channel: str = ""
    fault: bool = False
    x: float | None = None
    y: float | None = None
    findings: tuple[Finding, ...] = ()
    short: str = ""
    bound: str = ""
    why: str = ""
    rated: str = ""

    @property
    def heading(self) -> str:
        """Return what is above the figure: "distortion, right, at 1 kHz", "rise time, right channel"."""
        text = ", ".join(filter(None, (self.caption or ("after" if self.before else ""), self.why)))
        # at the end, "right" alone could say that it is correct
        return f"{text} channel" if text.rpartition(", ")[2] in ("left", "right") else text

    @property
    def addition(self) -> str:
        """Return what is small after the figure: "± 1.6 W", "or less", "rated 45 dB"."""
        return " ".join(filter(None, (self.uncertainty, self.bound, self.rated)))


# ------------------------------------------------------------------ cards without a chart


@dataclass(frozen=True)
class Number:
    """One figure, filling the frame.

    Attributes
    ----------
    sentence
        Below it: "Distortion, down from 5.0 %".
    dial
        From worse, left, to better, right; None without a figure before.
    before, after
        Values on the dial.
    was
        Text at `before`: "before, 5.0 %".
    bound
        After the figure, "or less" or "or more" if it is a bound.
    """

    figure: str
    sentence: str
    dial: Axis | None = None
    before: float = 0.0
    after: float = 0.0
    was: str = ""
    bound: str = ""


@dataclass(frozen=True)
class ScoreRow:
    """A rating on the score card.

    Attributes
    ----------
    label
        "Damping factor".
    measured, rated
        "52", "60".
    verdict
        Its word.
    note
        Its margin, or in at most six words why it couldn't be judged.
    position
        Of its needle, −1 … 1; beyond the ends for one past the scale.
    uncertainty
        "± 1.6 W", if that decides.
    """

    label: str
    measured: str
    rated: str
    verdict: str
    note: str = ""
    position: float | None = None
    uncertainty: str = ""


@dataclass(frozen=True)
class Score:
    """All ratings that were compared, on one dial, the largest miss and the narrowest pass first.

    `not_judged`: if one alone wasn't, its name and the reason: "not judged: rumble, measured unweighted".
    """

    missed: tuple[ScoreRow, ...]
    close: tuple[ScoreRow, ...]
    unjudged: tuple[ScoreRow, ...]
    met: tuple[ScoreRow, ...]
    not_judged: str = ""


@dataclass(frozen=True)
class HuntReading:
    """A reading on the way to the failed part. `word`: "OK", "too low", "too high", "open", "shorted"."""

    point: str
    expected: str
    reading: str
    word: str
    out: bool = False


@dataclass(frozen=True)
class Hunt:
    """Readings that narrow down to the failed part.

    Attributes
    ----------
    readings
        At most four: up to two in tolerance, then the chain that led to the part.
    part
        The last reading, of the part itself.
    """

    readings: tuple[HuntReading, ...]
    part: HuntReading


@dataclass(frozen=True)
class Fix:
    """The repair of the part, and what is read afterwards.

    Attributes
    ----------
    part, done
        "Decoder", "trimmer set".
    reading
        The part's, after the repair; if only others are off, the first of them.
    before
        The same before it.
    others
        In a line, what the others read: "Discriminator reads right again, too".
    """

    part: str
    done: str
    reading: HuntReading
    before: str
    others: str = ""


@dataclass(frozen=True)
class Ending:
    """The end of the story.

    Attributes
    ----------
    word
        "Repaired", "Improved", "Not repaired", "Measured".
    hero
        What changed most; with nothing repaired, the largest miss, else the rating nearest to its limit.
    tally
        The verdict's word of every rating.
    met
        "9", in large: how many were met.
    of
        After it: "of 11 judged ratings met".
    missed
        Each that was missed but the hero's: "damping factor 52, rated 60".
    pending
        Below the word, why it isn't "Repaired": what was not read again, that nothing was repaired.
    unchecked
        Safety readings that are lacking: "electrical safety, mains leakage with the plug both ways".
    """

    word: str
    hero: Hero | None
    tally: tuple[str, ...] = ()
    met: str = ""
    of: str = ""
    missed: tuple[str, ...] = ()
    pending: str = ""
    unchecked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Price:
    """The price when new, what that is now, and an opinion of the unit's worth. `years`: the dial's ends."""

    paid: str
    now: str
    years: tuple[int, int]
    worth: str = ""


@dataclass(frozen=True)
class TitlePage:
    """The opening card: the hook large, then the name and what it is.

    Attributes
    ----------
    price
        For the dial of years; None without one.
    photo, mark
        Bytes of the user's own picture and mark.
    """

    hook: str
    name: str
    what: str = ""
    presenter: str = ""
    price: Price | None = None
    photo: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class Row:
    """A row of a table card. `note` goes below the first cell; `verdict` after the last."""

    cells: tuple[str, ...]
    verdict: str = ""
    note: str = ""
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Rows:
    """A table.

    Attributes
    ----------
    strong
        Index of the column in bold.
    pages
        The rows of all cards that one table is split into, which are set alike.
    more
        Below them, how many others there are: "and 9 more".
    """

    headers: tuple[str, ...]
    rows: tuple[Row, ...]
    strong: int | None = None
    pages: tuple[tuple[Row, ...], ...] = ()
    more: str = ""


# as many rows as are read while a card is on the screen, of readings and of ratings; the page has them all
FEW_ROWS = 3


def show_few(table: Rows, first: Sequence[Row] = (), most: int = FEW_ROWS) -> Rows:
    """Return a table with `most` of its rows, those that go `first` if there are more, and how many it leaves out."""
    rows = tuple(first if first and len(table.rows) > most else table.rows)[:most]
    left_out = len(table.rows) - len(rows)
    return replace(table, rows=rows, more=f"and {left_out} more" if left_out else "")


Body = Chart | Number | Score | Hunt | Fix | Ending | Price | TitlePage | Rows

# ------------------------------------------------------------------ the card


@dataclass(frozen=True, eq=False)
class Card:
    """A card as data.

    Attributes
    ----------
    title
        What was found, in at most 38 characters if the program words it.
    heading
        What a chapter or a list calls it, if that isn't its title: "7 of 9 judged ratings met".
    finding
        What the title is worded from, in templates/words/titles.j2.
    stage
        "Before the repair", "After the repair", "Before and after", "The hunt", "In short", "".
    subject
        The measurement's name, in the overline.
    conditions
        In the overline: level, load, frequency, bandwidth, weighting, which no figure goes without.
    asides
        Conditions after them that only the page has.
    verdict
        The one on the hero, with its needle.
    found
        The same card as it came in, with nothing of "after" on it.
    repaired
        Of a card as found, the same card as repaired, with which it shares its places.
    on_film
        False if it is for the page only.
    mark
        Bytes of the user's own mark.
    """

    id: str
    subject: str
    conditions: tuple[str, ...]
    body: Body
    asides: tuple[str, ...] = ()
    title: str = ""
    heading: str = ""
    finding: Point | None = None
    stage: str = ""
    hero: Hero | None = None
    verdict: Verdict | None = None
    readings: tuple[tuple[str, str], ...] = ()  # further figures, for the page and the alternative text
    corner: str = ""  # the unit's name
    foot: str = ""
    alt: str = ""  # the card in a sentence, for those who cannot see it
    first: str = ""  # where one matter takes several cards: the id of the first of them
    hold_s: float | None = None
    found: Card | None = None
    repaired: Card | None = None
    on_film: bool = True
    mark: bytes = field(default=b"", repr=False)
