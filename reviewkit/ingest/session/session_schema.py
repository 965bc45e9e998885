"""The tables of session.toml as pydantic models: which keys there are, and which reader each value goes through.

Every key may be left out here; what is required, and what must agree with what, is checked where tables are joined.
Importing this module imports pydantic: do it late.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainValidator

from reviewkit.ingest.session import session_quantities as quantities
from reviewkit.ingest.session import session_values as values

Text = Annotated[str, PlainValidator(values.text)]
Path = Annotated[str, PlainValidator(values.path)]
Year = Annotated[int, PlainValidator(values.year)]
Amount = Annotated[float, PlainValidator(values.number(0, math.inf, "329.00"))]
Watts = Annotated[float, PlainValidator(quantities.quantity("W"))]
Volts = Annotated[float, PlainValidator(quantities.quantity("V"))]
Hertz = Annotated[float, PlainValidator(quantities.quantity("Hz"))]
Seconds = Annotated[float, PlainValidator(quantities.hold)]
Percent = Annotated[float, PlainValidator(quantities.quantity("%"))]
Load = Annotated[float, PlainValidator(quantities.load)]
Mains = Annotated[str, PlainValidator(values.mains)]
Band = Annotated[tuple[float, float], PlainValidator(quantities.band)]
Tones = Annotated[tuple[float, float], PlainValidator(quantities.tones)]
Colour = Annotated[str, PlainValidator(values.colour)]
Channels = Annotated[str, PlainValidator(values.choice("both", "one"))]


class Table(BaseModel):
    """A table with no keys but the ones named, and no value turned into another type in silence."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class UnitTable(Table):
    """[unit]."""

    maker: Annotated[str, PlainValidator(values.filled("Norrvale"))] = ""
    model: Annotated[str, PlainValidator(values.filled("Forty"))] = ""
    what: Text = ""
    year: Year | None = None
    mains: Mains = ""


class PriceTable(Table):
    """[price]."""

    paid: Amount | None = None
    currency: Annotated[str, PlainValidator(values.currency)] = ""
    index: Path = ""
    year: Year | None = None
    to: Year | None = None
    fair: Amount | None = None


class BenchTable(Table):
    """[bench]."""

    input: Text = ""
    load: Load | None = None
    channels: Channels = ""
    mains: Mains = ""
    coupling: Annotated[str, PlainValidator(values.choice("ac", "dc"))] = "ac"
    equipment: list[Text] = []
    level_uncertainty: Annotated[float | None, PlainValidator(quantities.plus_minus_db)] = None
    load_tolerance: Percent | None = None
    distortion_floor: Percent | None = None


class RatedTable(Table):
    """[[rated]]. The limits stay as written: their unit depends on the quantity."""

    quantity: Annotated[str, PlainValidator(values.filled("power"))] = ""
    at_least: Any = None
    at_most: Any = None
    within: Any = None
    load: Load | None = None
    channels: Channels = ""
    band: Band | None = None
    frequency: Hertz | None = None
    thd: Percent | None = None
    thd_plus_noise: Percent | None = None
    power: Watts | None = None
    input: Text = ""
    weighting: Text = ""
    tones: Tones | None = None
    reference: Text = ""
    rule: Annotated[str, PlainValidator(values.choice("continuous", "music", "DIN"))] = ""
    total: bool = False
    source: Text = ""


class MeasurementTable(Table):
    """[[measurement]]."""

    id: Text = ""
    kind: Annotated[str, PlainValidator(values.filled("response"))] = ""
    file: Path = ""
    title: Text = ""
    setting: Text = ""
    stage: Annotated[str, PlainValidator(values.choice("before", "after", "bench"))] = ""
    card: Text = ""
    input: Text = ""
    load: Load | None = None
    channels: Channels = ""
    drive: Annotated[quantities.Drive | None, PlainValidator(quantities.drive)] = None
    frequency: Hertz | None = None
    input_level: Volts | None = None
    window: Text = ""
    weighting: Text = ""
    driven: Annotated[str, PlainValidator(values.choice("L", "R"))] = ""
    against: Text = ""
    equalised: bool = False
    amendment: bool = False
    full_scale: Volts | None = None
    hold: Seconds | None = None
    loads: Annotated[tuple[float, ...], PlainValidator(quantities.loads)] = ()
    volts: dict[str, Annotated[tuple[quantities.Volts, ...], PlainValidator(quantities.readings)]] = {}
    columns: dict[str, Annotated[str | int, PlainValidator(values.column)]] = {}
    units: dict[str, Annotated[str, PlainValidator(quantities.unit_word)]] = {}


class EpisodeTable(Table):
    """[episode]."""

    title: Text = ""
    presenter: Text = ""
    words_per_minute: Annotated[float, PlainValidator(values.number(0, 600, "150"))] = 150.0
    frame_rate: Annotated[Fraction, PlainValidator(values.frame_rate)] = Fraction(30)
    look: Annotated[str, PlainValidator(values.choice("lamplight", "brochure"))] = "lamplight"
    card_seconds: Annotated[float, PlainValidator(values.number(0, 600, "6"))] = 6.0
    photo: Path = ""


class LookTable(Table):
    """[look]. The colours are those of a look, each by its name."""

    ground: Colour = ""
    ink: Colour = ""
    soft: Colour = ""
    rule: Colour = ""
    left: Colour = ""
    right: Colour = ""
    meets: Colour = ""
    falls_short: Colour = ""
    font: Path = ""
    bold_font: Path = ""
    presenter: Text = ""


TABLES: dict[str, type[Table]] = {
    "unit": UnitTable,
    "price": PriceTable,
    "bench": BenchTable,
    "rated": RatedTable,
    "measurement": MeasurementTable,
    "episode": EpisodeTable,
    "look": LookTable,
}
