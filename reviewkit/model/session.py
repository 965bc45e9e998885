"""session.toml: the unit, the bench, the ratings, the measurements.

A field marked with `Annotated` is a key of session.toml, called as the field without its unit (`load_ohm`: `load`).
The mark says how its value is written there: the words to choose from, or a type of `ingest/session/session_schema.py`.
What has no mark is worked out from the rest.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from pathlib import Path
from typing import Annotated

from reviewkit.model.gear import Gear, gear_of
from reviewkit.model.level import Level

Text = Annotated[str, "text"]
File = Annotated[str, "file"]  # its path in the session folder
Colour = Annotated[str, "colour"]
CAPTURES = (".wav", ".wave")  # endings of a measurement's file that is a capture
Channels = Annotated[str, ("both", "one")]  # driven together; "": not said
# that the user names: "tape" -> "chrome", in the order of their names
Named = Annotated[tuple[tuple[str, str], ...], "conditions"]


@dataclass(frozen=True)
class Unit:
    """The unit on the bench."""

    maker: Annotated[str, "maker"]
    model: Annotated[str, "model"]
    what: Text = ""
    year: Annotated[int | None, "year"] = None
    mains: Annotated[str, "mains"] = ""
    short: Text = ""
    type: Annotated[tuple[str, ...], "unit types"] = ()  # of model/gear.py

    @property
    def gear(self) -> Gear | None:
        """All that follows from its type; None if none is stated."""
        return gear_of(self.type)

    @property
    def name(self) -> str:
        """Return maker and model."""
        return f"{self.maker} {self.model}".strip()

    @property
    def short_name(self) -> str:
        """Return the name for a card's corner."""
        return self.short or self.name


@dataclass(frozen=True)
class PriceTag:
    """The original price, and the index that converts it."""

    paid: Annotated[float, "amount"]
    currency: Annotated[str, "currency"]
    index: Annotated[str, "price index"]
    year: Annotated[int | None, "year"] = None  # None: the unit's
    to: Annotated[int | None, "year"] = None  # None: the latest in the table
    fair: Annotated[float | None, "amount"] = None
    line: int = 0


@dataclass(frozen=True)
class BenchRange:
    """A [bench.NAME] table: the bench on one input of the unit, or in one of its ranges. None or "": as in [bench]."""

    load_ohm: Annotated[float | None, "load"] = None
    channels: Channels = ""
    coupling: Annotated[str, ("ac", "dc")] = ""
    level_uncertainty_db: Annotated[float | None, "± dB"] = None  # expanded, k = 2
    distortion_floor_percent: Annotated[float | None, "%"] = None
    load_tolerance_percent: Annotated[float | None, "%"] = None  # of the dummy loads, ± limits


def range_of(range_: str, input_: str, of_kind: str, of_bench: str) -> str:
    """Return the name that a measurement's [bench.NAME] has: its range, else its input, that of its kind or the
    bench's.
    """
    names = (range_, input_, of_kind, of_bench)
    return next((each for each in names if each), "").casefold()


@dataclass(frozen=True)
class Bench(BenchRange):
    """The conditions that all measurements share unless one states otherwise."""

    input: Text = ""
    mains: Annotated[str, "mains"] = ""
    coupling: Annotated[str, ("ac", "dc")] = "ac"
    equipment: Annotated[tuple[str, ...], "texts"] = ()
    ranges: Mapping[str, BenchRange] = field(default_factory=dict)  # by input or range, in small letters

    def of(self, name: str) -> "Bench":
        """Return the bench in one of its ranges; "": in none."""
        own = vars(self.ranges.get(name, BenchRange())).items()
        return replace(self, ranges={}, **{key: value for key, value in own if value not in (None, "")})


