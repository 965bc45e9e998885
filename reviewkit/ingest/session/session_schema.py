"""The keys of session.toml as pydantic models, built from the marks in `reviewkit/model/session.py`.

The model's dataclasses give the keys, and TYPES the values that each mark allows. A reader that depends on an earlier
key returns None if that key couldn't be read: one mistake is one fault. Importing this module imports pydantic: do it
late.
"""

from __future__ import annotations

import os
import re
from dataclasses import MISSING, fields
from functools import cache
from typing import Annotated, Any, Literal, get_type_hints

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator, create_model

from reviewkit.ingest.plain_text import BIDIRECTIONAL
from reviewkit.ingest.session import session_quantities as quantities
from reviewkit.ingest.session import session_ratings as ratings
from reviewkit.ingest.session import session_values as values
from reviewkit.model.weightings import weighting_of

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


def _read_by(reader: Any, *examples: str) -> Any:
    """Return the type of what a reader takes as it is written, and checks itself."""
    return Annotated[Any, PlainValidator(reader), Field(examples=list(examples))]


def _checked(kind: Any, reader: Any, *examples: str) -> Any:
    """Return the type of what pydantic checks first, then a reader."""
    return Annotated[kind, AfterValidator(reader), Field(examples=list(examples))]


def _words(*words: str) -> Any:
    """Return the type of a choice between words, whatever their case."""
    by_fold = {word.casefold(): word for word in words}

    def spelled(value: Any) -> Any:
        return by_fold.get(value.strip().casefold(), value) if isinstance(value, str) else value

    return Annotated[Literal[words], BeforeValidator(spelled)]


def _list_of(kind: Any, **limits: Any) -> Any:
    return Annotated[list[kind], Field(**limits)]


def _table_of(key: Any, value: Any, **limits: Any) -> Any:
    return Annotated[dict[key, value], Field(**limits)]


def _pair(example: str) -> Any:
    """Return the type of two frequencies, the lower one first."""
    return _checked(_list_of(_HERTZ, min_length=2, max_length=2), quantities.check_rising, example)


def _tuple(values: list[Any]) -> tuple[Any, ...]:
    """Return a list as a tuple; a function of our own, because pydantic takes 3 ms to inspect that of `tuple`."""
    return tuple(values)


def _distinct(values: list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(values))


_TEXT = Annotated[str, Field(pattern=rf"^[^\x00-\x1f\x7f\u0085\u2028\u2029{BIDIRECTIONAL}]*$")]
_FILLED = Annotated[_TEXT, Field(min_length=1)]
_NUMBER = Annotated[float, Field(allow_inf_nan=False)]
_HERTZ = _read_by(quantities.quantity_in("Hz"))
_LOAD = _read_by(quantities.read_load)
_COLUMN = _checked(str, values.read_column_name)
_CHANNEL = _checked(str, values.read_channel)

