"""The meaning of one header cell: role, channel and unit. One cell at a time; sheet_columns.py joins them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from reviewkit.model.recognised import THIRD_HARMONIC
from reviewkit.model.units import (
    COLUMN_UNITS,
    PEAK_UNITS,
    UNITS,
    UnitError,
    UnitSpelling,
    normalised,
    split_quantity,
    unit_of,
)

SET = "set"  # the level or the position that was set for each row
SOURCE = "source"  # a generator's level, which is what was set if nothing else is
UNUSED = "unused"  # understood, but not needed for a review: a phase, a running number, a remark

# Not the unit's own output, or not a quantity that any kind reads: read as one, it would be a wrong number.
_ASIDE = frozenset(
    "imd im intermodulation smpte ccif dim uncertainty unc tolerance sinad snr s/n generator gen supply rail rails "
    "vcc vee vdd vin mains stimulus drive source dc bias limit rated reference ref target error".split()
)
_FROM_INPUT = frozenset(("output", "out", "gain", "response", "ratio", "crosstalk", "thd", "thd+n", "distortion"))
_ORDER = re.compile(r"h\d+|hd\d+|[2-9](?:nd|rd|th)|second|third|fourth|fifth")
_PEAK = frozenset(("peak", "pk", "pp", "ptp", "vpp", "vpk", "vpeak", "vp", "pep", "crest"))
_TOTAL = frozenset(("total", "sum", "combined", "both", "l+r"))

_DISTORTION = frozenset(("thd", "thd+n", "thdn", "thd+noise", "distortion", "dist"))
# Tried in this order: "Output impedance" isn't a level, "Frequency response" isn't a frequency.
_ROLE_WORDS = tuple(
    (role, frozenset(words.split()))
    for role, words in (
        ("distortion", " ".join(_DISTORTION)),
        ("impedance", "impedance z |z| zout resistance ohm ohms kohm mohm"),
        (UNUSED, "phase deg degrees angle coherence"),
        ("level", "response crosstalk"),
        ("time", "time timestamp t sec secs seconds"),
        ("frequency", "frequency frequencies freq f hz khz"),
        ("power", "power watt watts pout"),
        ("level", "level amplitude ampl magnitude mag gain voltage volt volts output rms vrms spectrum fft signal"),
        ("level", "deviation noise vpp vpk vp mvpp vout u"),
        (UNUSED, "index no nr point points sample samples row bin date remark remarks comment comments note notes"),
    )
)
# In a file with neither time, frequency nor power, these name what was set, and what was read there
_AERIAL_WORDS = frozenset("rf antenna aerial".split())
_SET_WORDS = frozenset("flux fluxivity recording rec volume position attenuation attenuator nominal set".split())
_SOURCE_WORDS = frozenset("input in generator gen source stimulus drive".split())
_QUIETING_WORDS = frozenset(("quieting", "snr", "s/n"))
_LONGEST_NAME = 300  # characters: anything longer isn't a column's name, and would be slow to analyse
_ONE_LETTER = frozenset("tfzu")  # roles only if there is no other word
ROLE_UNITS: dict[str, frozenset[str]] = {
    "time": frozenset(("s",)),
    "frequency": frozenset(("Hz",)),
    "power": frozenset(("W",)),
    "impedance": frozenset(("Ω",)),
    "distortion": frozenset(("%", "dB")),
    "level": frozenset(("V", "dB", "dBr", "dBV", "dBu", "dBW", "dBm", "dBFS")),
    SET: frozenset(("dBf", "dBµV", "nWb/m", "position", "V", "dB", "dBFS")),
}
_ROLE_OF_UNIT = {"Hz": "frequency", "s": "time", "W": "power", "Ω": "impedance", "%": "distortion", "V": "level"}
_ROLE_OF_UNIT |= dict.fromkeys(("dBf", "dBµV", "nWb/m", "position"), SET)
# As bare words these mean something else as often: channel A, "THD+N ratio" with its unit in the next row.
_NO_BARE_UNIT = frozenset(("A", "S", "amp", "amps", "mA", "ratio", "Ratio", "RATIO"))

_BRACKETS = re.compile(r"\(([^()]*)\)|\[([^\[\]]*)\]|\{([^{}]*)\}")
_AFTER_MARK = re.compile(r"(.+?)\s*(?:,|/|\bin\b)\s*([^,/]+)")
_DBM = re.compile(r"(dBm)\W*(?:re\s+|into\s+)?600\s*(?:Ω|ohms?)?")
_RE_FLUX = re.compile(r"(dB)\s+re\.?\s+[\d.]+\s*nWb/m")
_RMS = re.compile(r"\s*\brms\b\.?\s*", re.IGNORECASE)
_ARROW = re.compile(r"\s*(?:[-=]+>|→|⇒)\s*")
_WORD = re.compile(r">|%|[a-zµΩ0-9|#]+(?:\+[a-z]+)?", re.IGNORECASE)
_UNIT_WORDS = frozenset(spelling.lower() for spelling in UNITS)
_VALUE = re.compile(r"@?[\d.]+")
_NUMBERED = re.compile(r"(?:ch|chan|channel)([0-9]+|[ab])?")
_SIDES = {"l": "L", "left": "L", "lch": "L", "r": "R", "right": "R", "rch": "R"}


@dataclass(frozen=True)
class Heading:
    """The meaning of a header cell. `channel`: L, R, "L>R" …, or the file's own "1", "2", "A", "B" not yet paired."""

    text: str
    role: str = ""  # "" if no word gives one
    channel: str = ""
    unit: UnitSpelling | None = None
    firm: bool = False  # the unit is set apart (brackets, comma, slash, units row), not a word among others
    unknown_unit: str = ""  # set apart like a unit, but not a known one
    clash: str = ""  # the units row's cell, if its unit differs from the header's
    strange: bool = False  # has words that aren't understood
    doubt: str = ""  # why its number may be a different one: "peak", "total" or "dBm"
    swept: str = ""  # its role in a sweep of level, if that is another; SOURCE: it may be what was set


