"""Recognised files: the kind of each, what shows it, and what is left to ask."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from reviewkit.model.toml_text import inline_table

# what the files of several kinds may be called, as regular expressions of whole words
SIDE = r"(?:left|right|l|r)"
DIRECTION = rf"{SIDE} (?:to|into|2) {SIDE}"
DISTORTION_WORDS = r"thd(?: ?n| ?\+ ?n)?|distortion|harmonics?"
THIRD_HARMONIC = re.compile(r"\b(?:3rd|third|h3|hd3|k3)\b", re.IGNORECASE)  # in the header of a column
SPECTRUM_WORDS = r"fft|spectrum|spectra"


@dataclass(frozen=True)
class NameWords:
    """The words of a file's path that are understood.

    Attributes
    ----------
    kinds
        The kinds of measurement that fit its words; empty if none of them names one.
    table
        Keys of its [[measurement]] that the name gives, as they are written there: stage, load, drive, input …
    channel
        L, R or "".
    setting
        Its words without those that are understood: the setting of a control.
    doubts
        The keys for which it says several values, with these.
    """

    kinds: frozenset[str] = frozenset()
    table: Mapping[str, str] = field(default_factory=dict)
    channel: str = ""
    setting: str = ""
    doubts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Ask:
    """A key that a file needs and doesn't show: the question, and the values to choose from, the likeliest first."""

    key: str
    question: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Content:
    """A file's columns and their content, as far as they show its kind.

    Attributes
    ----------
    kinds
        The kinds that it may be: one if that is clear, else those to choose from, the likeliest first.
    what
        What is in it, in words; of an unclear file, the question.
    table
        Keys of its [[measurement]] that the content gives.
    levels_v
        The level of each channel at the output, V, of a sweep at 1 kHz; empty if it isn't known.
    asks
        What its kind needs besides; asked for one after the other.
    """

    kinds: tuple[str, ...]
    what: str
    table: Mapping[str, Any] = field(default_factory=dict)
    levels_v: tuple[float, ...] = ()
    asks: tuple[Ask, ...] = ()


@dataclass(frozen=True)
class Recognised:
    """A file that no [[measurement]] describes, or that one describes without its kind.

    Attributes
    ----------
    file
        Its path in the session's folder.
    table
        The keys of its [[measurement]], as they are written there, without `file`.
    why
        What shows it.
    question
        Why it is left out; "" if it is used.
    choices
        The answers to choose from, each the keys to write, the likeliest first.
    levels_v
        The level of each channel at the output, V, if its content shows it.
    """

    file: str
    table: Mapping[str, Any] = field(default_factory=dict)
    why: str = ""
    question: str = ""
    choices: tuple[Mapping[str, Any], ...] = ()
    levels_v: tuple[float, ...] = ()


def toml_lines(table: Mapping[str, Any]) -> list[str]:
    """Return keys with their values as lines of session.toml."""
    return [f"{key} = {_written(value)}" for key, value in table.items()]


def _written(value: Any) -> str:
    return inline_table(value) if isinstance(value, Mapping) else json.dumps(value, ensure_ascii=False)


def in_words(table: Mapping[str, Any]) -> str:
    """Return keys with their values on one line, the kind without its key: "tone, stage after, drive 4 W"."""
    said = [str(value) if key == "kind" else f"{key.replace('_', ' ')} {_plain(value)}" for key, value in table.items()]
    return ", ".join(said)


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return " and ".join(map(str, value))
    return inline_table(value) if isinstance(value, Mapping) else "yes" if value is True else str(value)


def lines_to_paste(file: str, choices: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the table that answers a question, the other choices as comments at the end of the line that differs."""
    if not choices:
        return []
    lines = ["[[measurement]]", f"file = {json.dumps(file, ensure_ascii=False)}"]
    for key, written in zip(choices[0], toml_lines(choices[0]), strict=True):
        others = [_written(each[key]) for each in choices[1:] if key in each and each[key] != choices[0][key]]
        lines.append(f"{written}  # or {', '.join(others)}" if others else written)
    return lines
