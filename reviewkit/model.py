"""What travels between the stages: frozen data, no behaviour. Field names carry the unit; arrays are read-only."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reviewkit.arrays import Array

# ------------------------------------------------------------------ a measurement file, read


@dataclass(frozen=True, eq=False)
class Column:
    """One column of a file. `values`: shape (rows,), float64, read-only, converted to `unit`."""

    role: str  # time, frequency, level, power, distortion, impedance
    channel: str  # L, R, L>R, R>L or "" (not said)
    unit: str  # Hz, s, V, W, Ω, %, a dB kind: dB, dBr, dBV, dBu, dBW, dBm, dBFS; ratio: a capture, of its full scale
    values: Array
    header: str = ""  # as it stands in the file


@dataclass(frozen=True)
class Skipped:
    """A row that was left out, and why."""

    line: int
    why: str


@dataclass(frozen=True)
class SingleReading:
    """One row of a `reading` file: a value by meter, in the fixed unit of its quantity. `at`: conditions by key."""

    name: str  # as a quantity: "dc_offset", "bias"
    channel: str  # L, R, both or ""
    value: float
    unit: str
    at: Mapping[str, Any]
    note: str = ""
    line: int = 0
    step: float | None = None  # worth of the last digit written


@dataclass(frozen=True, eq=False)
class Sheet:
    """A measurement file as columns, and how it was understood. A file of single readings has no columns."""

    source: str
    columns: tuple[Column, ...]
    rows: int
    encoding: str = "utf-8"
    separator: str = ","
    decimal: str = "."
    skipped: tuple[Skipped, ...] = ()
    warnings: tuple[str, ...] = ()
    readings: tuple[SingleReading, ...] = ()
    laid_out: tuple[str, ...] = ()  # how the text was understood, a plain sentence each

    def find(self, role: str, channel: str | None = None) -> Column | None:
        """The first column with this role (and channel, where one is given), or None."""
        for column in self.columns:
            if column.role == role and (channel is None or column.channel == channel):
                return column
        return None

    def need(self, role: str) -> Column:
        """The first column with this role; LookupError where a kind was handed a sheet that lacks it."""
        column = self.find(role)
        if column is None:
            raise LookupError(f"{self.source} has no {role} column")
        return column

    def all(self, role: str) -> tuple[Column, ...]:
        """Every column with this role, in the file's order."""
        return tuple(column for column in self.columns if column.role == role)


# ------------------------------------------------------------------ the session folder, read


@dataclass(frozen=True)
class Unit:
    """The unit on the bench."""

    maker: str
    model: str
    what: str = ""
    year: int | None = None
    mains: str = ""

    @property
    def name(self) -> str:
        """Maker and model in one, as printed in a card's corner."""
        return f"{self.maker} {self.model}".strip()


@dataclass(frozen=True)
class PriceTag:
    """What the unit cost, and which index carries it to now."""

    paid: float
    currency: str
    index: str  # path in the session folder
    year: int | None = None  # None: the unit's
    to: int | None = None  # None: the latest in the table
    fair: float | None = None
    line: int = 0


@dataclass(frozen=True)
class Bench:
    """What all measurements of the session share unless one says otherwise."""

    input: str = ""
    load_ohm: float | None = None
    channels: str = ""  # driven together: "both", "one", or "" (not said)
    mains: str = ""
    coupling: str = "ac"
    equipment: tuple[str, ...] = ()
    level_uncertainty_db: float | None = None  # expanded, k = 2
    distortion_floor_percent: float | None = None
    load_tolerance_percent: float | None = None  # of the dummy loads, ± limits


