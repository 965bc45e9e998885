"""The path of a measurement's file → what it says: stage, load, drive, channel, input, setting, possible kinds.

Only whole words count, and a value only with its unit. Whatever could mean two things is left unsaid, or asked about.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import PurePosixPath

from reviewkit.model.recognised import DIRECTION, NameWords

_STAGES = (
    (r"before|as found|pre repair|unrepaired", "before"),
    (r"after|post repair|repaired", "after"),
    (r"bench|loop ?back|looped", "bench"),
)
_INPUTS = {each.lower(): each for each in ("aux", "tuner", "phono", "CD", "mic", "tape", "FM")} | {
    r"(?<!\d )am": "AM"
}  # "10 am" is a time
_AT_TAPE_OUT = r"(?:tape|rec|record) ?(?:out|output)"
_BYPASSED = r"source direct|direct|bypass(?:ed)?|(?:tone )?defeat(?:ed)?"
_SIDES = {"l": "L", "left": "L", "r": "R", "right": "R"}
_VALUE = re.compile(r"(?<![\w.])(\d{1,6}(?:[.,]\d{1,6})?)( ?(?:ohms?|Ω|k?hz)|(?:mw|w|watts?|mv|v))(?![a-z0-9])")
_DBFS = re.compile(r"(?<![\w.])(\d{1,3}) ?dbfs(?!\w)")  # never above zero, whether or not a hyphen says so
_DBF = re.compile(r"(?<![\w.])(\d{1,2}(?:\.\d)?) ?dbf(?!\w)")
_KEYS = {"ohm": "load", "Ω": "load", "hz": "frequency", "w": "drive", "v": "drive"}
_UNITS = {"khz": "kHz", "hz": "Hz", "mw": "mW", "mv": "mV", "w": "W", "v": "V"}


def read_name(file: str, words_of: Mapping[str, str]) -> NameWords:
    """Return what the path of a file in measurements/ says.

    `words_of`: what the files of each kind may be called, as a regular expression of whole words; "" if that is open.
    """
    path = PurePosixPath(file)
    folders = " / ".join(map(_words, path.parts[1:-1]))
    stem = _words(path.stem)
    text = f"{folders} / {stem}"
    table: dict[str, str] = {}
    doubts: dict[str, tuple[str, ...]] = {}
    stages = {stage for pattern, stage in _STAGES if _has(pattern, text)}
    if len(stages) == 1:
        table["stage"] = stages.pop()
    elif stages:
        doubts["stage"] = tuple(sorted(stages))
    values: dict[str, set[str]] = {}
    for number, unit in _VALUE.findall(text):
        name = unit.strip().removesuffix("s").replace("watt", "w")
        key = next(key for ending, key in _KEYS.items() if name.endswith(ending))
        values.setdefault(key, set()).add(f"{number.replace(',', '.')} {_UNITS.get(name, 'ohm')}")
    values.setdefault("drive", set()).update(f"-{dbfs} dBFS" if int(dbfs) else "0 dBFS" for dbfs in _DBFS.findall(text))
    values["drive"].update(f"{dbf} dBf" for dbf in _DBF.findall(text))
    for key, each in values.items():
        if len(each) == 1:
            table[key] = each.pop()
        elif key == "load":
            doubts["load"] = tuple(sorted(each))
    if _has(_AT_TAPE_OUT, text):
        table |= {"setting": "at the tape output", "load": "open"}
    elif bypassed := re.search(rf"(?<!\w)(?:{_BYPASSED})(?!\w)", stem):
        table["setting"] = bypassed[0]
    if not _has(_AT_TAPE_OUT, text):
        inputs = [word for word in _INPUTS if _has(word, text)]
        if len(inputs) == 1:
            table["input"] = _INPUTS[inputs[0]]
        elif inputs:
            doubts["input"] = tuple(_INPUTS[each] for each in inputs)
    if _has(r"shorted", text):
        table["termination"] = "shorted"
    if _has(r"a ?weighted|dba|a wtd", text):
        table["weighting"] = "A"
    kinds = frozenset(kind for kind, pattern in words_of.items() if pattern and _has(pattern, text))
    return NameWords(kinds, table, _channel(text), _setting(stem), doubts)


def _words(name: str) -> str:
    """Return a name in lower case, its words set apart by single spaces."""
    apart = re.sub(r"(?<=[a-z][a-z])(?=[A-Z])", " ", name)
    return " ".join(re.split(r"[\s_\-+()]+|(?<!\d)[.,]|[.,](?!\d)", apart.lower())).strip()


def _has(pattern: str, text: str) -> bool:
    return re.search(rf"(?<![\w.])(?:{pattern})(?![\w])", text) is not None


def _channel(text: str) -> str:
    """Return the channel that the name gives, for a direction the driven one; "" if it names none or both."""
    if direction := re.search(rf"(?<!\w){DIRECTION}(?!\w)", text):
        return _SIDES[direction[0].split()[0]]
    sides = {_SIDES[word] for word in re.split(r"[ /]+", text) if word in _SIDES}
    return sides.pop() if len(sides) == 1 else ""


def _setting(stem: str) -> str:
    """Return the words of a name that say nothing else: "bass up"."""
    left = _DBF.sub(" ", _DBFS.sub(" ", _VALUE.sub(" ", stem)))
    for pattern in (*(pattern for pattern, _ in _STAGES), *_SIDES, *_INPUTS, r"\d+"):
        left = re.sub(rf"(?<!\w)(?:{pattern})(?!\w)", " ", left)
    return " ".join(left.split())