def unit_written(text: str) -> UnitSpelling | None:
    """Return the unit in a header or units row, without brackets and "rms"; in capitals only if it is unambiguous."""
    if len(text) > _LONGEST_NAME:
        return None
    words = normalised(text).strip().strip("()[]{}").strip()
    words = _RMS.sub(" ", words).strip() if unit_of(words) is None else words
    with_reference = _DBM.fullmatch(words) or _RE_FLUX.fullmatch(words)
    words = with_reference[1] if with_reference else words
    found = unit_of(words, COLUMN_UNITS)
    if found is None and len(words) >= 4 and words[0] not in "mM":  # MHZ and mhz differ by 10⁹, dBv and dBV by 2.2 dB
        found = unit_of(words.lower()) or unit_of(words.capitalize())
    return found


def read_heading(text: str, unit_cell: str = "") -> Heading:
    """Return the role, channel and unit of a header cell and of the cell under it in a units row."""
    if len(text) > _LONGEST_NAME:
        return Heading(text.strip(), strange=True)
    rest, unit, unknown = _take_bracketed(normalised(text).replace("\n", " ").strip())
    if unit is None and not unknown:
        rest, unit, unknown = _take_after_mark(rest)
    firm = unit is not None
    if unit is None and not unknown:
        unit = unit_written("position") if rest.casefold() == "position" else _bare_unit(rest)
    clash = ""
    below = unit_written(unit_cell)
    if unit_cell.strip():
        if below is None:
            unknown = unit_cell.strip()
        elif firm and unit != below:
            clash = unit_cell.strip()
        else:
            unit, firm = below, True
    channel, words = _take_channel(rest)
    role, strange = _role(words, unit)
    if role == UNUSED:
        unknown = clash = ""
    doubt, swept = _doubt(text, role, words, unit), _swept_role(text, words, unit)
    return Heading(text.strip(), role, channel, unit, firm, unknown, clash, strange, doubt, swept)


def role_of_unit(unit: UnitSpelling) -> str:
    """Return the role that a unit alone gives a column; "" for one that gives none (A)."""
    return _ROLE_OF_UNIT.get(unit.base, "level" if unit.base.startswith("dB") else "")


def _take_bracketed(text: str) -> tuple[str, UnitSpelling | None, str]:
    """Return header words without their brackets, the unit in them, and bracketed text that isn't a unit."""
    unit: UnitSpelling | None = None
    unknown = ""
    rest = text
    for match in _BRACKETS.finditer(text):
        inside = next(group for group in match.groups() if group is not None).strip()
        found = unit_written(inside)
        kept = " "
        if found is not None and found.base != "A" and unit is None:
            unit = found
        elif _take_channel(inside)[0] and not _take_channel(inside)[1]:
            kept = f" {inside} "
        elif inside and inside.casefold() != "rms" and not _is_condition(inside):
            unknown = inside
        rest = rest.replace(match[0], kept, 1)
    return " ".join(rest.split()), unit, unknown


def _is_condition(text: str) -> bool:
    """Return whether brackets contain a value such as 5 W or 8 ohm: a condition of the column, not its unit."""
    try:
        _, unit = split_quantity(text)
    except UnitError:
        return False
    return unit_of(unit) is not None


def _take_after_mark(text: str) -> tuple[str, UnitSpelling | None, str]:
    """Return a unit after a comma, a slash or "in": "THD+N L, %", "f/Hz", "Level in dBV"; V/Hz is itself a unit, not
    known.
    """
    match = _AFTER_MARK.fullmatch(text)
    unit = unit_written(match[2]) if match else None
    if match is None or unit is None:
        return text, None, ""
    if _bare_unit(match[1]) is not None:
        return text, None, text
    return match[1], unit, ""


def _bare_unit(text: str) -> UnitSpelling | None:
    """Return the one unit among a header's words; a word after a number is a condition ("at 1 kHz")."""
    found: set[UnitSpelling] = set()
    words = ["", "", *re.split(r"[\s_\-]+", text.replace("%", " % ").strip())]
    for place in range(2, len(words)):
        earlier, before, word = words[place - 2 : place + 1]
        condition = _VALUE.fullmatch(before) and not _NUMBERED.fullmatch(earlier.lower().rstrip("."))
        unit = unit_of(word, COLUMN_UNITS) if word not in _NO_BARE_UNIT and not condition else None
        if unit is not None:
            found.add(unit)
    return found.pop() if len(found) == 1 else None