@dataclass(frozen=True)
class Rating:
    """One figure that the maker promises: a limit and its printed conditions. None or "": not stated."""

    # a name of ratings.RULES, or one of the maker's own as a name; stays first, for the limits are read by it
    quantity: Annotated[str, "quantity"]
    unit: str  # the rule's unit, or of an own name that of its limit
    at_least: Annotated[float | None, "limit"] = None
    at_most: Annotated[float | None, "limit"] = None
    within: Annotated[tuple[float, float] | None, "limit"] = None  # (low, high), low negative
    load_ohm: Annotated[float | None, "load"] = None
    channels: Channels = ""
    band_hz: Annotated[tuple[float, float] | None, "band"] = None
    frequency_hz: Annotated[float | None, "Hz"] = None
    thd_percent: Annotated[float | None, "%"] = None
    thd_plus_noise_percent: Annotated[float | None, "%"] = None
    power_w: Annotated[float | None, "W"] = None
    input: Text = ""
    weighting: Annotated[str, "weighting"] = ""
    tones_hz: Annotated[tuple[float, float] | None, "tones"] = None  # of an intermodulation rating, lower first
    reference: Annotated[str, "reference"] = ""  # "rated output", or a power, or a voltage at the input, as written
    reference_w: float | None = None  # None: not said, at the input, or rated output of a unit of no rated power
    rule: Annotated[str, ("continuous", "music", "DIN")] = ""
    total: Annotated[bool, "yes or no"] = False
    source: Text = ""
    order: int = 0  # its place among the session's ratings, from 1
    reference_v: float | None = None
    # at which it holds, if that is not a power: volts, dBFS, dB relative to a reference
    level: Annotated[Level | None, "level"] = None
    nominal: Annotated[float | None, "limit"] = None  # printed as what the unit has, not as a limit
    # of a nominal value, and read by it: the lowest and the highest that it allows
    tolerance: Annotated[tuple[float, float] | None, "tolerance"] = None
    typical: Annotated[bool, "yes or no"] = False  # printed as typical: it promises nothing
    termination: Text = ""  # of the input: "shorted", "1 kohm", "cartridge"
    volume: Text = ""  # position of the volume control
    conditions: Named = ()
    called: str = ""  # of an own name: as it is written
    # the frequencies that it means if it names none, the first to measure at; (): 1 kHz
    meant_hz: tuple[float, ...] = ()
    reference_level: Level | None = None  # of a reference that is neither a power nor at the input

    @property
    def printed(self) -> float | None:
        """The one figure that the maker prints, whichever it is; None for a tolerance of two sides."""
        return next((v for v in (self.at_least, self.at_most, self.nominal) if v is not None), None)

    @property
    def sides_differ(self) -> bool:
        """Return whether it allows more on one side than on the other."""
        return self.within is not None and -self.within[0] != self.within[1]


@dataclass(frozen=True)
class PrintedFigure:
    """A figure of the maker's that nothing here measures: its name and the rest, as printed."""

    name: str
    text: str
    source: str = ""


