"""Conditions that the user names, as they are printed."""

from __future__ import annotations

from collections.abc import Iterable

TAP = "tap"  # of an output transformer: "8 ohm"
_WORDLESS = ("mode", "method")  # named conditions whose value says all: "mono", "EIAJ"


def in_words(named: Iterable[tuple[str, str]]) -> list[str]:
    """Return conditions that the user names, as they are printed: "tape chrome", "noise reduction on", "mono"."""
    return [one_in_words(name, value) for name, value in named]


def one_in_words(name: str, value: str) -> str:
    """Return one condition that the user names, as it is printed."""
    if name == TAP:
        return f"{value} {name}"
    return value if name in _WORDLESS else f"{name} {value}"
