"""Data as text and back: the model's dataclasses and their content. Text contains no code, wherever it comes from."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from reviewkit.model import (
    card,
    change,
    episode,
    finding,
    gear,
    notes,
    prices,
    recognised,
    repair,
    session,
    sheet,
    verdict,
)

_MODULES = (card, change, episode, finding, gear, notes, prices, recognised, repair, session, sheet, verdict)
_DATACLASSES = {each.__name__: each for module in _MODULES for each in vars(module).values() if isinstance(each, type)}


class NotPlain(TypeError):
    """Error for a value whose type has no text form here."""


def to_text(value: Any) -> str:
    """Return a value as JSON: numbers, texts, tuples, lists, mappings, bytes, arrays, and dataclasses of them. Equal
    values give equal texts.

    Raises
    ------
    NotPlain
        If anything else is among them.
    """
    return json.dumps(_plain(value), separators=(",", ":"))


def from_text(text: str) -> Any:
    """Return the data that `to_text` wrote, with dataclasses of the model only.

    Raises
    ------
    ValueError
        If it is any other text.
    """
    try:
        return _value(json.loads(text))
    except (KeyError, IndexError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"not written by to_text: {error}") from error


def fingerprint(*values: Any) -> str:
    """Return a digest that is the same for equal values and another for any other.

    Raises
    ------
    NotPlain
        As `to_text` does.
    """
    return hashlib.sha256(to_text(values).encode(errors="surrogatepass")).hexdigest()


def _plain(value: Any) -> Any:
    """Return a value as JSON has it: all but numbers and texts become lists that begin with what they were."""
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, float):
        return float(value)
    for kind, tag, written in _WRITTEN:
        if isinstance(value, kind):
            return [tag, *written(value)]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = (getattr(value, field.name) for field in dataclasses.fields(value))
        return ["data", type(value).__name__, *map(_plain, fields)]
    if hasattr(value, "dtype") and hasattr(value, "tobytes") and value.dtype.kind in "fiub":
        if not value.shape:
            return value.item()
        return ["array", value.dtype.str, list(value.shape), base64.b64encode(value.tobytes()).decode()]
    raise NotPlain(type(value).__name__)


_WRITTEN: tuple[tuple[type, str, Callable[[Any], Any]], ...] = (
    (tuple, "tuple", lambda value: map(_plain, value)),
    (list, "list", lambda value: map(_plain, value)),
    (Mapping, "map", lambda value: [[_plain(key), _plain(each)] for key, each in value.items()]),
    (bytes, "bytes", lambda value: [base64.b64encode(value).decode()]),
    (Fraction, "fraction", lambda value: [str(value)]),
    (Path, "path", lambda value: [str(value)]),
)


def _value(plain: Any) -> Any:
    if not isinstance(plain, list):
        return plain
    tag, *rest = plain
    return _READ[tag](*rest)


def _data(name: str, *fields: Any) -> Any:
    data = _DATACLASSES[name]
    if not dataclasses.is_dataclass(data):
        raise TypeError(f"{name} is no data")
    return data(*map(_value, fields))


def _array(kind: str, shape: list[int], content: str) -> Any:
    import numpy as np

    return np.frombuffer(base64.b64decode(content), dtype=np.dtype(kind)).reshape(shape)


_READ: dict[str, Callable[..., Any]] = {
    "tuple": lambda *items: tuple(map(_value, items)),
    "list": lambda *items: [_value(item) for item in items],
    "map": lambda *items: {_value(key): _value(value) for key, value in items},
    "bytes": base64.b64decode,
    "fraction": Fraction,
    "path": Path,
    "data": _data,
    "array": _array,
}