TYPES: dict[str, Any] = {
    "text": _TEXT,
    "texts": _checked(list[_TEXT], _tuple, '["two 8 ohm 100 W loads"]'),
    "file": _checked(str, values.read_path, '"measurements/response.csv"'),
    "files": _checked(_TEXT, values.read_path, '"measurements/after/*.csv"'),
    "patterns": _checked(list[_FILLED], _tuple, '["*.tmp"]'),
    "price index": _checked(Annotated[str, Field(min_length=1)], values.read_path, '"prices.csv"'),
    "recording": _checked(_FILLED, values.read_path, '"recordings/before.wav"'),
    "id": Annotated[_FILLED, Field(examples=['"music"'])],
    "maker": Annotated[_FILLED, Field(examples=['"Norrvale"'])],
    "model": Annotated[_FILLED, Field(examples=['"Forty"'])],
    "kind": Annotated[_FILLED, Field(examples=['"response"'])],
    "quantity": _checked(_FILLED, ratings.read_rated, '"power"'),
    "limit": _read_by(ratings.read_limit),
    "reference": _checked(_TEXT, ratings.read_reference),
    "year": Annotated[int, Field(ge=1850, le=2200, examples=["1977"])],
    "yes or no": bool,
    "shapes": _checked(
        _list_of(_words("wide", "tall", "square"), min_length=1, max_length=3), _distinct, '["wide", "tall"]'
    ),
    "unit types": _read_by(values.read_types, '"tuner"', '["tuner", "amplifier"]'),
    "card names": _checked(list[_TEXT], _distinct, '["noise", "crosstalk"]'),
    "readings": _checked(_list_of(_FILLED, max_length=3), _distinct, '["THD", "damping factor at 20 Hz"]'),
    "amount": Annotated[_NUMBER, Field(ge=0.01, le=1e12, examples=["329.00"])],
    "rating": Annotated[_NUMBER, Field(ge=1, le=5, examples=["4.5"])],
    "words per minute": Annotated[_NUMBER, Field(ge=1, le=600, examples=["150"])],
    "card seconds": Annotated[_NUMBER, Field(ge=0.1, le=600, examples=["6"])],
    "frame rate": _read_by(values.read_frame_rate, "29.97"),
    "currency": _checked(_TEXT, values.read_currency, '"USD"'),
    "colour": _checked(_TEXT, values.read_colour, '"#ffd98a"'),
    "web address": _checked(_TEXT, values.read_address),
    "mains": _checked(_TEXT, values.read_mains),
    "conditions": _read_by(values.read_conditions, '{ tape = "chrome" }'),
    "weighting": _checked(_TEXT, weighting_of),
    "load": _LOAD,
    "± dB": _read_by(quantities.read_plus_minus_db),
    **{base: _read_by(quantities.quantity_in(base)) for base in ("Hz", "V", "W", "Ω", "s", "%")},
    "times": _read_by(quantities.read_times, '"2.5 s"'),
    "drive": _read_by(quantities.read_level, '"4 W" or "2.83 V"'),
    "level": _read_by(quantities.read_rated_level, '"4 W" or "2.83 V"'),
    "tolerance": _read_by(ratings.read_tolerance),
    "band": _pair('["20 Hz", "20 kHz"]'),
    "reference frequency": _read_by(quantities.read_reference_frequency, '"315 Hz" or ["300 Hz", "3 kHz"]'),
    "target": _checked(_FILLED, values.read_target),
    "tones": _pair('["60 Hz", "7 kHz"]'),
    "lines": _checked(_list_of(_HERTZ, max_length=20), _tuple, '["19 kHz", "38 kHz"]'),
    "cm/s": _read_by(quantities.single_in("cm/s", "4.76 cm/s")),
    "mm": _read_by(quantities.single_in("m", "0.9 mm")),
    "rates": _table_of(_FILLED, _HERTZ, max_length=20, examples=['{ capstan = "7.58 Hz" }']),
    "named lines": _table_of(
        _FILLED,
        _read_by(quantities.read_reference_frequency),
        max_length=20,
        examples=['{ pilot = "19 kHz", rumble = ["10 Hz", "315 Hz"] }'],
    ),
    "signal level": _read_by(quantities.read_signal_level, '"245 mV" or "-12 dBFS"'),
    "loads": _checked(_list_of(_LOAD, min_length=2), quantities.check_different, '["open", "8 ohm"]'),
    "volts": _checked(
        _table_of(_CHANNEL, _list_of(_read_by(quantities.read_volts), min_length=1), min_length=1),
        quantities.join_channels,
        '{ L = ["12.71 V", "12.46 V"] }',
    ),
    "columns": _table_of(_COLUMN, _read_by(values.read_column), examples=['{ frequency = 1, left = "Ch 1" }']),
    "units": _table_of(
        _COLUMN, _checked(_TEXT, quantities.read_unit), examples=['{ frequency = "kHz", left = "dBV" }']
    ),
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