@dataclass(frozen=True)
class Measurement:
    """One [[measurement]] table, completed with the bench's values."""

    id: Text
    kind: Annotated[str, "kind"]
    file: File = ""  # "" if the readings are in session.toml
    title: Text = ""
    setting: Text = ""
    stage: Annotated[str, ("before", "after", "bench")] = ""
    # the card it is drawn on; "": with the runs that differ from it only in stage or channel
    card: Text = ""
    readings: Annotated[
        tuple[str, ...], "readings"
    ] = ()  # further figures on its card: "THD", "damping factor at 20 Hz"
    input: Text = ""
    load_ohm: Annotated[float | None, "load"] = None
    channels: Channels = ""
    range: Text = ""  # of the bench: its [bench.NAME] table; if left out, by its input; "": there is none
    drive: Annotated[Level | None, "drive"] = None  # as it is written, without the load
    frequency_hz: Annotated[float | None, "Hz"] = None
    # lines that count neither as distortion nor as noise; None: not said, (): there are none
    without_hz: Annotated[tuple[float, ...] | None, "lines"] = None
    input_level_v: Annotated[float | None, "V"] = None
    window: Text = ""
    weighting: Annotated[str, "weighting"] = ""
    termination: Text = ""
    volume: Text = ""
    conditions: Named = ()
    # of a response: the frequency, or the band whose mean, it is relative to; None: what its gear has
    relative_to: Annotated[float | tuple[float, float] | None, "reference frequency"] = None
    target: Annotated[str, "target"] = ""  # of a response: the curve that it is meant to follow; see model/targets.py
    centre_hz: Annotated[float | None, "Hz"] = None  # of an equaliser's band, as printed at its control
    driven: Annotated[str, ("L", "R")] = ""
    against: Text = ""
    equalised: Annotated[bool, "yes or no"] = False
    amendment: Annotated[bool, "yes or no"] = False
    # of a tuner's signal in volts: the impedance, and whether it is terminated by the tuner or the generator's e.m.f.
    aerial_ohm: Annotated[float | None, "Ω"] = None
    microvolts: Annotated[str, ("terminated", "e.m.f.")] = ""
    enclosure: Annotated[str, ("none", "closed", "vented")] = ""  # of a loudspeaker; none: a bare driver
    dc_resistance_ohm: Annotated[float | None, "Ω"] = None  # of its voice coil, by a meter
    tape_speed: Annotated[float | None, "cm/s"] = None
    track_spacing: Annotated[float | None, "mm"] = None  # in m, from the middle of one track to that of the other
    rates_hz: Annotated[Mapping[str, float], "rates"] = field(default_factory=dict)  # what turns, and how fast
    # lines and bands of a spectrum by name: a frequency, or the lower and the upper edge
    lines_hz: Annotated[Mapping[str, float | tuple[float, float]], "named lines"] = field(default_factory=dict)
    # of a reference tone captured in the same way, V or dBFS; of a sweep of a tape's level, the flux at 0 dB
    reference_level: Annotated[Level | None, "signal level"] = None
    full_scale_v: Annotated[float | None, "V"] = None
    hold_s: Annotated[float | None, "s"] = None
    loads_ohm: Annotated[tuple[float, ...], "loads"] = ()  # math.inf: open
    # of each channel, one reading per load
    volts: Annotated[Mapping[str, tuple[float, ...]], "volts"] = field(default_factory=dict)
    volts_step: Mapping[str, float] = field(default_factory=dict)  # channel -> worth of the last digit written, V
    # "left", "frequency" … -> header text or number
    columns: Annotated[Mapping[str, str | int], "columns"] = field(default_factory=dict)
    units: Annotated[Mapping[str, str], "units"] = field(default_factory=dict)
    files: Annotated[str, "files"] = ""  # those that the table applies to, instead of a file
    planned: Annotated[bool, "yes or no"] = False  # it is left out until its file or its readings are there
    line: int = 0
    # whether a table names its file; if not, it is left out if it can't be used
    named: bool = True

    @property
    def drive_w(self) -> float | None:
        """Return the power that it is driven to, W; of a drive in volts, if the load is known."""
        return replace(self.drive, load_ohm=self.load_ohm).watts if self.drive else None

    @property
    def drive_v(self) -> float | None:
        """Return the voltage that it is driven to, V; of a drive in watts, if the load is known."""
        return replace(self.drive, load_ohm=self.load_ohm).volts if self.drive else None

    @property
    def level(self) -> Level | None:
        """Return a drive that is neither a power nor a voltage."""
        return None if self.drive is None or self.drive.unit in ("W", "V") else self.drive


@dataclass(frozen=True)
class MeasurementDefaults:
    """The [measurement] table of a studio: what a measurement has unless its table or its file says otherwise."""

    window: Text = ""
    termination: Text = ""
    volume: Text = ""
    full_scale_v: Annotated[float | None, "V"] = None
    hold_s: Annotated[float | None, "s"] = None


@dataclass(frozen=True)
class Recording:
    """A recording to be played. `columns`: which of its channels, as a measurement has them."""

    file: str
    columns: Mapping[str, str | int] = field(default_factory=dict)