def _take_channel(text: str) -> tuple[str, list[str]]:
    """Return the channel that header words name ("" none, "?" more than one), and the other words in lower case."""
    words = _WORD.findall(_ARROW.sub(" > ", text).lower().replace("_", " "))
    marked: list[tuple[str, str]] = []  # (side or "", word)
    index = 0
    while index < len(words):
        word = words[index]
        numbered = _NUMBERED.fullmatch(word)
        if (
            numbered
            and numbered[1] is None
            and index + 1 < len(words)
            and re.fullmatch(r"[0-9]+|[ab]", words[index + 1])
        ):
            index += 1
            marked.append((words[index].upper(), word))
        elif numbered:
            if numbered[1]:  # "channel" alone means nothing: "Left channel"
                marked.append((numbered[1].upper(), word))
        else:
            marked.append((_SIDES.get(word, ""), word))
        index += 1
    for place in range(len(marked) - 2):
        (first, _), (_, between), (second, _) = marked[place : place + 3]
        if first and second and between in ("to", "into", ">"):
            return f"{first}>{second}", [word for _, word in marked[:place] + marked[place + 3 :]]
    sides = list(dict.fromkeys(side for side, _ in marked if side))
    lettered = [side for side in sides if side in ("L", "R")]
    chosen = lettered or sides
    channel = chosen[0] if len(chosen) == 1 else "?" if chosen else ""
    return channel, [word for side, word in marked if not side]


def _role(words: list[str], unit: UnitSpelling | None) -> tuple[str, bool]:
    """Return the role that the words give, and whether words are left over that say nothing."""
    said = [
        word
        for before, word in zip(["", *words], words, strict=False)
        if not (before.isdigit() and word in _UNIT_WORDS) and not word[:1].isdigit()
    ]  # "at 1 kHz" is a condition
    if _is_aside(words, unit):
        return UNUSED, False
    telling = [word for word in said if word not in _UNIT_WORDS]
    for role, known in _ROLE_WORDS:
        if any(word in known and (word not in _ONE_LETTER or len(telling) <= 1) for word in said):
            fitting = _fitting(role, said, unit)
            return fitting, not fitting
    if any(word.startswith("thd") for word in said):
        return "distortion", False
    if said == ["#"]:
        return UNUSED, False
    return "", bool(telling)


def _is_aside(words: list[str], unit: UnitSpelling | None) -> bool:
    """Return whether the words name something other than an output's level or its distortion."""
    said = set(words)
    if {"source", "impedance"} <= said or {"source", "resistance"} <= said:
        return False
    if said & _ASIDE or {"s", "n"} <= said or words == ["in"]:
        return True
    if "input" in said and not said & _FROM_INPUT:
        return True
    if words == ["load"] and unit is not None and unit.base == "Ω":
        return True
    if any(_ORDER.fullmatch(word) for word in words) and not any(word.startswith("thd") for word in words):
        return True
    return "noise" in said and unit is not None and unit.base == "%" and not said & _DISTORTION


def _swept_role(text: str, words: list[str], unit: UnitSpelling | None) -> str:
    """Return what a column is in a sweep of level, if its words or its unit say so there only."""
    said, base = set(words), unit.base if unit else ""
    of_control_or_tape = "nWb/m" in text or (said & _SET_WORDS and base in ("", "dB", "dBFS"))
    if of_control_or_tape or said & _AERIAL_WORDS or _ROLE_OF_UNIT.get(base) == SET:
        return SET
    if said & _QUIETING_WORDS or {"s", "n"} <= said:
        return "level"
    if THIRD_HARMONIC.search(text) and base in ("", "%", "dB"):
        return "distortion"
    return SOURCE if said & _SOURCE_WORDS and base in ("dB", "dBFS") else ""


def _doubt(text: str, role: str, words: list[str], unit: UnitSpelling | None) -> str:
    """Return why a column's numbers may not be what its unit suggests, or ""."""
    if unit is None or role not in ("level", "power", ""):
        return ""
    said = set(words)
    if (said & _PEAK or "p p" in " ".join(words)) and unit not in PEAK_UNITS.values():
        return "peak"
    if (role == "power" or unit.base == "W") and said & _TOTAL:
        return "total"
    return "dBm" if unit.base == "dBm" and "600" not in text else ""


def _fitting(role: str, words: list[str], unit: UnitSpelling | None) -> str:
    """Return the role that fits a unit: "Output (W)" is a power despite "output", "Power (dBW)" a level."""
    if unit is None:
        return role
    if role == UNUSED and unit.base != "%":  # "Sample (V)"
        return ""
    if role == "level" and unit.base == "%":  # "Output (%)", "Noise (%)"
        return ""
    if role == "level" and unit.base == "W":
        return "power"
    if role == "power" and unit.base in ("dBW", "dBm"):
        return "level"
    if role == "power" and "level" in words and unit.base in ROLE_UNITS["level"]:
        return "level"
    return role
