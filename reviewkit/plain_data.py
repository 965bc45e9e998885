"""The data that travels, as text and back. It holds no code, wherever it comes from."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from reviewkit import model


class NotPlain(TypeError):
    """Something that cannot be written down here."""


def to_text(value: Any) -> str:
    """A value as JSON: numbers, texts, tuples, lists, mappings, bytes, arrays, and dataclasses made of them. The same
    value gives the same text. Raises NotPlain for anything else.
    """
    return _text(_Writer(lines=True).plain(value))


def from_text(text: str) -> Any:
    """What `to_text` was given, dataclasses where they are those of `model`. Raises ValueError for any other text."""
    try:
        return _value(json.loads(text))
    except (KeyError, IndexError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"not written by to_text: {error}") from error


def fingerprint(*values: Any) -> str:
    """Equal for what is written alike, another for all else. Where something stands in session.toml counts for nothing:
    a line more above it changes no figure. Raises NotPlain.
    """
    return hashlib.sha256(_text(_Writer(lines=False).plain(values)).encode()).hexdigest()


def _text(plain: Any) -> str:
    return json.dumps(plain, ensure_ascii=False, separators=(",", ":"))


class _Writer:
    """Everything but numbers and texts becomes a list that begins with what it was."""

    def __init__(self, *, lines: bool) -> None:
        self._lines = lines
        self._ways: tuple[tuple[type, str, Callable[[Any], Any]], ...] = (
            (tuple, "tuple", lambda value: map(self.plain, value)),
            (list, "list", lambda value: map(self.plain, value)),
            (Mapping, "map", lambda value: [[self.plain(key), self.plain(each)] for key, each in value.items()]),
            (bytes, "bytes", lambda value: [base64.b64encode(value).decode()]),
            (Fraction, "fraction", lambda value: [str(value)]),
            (Path, "path", lambda value: [str(value)]),
        )

    def plain(self, value: Any) -> Any:
        """A value of what JSON has. Raises NotPlain."""
        if value is None or isinstance(value, (bool, str, int)):
            return value
        if isinstance(value, float):
            return float(value)
        for kind, tag, written in self._ways:
            if isinstance(value, kind):
                return [tag, *written(value)]
        if isinstance(value, model.Run):
            if not value.made_from:
                raise NotPlain("figures that do not know what they were made from")
            return ["run", value.made_from]
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            return ["data", type(value).__name__, *map(self.plain, self._fields(value))]
        if hasattr(value, "dtype") and hasattr(value, "tobytes") and value.dtype.kind in "fiub":
            return ["array", value.dtype.str, list(value.shape), base64.b64encode(value.tobytes()).decode()]
        raise NotPlain(type(value).__name__)

    def _fields(self, value: Any) -> list[Any]:
        found = [(field.name, getattr(value, field.name)) for field in dataclasses.fields(value)]
        return [each for name, each in found if self._lines or name != "line" or not isinstance(each, int)]


def _value(plain: Any) -> Any:
    if not isinstance(plain, list):
        return plain
    tag, *rest = plain
    return _READ[tag](*rest)


def _data(name: str, *fields: Any) -> Any:
    kind = vars(model)[name]
    if not dataclasses.is_dataclass(kind):
        raise TypeError(f"{name} is no data")
    return kind(*map(_value, fields))  # type: ignore[operator]


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