@dataclass(frozen=True)
class Sound:
    """One [[sound]] table: a passage before the repair and after it."""

    id: Annotated[str, "id"]
    before: Annotated[str, "recording"]  # a path in the session folder, or the id of a measurement
    after: Annotated[str, "recording"]
    title: Text = ""
    of: Annotated[str, ("music", "speech", "tone", "hum", "noise", "balance", "response")] = ""
    from_s: Annotated[tuple[float, float], "times"] = (0.0, 0.0)  # before, after
    to_s: Annotated[tuple[float, float] | None, "times"] = None  # None: to the end
    fade_s: Annotated[float, "s"] = 0.02  # at either end
    match: Annotated[bool, "yes or no"] = False
    target: Annotated[str, ("-23 LUFS", "-14 LUFS")] = "-23 LUFS"
    line: int = 0
    recordings: tuple[Recording, ...] = ()  # before, after

    @property
    def target_lufs(self) -> float:
        """Return the loudness of the louder of the two."""
        return float(self.target.split()[0])


@dataclass(frozen=True)
class EpisodeSettings:
    """The [episode] table."""

    title: Text = ""
    presenter: Text = ""
    words_per_minute: Annotated[float, "words per minute"] = 150.0
    frame_rate: Annotated[Fraction, "frame rate"] = Fraction(30)
    look: Annotated[str, ("lamplight", "brochure")] = "lamplight"
    card_seconds: Annotated[float, "card seconds"] = 6.0
    photo: File = ""
    thumbnail: Annotated[str, ("figure", "pair", "photo")] = "figure"  # which of them is thumbnail.png
    shapes: Annotated[tuple[str, ...], "shapes"] = ("wide",)
    page: Annotated[str, "web address"] = ""  # where episode.html will be
    film: Annotated[str, "web address"] = ""  # where the film will be
    rating: Annotated[float | None, "rating"] = None  # the presenter's own, of 5


@dataclass(frozen=True)
class CardChoices:
    """The [cards] table: cards by their ids. `hide`: not made; `order`: in which they come, others keep their places;
    `only_page`: left out of the film.
    """

    hide: Annotated[tuple[str, ...], "card names"] = ()
    order: Annotated[tuple[str, ...], "card names"] = ()
    only_page: Annotated[tuple[str, ...], "card names"] = ()
    lines: Mapping[str, int] = field(default_factory=dict)  # the line of each key


@dataclass(frozen=True)
class FileSettings:
    """The [files] table. `ignore`: patterns of files in measurements/ that aren't measurements."""

    ignore: Annotated[tuple[str, ...], "patterns"] = ()


@dataclass(frozen=True)
class LookSettings:
    """The [look] table: what the user changes of the episode's look. Colours are "#rrggbb", or "" where the look's own
    is kept.
    """

    ground: Colour = ""
    ink: Colour = ""
    soft: Colour = ""
    rule: Colour = ""
    left: Colour = ""
    right: Colour = ""
    meets: Colour = ""
    falls_short: Colour = ""
    font: File = ""
    bold_font: File = ""
    presenter: Text = ""
    mark: File = ""  # the user's own, small on title, ending and thumbnail
    lines: Mapping[str, int] = field(default_factory=dict)  # where each key is
    sources: Mapping[str, str] = field(default_factory=dict)  # in which file, if not in session.toml

    @property
    def colours(self) -> dict[str, str]:
        """The user's colours by name."""
        marked = [each.name for each in fields(self) if each.type == Colour]
        return {name: colour for name in marked if (colour := getattr(self, name))}


@dataclass(frozen=True)
class Session:
    """The whole of session.toml."""

    folder: Path
    unit: Unit
    bench: Bench = Bench()
    price: PriceTag | None = None
    ratings: tuple[Rating, ...] = ()
    printed: tuple[PrintedFigure, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    sounds: tuple[Sound, ...] = ()
    episode: EpisodeSettings = EpisodeSettings()
    look: LookSettings = LookSettings()
    cards: CardChoices = CardChoices()
    in_studio: bool = False  # whether a studio.toml above it was looked for
