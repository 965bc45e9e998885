"""The keys of session.toml as pydantic models, built from the marks in `reviewkit/model/session.py`.

The model's dataclasses give the keys, and TYPES the values that each mark allows. A reader that depends on an earlier
key returns None if that key couldn't be read: one mistake is one fault. Importing this module imports pydantic: do it
late.
"""

from __future__ import annotations

import os
import re
from dataclasses import MISSING, fields
from fractions import Fraction
from functools import cache
from typing import Annotated, Any, Literal, get_type_hints

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator, create_model

from reviewkit.ingest.plain_text import BIDIRECTIONAL
from reviewkit.ingest.session import session_quantities as quantities
from reviewkit.ingest.session import session_ratings as ratings
from reviewkit.ingest.session import session_values as values

# looking for plugins of pydantic takes longer than reading a session; it does so when the first model is made
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
_UNIT = re.compile(r"_(?:hz|ohm|v|w|s|db|percent)$")


class Table(BaseModel):
    """A table with no keys but the ones named, and without silent conversion of a value's type."""

    model_config = ConfigDict(
        strict=True,
        extra="forbid",
        frozen=True,
        str_strip_whitespace=True,
        str_max_length=1000,  # some ten lines of a page
        alias_generator=lambda name: _UNIT.sub("", name),
    )

    @classmethod
    @cache
    def examples(cls) -> dict[str, str]:
        """Return each key with an example of what to write there, or ""."""
        return {str(info.alias): str((info.examples or [""])[0]) for info in cls.model_fields.values()}


def _quantity(base: str) -> Any:
    return Annotated[float, PlainValidator(quantities.quantity_in(base))]


def _words(*words: str) -> Any:
    """Return the type of a choice between words, whatever their case."""
    by_fold = {word.casefold(): word for word in words}

    def spelled(value: Any) -> Any:
        return by_fold.get(value.strip().casefold(), value) if isinstance(value, str) else value

    return Annotated[Literal[words], BeforeValidator(spelled)]


def _pair(example: str) -> Any:
    """Return the type of two frequencies, the lower one first."""
    hertz: Any = Annotated[list[_quantity("Hz")], Field(min_length=2, max_length=2, examples=[example])]  # type: ignore[misc]
    return Annotated[hertz, AfterValidator(quantities.check_rising)]


_TEXT = Annotated[str, Field(pattern=rf"^[^\x00-\x1f\x7f\u0085\u2028\u2029{BIDIRECTIONAL}]*$")]
_FILLED = Annotated[_TEXT, Field(min_length=1)]
_YEAR = Annotated[int, Field(ge=1850, le=2200, examples=["1977"])]
_NUMBER = Annotated[float, Field(allow_inf_nan=False)]
_LOAD = Annotated[float, PlainValidator(quantities.read_load)]
_COLUMN = Annotated[str, AfterValidator(values.read_column_name)]
_CHANNEL = Annotated[str, AfterValidator(values.read_channel)]
_VOLTS = Annotated[Any, PlainValidator(quantities.read_volts)]