@dataclass(frozen=True)
class Rating:
    """One [[rated]] table: a limit and the conditions that the maker printed with it. None or "": left out by the
    maker.
    """

    quantity: str  # a rated name of verdict.RULES, spelled with underscores
    unit: str  # the rule's unit
    at_least: float | None = None
    at_most: float | None = None
    within: tuple[float, float] | None = None  # (low, high), low negative
    load_ohm: float | None = None
    channels: str = ""
    band_hz: tuple[float, float] | None = None
    frequency_hz: float | None = None
    thd_percent: float | None = None
    thd_plus_noise_percent: float | None = None
    power_w: float | None = None
    input: str = ""
    weighting: str = ""
    tones_hz: tuple[float, float] | None = None  # of an intermodulation rating, lower first
    reference: str = ""  # "rated output", or a power, or a voltage at the input, as written
    reference_w: float | None = None  # None: not said, at the input, or rated output of a unit of no rated power
    rule: str = ""
    total: bool = False
    source: str = ""
    line: int = 0
    reference_v: float | None = None


@dataclass(frozen=True)
class Measurement:
    """One [[measurement]] table, with the bench's values where it names none of its own."""

    id: str
    kind: str
    file: str = ""  # path in the session folder; "" where the readings stand in session.toml
    title: str = ""
    setting: str = ""
    stage: str = ""  # before, after, bench or ""
    card: str = ""  # the card it is drawn on; default: its id
    input: str = ""
    load_ohm: float | None = None
    channels: str = ""
    drive_w: float | None = None  # from `drive`, given as a power, or as volts where the load is known
    drive_v: float | None = None
    frequency_hz: float | None = None
    input_level_v: float | None = None
    window: str = ""
    weighting: str = ""
    driven: str = ""
    against: str = ""
    equalised: bool = False
    amendment: bool = False
    full_scale_v: float | None = None
    hold_s: float | None = None
    loads_ohm: tuple[float, ...] = ()  # math.inf: open
    volts: Mapping[str, tuple[float, ...]] = field(default_factory=dict)  # channel -> one reading per load
    volts_step: Mapping[str, float] = field(default_factory=dict)  # channel -> worth of the last digit written, V
    columns: Mapping[str, str | int] = field(default_factory=dict)  # "left", "frequency" … -> header text or number
    units: Mapping[str, str] = field(default_factory=dict)
    line: int = 0


@dataclass(frozen=True)
class EpisodeSettings:
    """The [episode] table."""

    title: str = ""
    presenter: str = ""
    words_per_minute: float = 150.0
    frame_rate: Fraction = Fraction(30)
    look: str = "lamplight"
    card_seconds: float = 6.0
    photo: str = ""


