"""The place of a table in session.toml, and how messages show its content."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from reviewkit.ingest.session.studio_place import STUDIO
from reviewkit.ingest.session.toml_lines import TomlDocument
from reviewkit.model.errors import Faults, shortened

_LONGEST = 60  # characters of a value in a message


@dataclass(frozen=True)
class Place:
    """A table's place, its content as written, and its name in messages."""

    document: TomlDocument
    faults: Faults
    path: tuple[str | int, ...]
    label: str
    raw: Mapping[str, Any]

    @property
    def line(self) -> int:
        """Return the line of the table itself."""
        return self.document.line(*self.path)

    def lines(self) -> dict[str, int]:
        """Return the line of each of its keys."""
        return {key: self.document.line(*self.path, key) for key in self.raw}

    def sources(self) -> dict[str, str]:
        """Return the file of each key that isn't in session.toml."""
        return {key: STUDIO for key in self.raw if self.in_studio(key)}

    def in_studio(self, *keys: str | int) -> bool:
        """Return whether a key's value is that of studio.toml."""
        return self.document.is_of_studio(*self.path, *keys)

    def fault(self, message: str, *keys: str | int) -> None:
        """Note a fault of the table, or of one of its keys, at its line."""
        source = STUDIO if self.in_studio(*keys) else ""
        self.faults.add(self.document.line(*self.path, *keys), f"{self.label} {show_text(message)}", source)


def show_key(key: str) -> str:
    """Return a key as it is written: in quotation marks if it needs them."""
    plain = key.replace("_", "").replace("-", "")
    return shortened(key, 60) if plain.isascii() and plain.isalnum() else show_value(key)


def show_value(value: object) -> str:
    """Return a value as it would be written in TOML, shortened if it is long."""
    text, end = _show(value, 3), '"' if isinstance(value, str) else ""
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 2 - len(end)]}…{end}"


def _show(value: object, depth: int) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{show_text(value[:80])}"'
    if isinstance(value, int):
        return str(value) if abs(value) < 10**60 else "a very long number"
    if isinstance(value, (list, dict)) and not depth:
        return "…"
    if isinstance(value, list):
        return f"[{', '.join(_show(item, depth - 1) for item in value[:8])}]"
    if isinstance(value, dict):
        pairs = (f"{key} = {_show(item, depth - 1)}" for key, item in list(value.items())[:8])
        return f"{{ {', '.join(pairs)} }}" if value else "{}"
    return str(value)


def show_text(text: str) -> str:
    """Return text that can be shown on one line of a terminal: signs that cannot be seen are written as codes."""
    return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)