TYPES: dict[str, Any] = {
    "text": _TEXT,
    # our own function, because pydantic takes 3 ms to inspect the signature of `tuple`
    "texts": Annotated[
        list[_TEXT], AfterValidator(lambda texts: tuple(texts)), Field(examples=['["two 8 ohm 100 W loads"]'])
    ],
    "file": Annotated[str, AfterValidator(values.read_path), Field(examples=['"measurements/response.csv"'])],
    "files": Annotated[_TEXT, AfterValidator(values.read_path), Field(examples=['"measurements/after/*.csv"'])],
    "patterns": Annotated[list[_FILLED], AfterValidator(lambda texts: tuple(texts)), Field(examples=['["*.tmp"]'])],
    "price index": Annotated[str, Field(min_length=1, examples=['"prices.csv"']), AfterValidator(values.read_path)],
    "recording": Annotated[_FILLED, AfterValidator(values.read_path), Field(examples=['"recordings/before.wav"'])],
    "id": Annotated[_FILLED, Field(examples=['"music"'])],
    "maker": Annotated[_FILLED, Field(examples=['"Norrvale"'])],
    "model": Annotated[_FILLED, Field(examples=['"Forty"'])],
    "kind": Annotated[_FILLED, Field(examples=['"response"'])],
    "quantity": Annotated[_FILLED, AfterValidator(ratings.read_rated), Field(examples=['"power"'])],
    "limit": Annotated[Any, PlainValidator(ratings.read_limit)],
    "reference": Annotated[_TEXT, AfterValidator(ratings.read_reference)],
    "year": _YEAR,
    "yes or no": bool,
    "shapes": Annotated[
        list[_words("wide", "tall", "square")],  # type: ignore[misc]
        Field(min_length=1, max_length=3, examples=['["wide", "tall"]']),
        AfterValidator(lambda shapes: tuple(dict.fromkeys(shapes))),
    ],
    "unit types": Annotated[
        Any, PlainValidator(values.read_types), Field(examples=['"tuner"', '["tuner", "amplifier"]'])
    ],
    "card names": Annotated[
        list[_TEXT],
        Field(examples=['["noise", "crosstalk"]']),
        AfterValidator(lambda names: tuple(dict.fromkeys(names))),
    ],
    "readings": Annotated[
        list[_FILLED],
        Field(max_length=3, examples=['["THD", "damping factor at 20 Hz"]']),
        AfterValidator(lambda names: tuple(dict.fromkeys(names))),
    ],
    "amount": Annotated[_NUMBER, Field(ge=0.01, le=1e12, examples=["329.00"])],
    "rating": Annotated[_NUMBER, Field(ge=1, le=5, examples=["4.5"])],
    "words per minute": Annotated[_NUMBER, Field(ge=1, le=600, examples=["150"])],
    "card seconds": Annotated[_NUMBER, Field(ge=0.1, le=600, examples=["6"])],
    "frame rate": Annotated[Fraction, PlainValidator(values.read_frame_rate), Field(examples=["29.97"])],
    "currency": Annotated[_TEXT, AfterValidator(values.read_currency), Field(examples=['"USD"'])],
    "colour": Annotated[_TEXT, AfterValidator(values.read_colour), Field(examples=['"#ffd98a"'])],
    "web address": Annotated[_TEXT, AfterValidator(values.read_address)],
    "mains": Annotated[_TEXT, AfterValidator(values.read_mains)],
    "conditions": Annotated[Any, PlainValidator(values.read_conditions), Field(examples=['{ tape = "chrome" }'])],
    "weighting": Annotated[_TEXT, AfterValidator(values.read_weighting)],
    "load": _LOAD,
    "± dB": Annotated[float, PlainValidator(quantities.read_plus_minus_db)],
    **{base: _quantity(base) for base in ("Hz", "V", "W", "Ω", "s", "%")},
    "times": Annotated[Any, PlainValidator(quantities.read_times), Field(examples=['"2.5 s"'])],
    "drive": Annotated[Any, PlainValidator(quantities.read_level), Field(examples=['"4 W" or "2.83 V"'])],
    "level": Annotated[Any, PlainValidator(quantities.read_rated_level), Field(examples=['"4 W" or "2.83 V"'])],
    "tolerance": Annotated[Any, PlainValidator(ratings.read_tolerance)],
    "band": _pair('["20 Hz", "20 kHz"]'),
    "reference frequency": Annotated[
        Any,
        PlainValidator(quantities.read_reference_frequency),
        Field(examples=['"315 Hz" or ["300 Hz", "3 kHz"]']),
    ],
    "target": Annotated[_FILLED, AfterValidator(values.read_target)],
    "tones": _pair('["60 Hz", "7 kHz"]'),
    "lines": Annotated[
        list[_quantity("Hz")],  # type: ignore[misc]
        Field(max_length=20, examples=['["19 kHz", "38 kHz"]']),
        AfterValidator(lambda lines: tuple(lines)),
    ],
    "cm/s": Annotated[float, PlainValidator(quantities.single_in("cm/s", "4.76 cm/s"))],
    "mm": Annotated[float, PlainValidator(quantities.single_in("m", "0.9 mm"))],
    "rates": Annotated[
        dict[_FILLED, _quantity("Hz")],  # type: ignore[misc]
        Field(max_length=20, examples=['{ capstan = "7.58 Hz" }']),
    ],
    "named lines": Annotated[
        dict[_FILLED, Annotated[Any, PlainValidator(quantities.read_reference_frequency)]],
        Field(max_length=20, examples=['{ pilot = "19 kHz", rumble = ["10 Hz", "315 Hz"] }']),
    ],
    "signal level": Annotated[
        Any, PlainValidator(quantities.read_signal_level), Field(examples=['"245 mV" or "-12 dBFS"'])
    ],
    "loads": Annotated[
        list[_LOAD], Field(min_length=2, examples=['["open", "8 ohm"]']), AfterValidator(quantities.check_different)
    ],
    "volts": Annotated[
        dict[_CHANNEL, Annotated[list[_VOLTS], Field(min_length=1)]],
        Field(min_length=1, examples=['{ L = ["12.71 V", "12.46 V"] }']),
        AfterValidator(quantities.join_channels),
    ],
    "columns": Annotated[
        dict[_COLUMN, Annotated[Any, PlainValidator(values.read_column)]],
        Field(examples=['{ frequency = 1, left = "Ch 1" }']),
    ],
    "units": Annotated[
        dict[_COLUMN, Annotated[_TEXT, AfterValidator(quantities.read_unit)]],
        Field(examples=['{ frequency = "kHz", left = "dBV" }']),
    ],
}
FILES = ("file", "price index")  # the types that are a path


@cache
def marks_of(model: Any) -> dict[str, Any]:
    """Return what the fields of a dataclass are marked with: its keys, in its order."""
    hints = get_type_hints(model, include_extras=True)
    return {name: hint.__metadata__[0] for name, hint in hints.items() if hasattr(hint, "__metadata__")}


@cache
def schema_of(model: Any) -> type[Table]:
    """Return the pydantic model of a table. A key that must be there has the default None."""
    defaults = {
        each.name: each.default_factory() if each.default_factory is not MISSING else each.default
        for each in fields(model)
    }
    keys: Any = {
        name: (
            _words(*mark) if isinstance(mark, tuple) else TYPES[mark],
            None if defaults[name] is MISSING else defaults[name],
        )
        for name, mark in marks_of(model).items()
    }
    return create_model(model.__name__, __base__=Table, **keys)