@dataclass(frozen=True)
class LookSettings:
    """The [look] table: what the user changes of the episode's look. `colours`: "#rrggbb" by name; `font`,
    `bold_font`: paths of font files in the session folder; `lines`: where each key stands.
    """

    colours: Mapping[str, str] = field(default_factory=dict)
    font: str = ""
    bold_font: str = ""
    presenter: str = ""
    lines: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Session:
    """session.toml as a whole."""

    folder: Path
    unit: Unit
    bench: Bench = Bench()
    price: PriceTag | None = None
    ratings: tuple[Rating, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    episode: EpisodeSettings = EpisodeSettings()
    look: LookSettings = LookSettings()


@dataclass(frozen=True)
class Note:
    """One timestamped note. `segment` is resolved: "" only before the first named one."""

    clip: str  # "" where no clip was named
    at_s: float  # seconds into the clip (or into the footage where no clip was named)
    segment: str
    text: str  # without [card …] and [cut]
    cards: tuple[str, ...] = ()
    cut: bool = False
    line: int = 0


@dataclass(frozen=True)
class Clip:
    """A `clip` line of the notes. `starts_s`: clock time of its first frame, seconds after midnight, where given."""

    name: str
    length_s: float | None = None
    starts_s: float | None = None
    line: int = 0


@dataclass(frozen=True)
class Notes:
    """notes.txt as a whole."""

    clips: tuple[Clip, ...] = ()
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class RepairRow:
    """One row of repair.csv. Numbers are None where the cell is blank or a word (`open`, `short`)."""

    point: str
    expected: float | None
    expected_text: str  # as written, with its unit: "0.38 V", "" where blank
    found: float | None
    found_text: str  # "open", "short", or the number with its unit
    unit: str
    tolerance: float | None  # absolute, in `unit`; a percentage is of `expected`
    tolerance_text: str
    action: str
    note: str
    line: int = 0

    @property
    def verdict(self) -> str:
        """ "in order", "out of tolerance", "open", "short", or "" where nothing can be said."""
        if self.found_text in ("open", "short"):
            return "in order" if self.expected_text == self.found_text else self.found_text
        if self.found is None or self.expected is None or self.tolerance is None:
            return ""
        # a reading exactly on the tolerance is good; 1e-9 forgives the binary rounding of decimal cells
        off = abs(self.found - self.expected)
        return "in order" if off <= self.tolerance * (1 + 1e-9) + 1e-12 else "out of tolerance"


@dataclass(frozen=True)
class IndexTable:
    """A consumer price index by year. `short`: years averaged over fewer than twelve months -> how many."""

    source: str
    by_year: Mapping[int, float]
    short: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class PriceLine:
    """Price then and now. `now` is unrounded; `line` is the sentence that every output prints."""

    paid: float
    currency: str
    from_year: int
    to_year: int
    factor: float
    now: float
    paid_shown: str
    now_shown: str
    line: str
    fair_shown: str = ""


# ------------------------------------------------------------------ measured and judged


@dataclass(frozen=True)
class Conditions:
    """What a kind needs to know besides the columns."""

    measurement: Measurement
    bench: Bench
    ratings: tuple[Rating, ...] = ()
    mains_hz: float | None = None
    reference: Sheet | None = None  # the file of the measurement that `against` names
    reference_name: str = ""  # that measurement's setting, else its id
    floor: tuple[Finding, ...] = ()  # what this kind finds with no unit in the path (stage = "bench")


@dataclass(frozen=True)
class Finding:
    """One computed number with what it holds under. Units are the fixed ones of quantities.py."""

    quantity: str
    channel: str  # L, R, L>R, R>L, both or ""
    value: float
    unit: str
    at: Mapping[str, Any]
    measurement: str
    kind: str
    stage: str
    source: str
    uncertainty: float | None = None  # expanded (k = 2), same unit
    bound: str = ""  # "at most" or "at least": all that the bench's floor or the meter's steps let be said
    step: float | None = None  # worth of the last digit that a meter showed, where it was read off one
    floor: float | None = None  # of a bound: what the bench itself reads, same unit
    note: str = ""  # of a reading by meter, as written in its file


@dataclass(frozen=True, eq=False)
class Curve:
    """A curve that a card draws, computed once with the findings. `x`, `y`: shape (n,), float64, read-only; their units
    are those of the kind's card. `facts`: single values that go with it, such as the unit of `y`.
    """

    name: str  # what it shows, where a kind draws several: "wave", "residual", "spectrum"
    channel: str  # L, R, L>R, R>L or ""
    x: Array
    y: Array
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Measured:
    """A measurement's results. `withheld`: figures not given, each with its reason, ready to print; `curves`: all that
    its cards draw.
    """

    findings: tuple[Finding, ...]
    withheld: tuple[str, ...] = ()
    curves: tuple[Curve, ...] = ()


@dataclass(frozen=True, eq=False)
class Run:
    """One measurement with its results; see `Measured`."""

    conditions: Conditions
    findings: tuple[Finding, ...]
    withheld: tuple[str, ...] = ()
    curves: tuple[Curve, ...] = ()

    def get(self, quantity: str, channel: str | None = None, **at: Any) -> Finding | None:
        """The first finding with this quantity, channel and these conditions, or None."""
        for finding in self.findings:
            fits = finding.quantity == quantity and (channel is None or finding.channel == channel)
            if fits and all(finding.at.get(key) == value for key, value in at.items()):
                return finding
        return None


@dataclass(frozen=True)
class Point:
    """A fact worth saying: its name selects the wording in templates/words/, the facts fill it in."""

    kind: str
    name: str
    facts: Mapping[str, Any]
    measurement: str = ""


@dataclass(frozen=True)
class Verdict:
    """One rating held against what was measured."""

    rating: Rating
    label: str  # "Power into 8 Ω"
    rated: str  # the rating as one line with its conditions
    limit: str  # the limit alone: "40 W"; "0.05 % at 40 W" where a power was answered in percent
    measured: str  # "" where not measured
    verdict: str  # meets, falls short, too close to call, not comparable, not measured
    margin: str = ""
    why: str = ""
    assumed: str = ""  # conditions the maker left out, as the bench had them
    position: float | None = None  # the needle: -1 … 1, 0 on the limit; None: no pointer
    measurements: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    room: float | None = None  # `position` without the ends of its scale, and as near to 0 as it is


@dataclass(frozen=True)
class Change:
    """The same finding before and after the repair."""

    before: Finding
    after: Finding


# ------------------------------------------------------------------ a card, before it is drawn


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
class Reading:
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
    readings: tuple[Reading, ...] = ()
    verdicts: tuple[Verdict, ...] = ()  # shown as needles under the readings
    foot: str = ""
    corner: str = ""  # the unit's name
    alt: str = ""  # the card in a sentence, for those who cannot see it
    shorter: tuple[str, ...] = ()  # titles to take, in this order, where the card does not fit
    first: str = ""  # where one matter takes several cards: the id of the first of them
    chart: bool = False
    hold_s: float | None = None


# ------------------------------------------------------------------ the episode


@dataclass(frozen=True)
class Said:
    """A sentence of the bench, and the card (the first, where there are several) that shows it; "" for none."""

    text: str
    card: str = ""


@dataclass(frozen=True)
class Beat:
    """What is said in one go, and the cards that are shown meanwhile."""

    note: Note | None = None
    sentences: tuple[str, ...] = ()
    cards: tuple[str, ...] = ()


@dataclass(frozen=True)
class Segment:
    """A part of the episode. Its times are planned from words and card holds. `flag`: why its length needs thought."""

    name: str
    title: str
    start_s: float
    length_s: float
    beats: tuple[Beat, ...] = ()
    cautions: tuple[str, ...] = ()
    flag: str = ""

    @property
    def notes(self) -> tuple[Note, ...]:
        """The notes taken for it."""
        return tuple(beat.note for beat in self.beats if beat.note is not None)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the bench has to say in it."""
        return tuple(sentence for beat in self.beats for sentence in beat.sentences)

    @property
    def cards(self) -> tuple[str, ...]:
        """The cards shown in it, each once."""
        return tuple(dict.fromkeys(card for beat in self.beats for card in beat.cards))


@dataclass(frozen=True)
class Chapter:
    """One chapter: real time from the start, and its title."""

    start_s: float
    title: str


@dataclass(frozen=True, eq=False)
class Episode:
    """Everything that the outputs are written from."""

    session: Session
    runs: tuple[Run, ...]
    verdicts: tuple[Verdict, ...]
    cards: tuple[Card, ...]
    segments: tuple[Segment, ...]
    chapters: tuple[Chapter, ...]
    chapters_final: bool
    repair: tuple[RepairRow, ...] = ()
    changes: tuple[Change, ...] = ()
    price: PriceLine | None = None
    cautions: tuple[str, ...] = ()
    notes: Notes = Notes()  # as noted, bad takes too; each `cards` holds ids of cards that are there
    left_out: tuple[str, ...] = ()  # outputs and figures that could not be made, with the reason

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding, in the measurements' order."""
        return tuple(finding for run in self.runs for finding in run.findings)


@dataclass(frozen=True)
class Kind:
    """A kind of measurement: what it needs, what it computes, its card, and the facts worth saying."""

    name: str
    title: str  # the card's title where the measurement names none
    about: str  # one line for the user: what the file holds
    needs: tuple[tuple[str, ...], ...]  # alternatives, each a set of roles; () means no file is needed
    quantities: tuple[str, ...]  # every quantity it may find
    findings: Callable[[Sheet | None, Conditions], Measured]
    card: Callable[[Sequence[Run], Sequence[Verdict]], Card]  # `verdicts`: on these runs, as the card shows them
    points: Callable[[Run, Run | None], tuple[Point, ...]]  # a run, and its counterpart before the repair
    # more pictures of the same runs; their ids are what is added to the card's
    further: Callable[[Sequence[Run]], tuple[Card, ...]] = lambda runs: ()
