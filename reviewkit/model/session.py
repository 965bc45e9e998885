"""session.toml: the unit, the bench, what is rated, what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from reviewkit.model.level import Level


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
    level: Level | None = None  # at which it holds, if that is not a power: volts, dBFS, dB relative to a reference
    nominal: float | None = None  # printed as what the unit has, not as a limit
    tolerance: tuple[float, float] | None = None  # of a nominal value: the lowest and the highest that it allows
    typical: bool = False  # printed as typical: it promises nothing
    termination: str = ""  # of the input: "shorted", "1 kohm", "cartridge"
    volume: str = ""  # position of the volume control

    @property
    def printed(self) -> float | None:
        """The one figure that the maker prints, whichever it is; None for a tolerance of two sides."""
        return next((v for v in (self.at_least, self.at_most, self.nominal) if v is not None), None)


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
    level: Level | None = None  # from a `drive` that is neither: dBFS, or dB relative to a reference
    frequency_hz: float | None = None
    input_level_v: float | None = None
    window: str = ""
    weighting: str = ""
    termination: str = ""
    volume: str = ""
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
