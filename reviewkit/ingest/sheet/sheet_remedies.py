"""What to write into session.toml where a header leaves something open: the exact line, ready to paste."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from reviewkit.ingest.sheet.sheet_header import ROLE_UNITS, Heading, read_heading
from reviewkit.ingest.sheet.sheet_layout import Layout
from reviewkit.model.errors import shortened
from reviewkit.model.units import UnitSpelling

# What `columns` and `units` may name: (role, channel); "" where the header or the unit says it.
KEYS: dict[str, tuple[str, str]] = {
    **{role: (role, "") for role in ("time", "frequency", "power", "impedance", "distortion", "level")},
    "left": ("", "L"),
    "right": ("", "R"),
    "left into right": ("", "L>R"),
    "right into left": ("", "R>L"),
    "left distortion": ("distortion", "L"),
    "right distortion": ("distortion", "R"),
}
_KEY_OF_CHANNEL = {channel: key for key, (role, channel) in KEYS.items() if channel and not role}
_USUAL_UNITS = {
    "time": ("s", "ms"),
    "frequency": ("Hz", "kHz"),
    "power": ("W", "mW"),
    "impedance": ("ohm", "kohm"),
    "distortion": ("%", "ratio"),
    "level": ("dBV", "V"),
}
_LONGEST_SHOWN = 80  # characters of a header line
_LONGEST_NAME = 30  # of one of its cells
_MOST_NAMED = 4  # columns; of more their number is told
_PLACE = "under its [[measurement]] in session.toml"


@dataclass(frozen=True)
class Draft:
    """A column while it is being understood. `key`: the name under which `columns` gave it."""

    index: int
    heading: Heading
    role: str
    channel: str
    unit: UnitSpelling | None
    key: str = ""

    @property
    def name(self) -> str:
        """How a message calls it."""
        return f'"{shortened(self.heading.text, _LONGEST_NAME)}"' if self.heading.text else f"column {self.index + 1}"

    @property
    def guessed(self) -> bool:
        """Whether its role comes from the unit alone, under words that say nothing to us."""
        return self.heading.strange and not self.heading.role and not self.key

    def unit_keys(self) -> tuple[str, ...]:
        """The names under which `units` may speak of this column, the closest first."""
        keys = (self.key, _KEY_OF_CHANNEL.get(self.channel, ""), self.role)
        return tuple(key for key in keys if key in KEYS)


def quoted(key: str) -> str:
    """A key as TOML wants it."""
    return f'"{key}"' if " " in key else key


def shown(layout: Layout) -> str:
    """The header line, for the end of a message."""
    text = " ".join(layout.header_text.split("\n"))
    return f"header: {shortened(text, _LONGEST_SHOWN)}" if text else "the file has no header"


def _named(columns: Iterable[str]) -> str:
    names = list(columns)
    rest = len(names) - _MOST_NAMED
    return " and ".join([*names[:_MOST_NAMED], f"{rest} more"] if rest > 0 else names)


def too_wide(most: int) -> str:
    """For rows of more cells than any sweep has."""
    return f"the rows have over {most} cells; export one sweep per file, with a row for each reading"


def no_header(width: int) -> str:
    """For a file that has none."""
    columns, units = "frequency = 1, level = 2", 'frequency = "Hz", level = "dBV"'
    if width > 2:
        columns, units = "frequency = 1, left = 2, right = 3", 'frequency = "Hz", left = "dBV", right = "dBV"'
    return (
        f"the file has no header; write {_PLACE} which column is which and in what unit, for example "
        f"columns = {{ {columns} }} and units = {{ {units} }}"
    )


def other_width(layout: Layout) -> str:
    """For a header with more or fewer cells than the rows."""
    cells = len(layout.header)
    counted = f"the header names {cells} columns and the rows have {layout.width} cells"
    if layout.separator == "," and layout.width == 2 * cells:
        counted += ": the comma looks like both separator and decimal mark"
        remedy = "export with a semicolon or tab between columns"
    else:
        remedy = "give each column its name, and export with a separator that stands in no cell"
    return f"{counted}; {remedy} ({shown(layout)})"


def unit_example(key: str) -> str:
    """Two units that a key may take."""
    return " or ".join(f'"{unit}"' for unit in _USUAL_UNITS[KEYS[key][0] or "level"])


def unknown_unit(draft: Draft, layout: Layout) -> str:
    """For a unit in brackets that is not in the table."""
    key = draft.unit_keys()[0] if draft.unit_keys() else "level"
    usual = _usual_units(draft.role, layout)[0]
    unit = shortened(draft.heading.unknown_unit, _LONGEST_NAME)
    return (
        f'the unit "{unit}" of {draft.name} is not known; write {_PLACE} the one that the file is in, for '
        f'example units = {{ {quoted(key)} = "{usual}" }} ({shown(layout)})'
    )


def two_units(draft: Draft, units: Mapping[str, str], layout: Layout) -> str:
    """For a header and a units row that differ."""
    other = shortened(draft.heading.clash, _LONGEST_NAME)
    line = _units_line([draft], units, _usual_units(draft.role, layout)[0], layout)
    return (
        f'{draft.name} says one unit and the row under it another, "{other}"; write {_PLACE} '
        f"which it is, for example {line} ({shown(layout)})"
    )


def unit_of_another_role(draft: Draft, layout: Layout) -> str:
    """For a frequency in dB and the like."""
    unit = draft.unit.base if draft.unit else ""
    return (
        f"{draft.name} is read as {draft.role}, and {unit} is no unit of that; write {_PLACE} what the column is, "
        f'for example columns = {{ left = {draft.index + 1} }} and units = {{ left = "dBV" }} ({shown(layout)})'
    )


def doubtful(draft: Draft, units: Mapping[str, str], layout: Layout) -> str:
    """For a column whose words say that its numbers may not be what their unit says."""
    end = f"({shown(layout)})"
    base = draft.unit.base if draft.unit else ""
    if draft.heading.doubt == "total":
        return (
            f"{draft.name} may be the power of both channels together; if it is that of each, write {_PLACE} "
            f"columns = {{ power = {draft.index + 1} }}, else export each channel's own {end}"
        )
    if draft.heading.doubt == "dBm":
        return (
            f"{draft.name} may be relative to 1 mW in 600 ohm or to 1 mW in the load; if it is 600 ohm, write {_PLACE} "
            f"{_units_line([draft], units, 'dBm', layout)}, else export volts or watts {end}"
        )
    said = f"{draft.name} is a peak or peak-to-peak value by its words, and r.m.s. by its unit; write {_PLACE}"
    if base == "V":
        line = _units_line([draft], units, "Vpp", layout)
        return f'{said} {line} (or "Vp" for the peak, "V" for r.m.s., whichever the file is in) {end}'
    meant = "the average power" if base == "W" else "r.m.s."
    return f"{said} {_units_line([draft], units, base, layout)} if it is {meant}, else export that {end}"


def peak_waveform(draft: Draft, units: Mapping[str, str], layout: Layout) -> str:
    """For a waveform in peak volts."""
    return (
        f"{draft.name} is a waveform, which has a voltage at each moment and no peak; write {_PLACE} "
        f"{_units_line([draft], units, 'V', layout)} ({shown(layout)})"
    )


def no_abscissa(drafts: Sequence[Draft], unused: Sequence[Draft], layout: Layout) -> str:
    """For a file in which nothing is drawn over anything."""
    level = next((draft for draft in unused if draft.unit and draft.unit.base in ROLE_UNITS["level"]), None)
    free = next((draft for draft in unused if draft.unit is None), None)
    if level and any(draft.role == "distortion" for draft in drafts):
        remedy = f"if {level.name} is the output's level, write {_PLACE} columns = {{ level = {level.index + 1} }}"
    elif free:
        remedy = f"write {_PLACE} which one is, for example columns = {{ frequency = {free.index + 1} }} and units = "
        remedy += '{ frequency = "Hz" }'
    else:
        remedy = "export the readings together with it"
    return f"no column is a time, a frequency or a power; {remedy} ({shown(layout)})"


def no_reading(drafts: Sequence[Draft], unused: Sequence[Draft], layout: Layout) -> str:
    """For a file of frequencies or times alone, as far as we read it."""
    for draft in unused:
        base = draft.unit.base if draft.unit else ""
        role = next((role for role in ("level", "distortion") if base in ROLE_UNITS[role]), None)
        if role:
            return (
                f"{draft.name} is read neither as the output's level nor as its distortion; if it is its {role}, write "
                f"{_PLACE} columns = {{ {role} = {draft.index + 1} }} ({shown(layout)})"
            )
    names = " and ".join(draft.name for draft in drafts)
    return f"the file holds nothing to read but {names}; export them with the readings ({shown(layout)})"


def missing_units(missing: Sequence[Draft], units: Mapping[str, str], layout: Layout) -> str:
    """For columns whose unit is said nowhere."""
    names = _named(draft.name for draft in missing)
    usual = _usual_units(missing[0].role, layout)
    others = f'or "{usual[1]}"'
    if any(not draft.heading.role and not KEYS.get(draft.key, ("", ""))[0] for draft in missing):
        over_time = any(read_heading(cell).role == "time" for cell in layout.header)
        others += (
            "" if over_time else ', or "%" if it is distortion'
        )  # a channel's name alone says nothing of what it holds
    line = _units_line(missing, units, usual[0], layout)
    return f"no unit is given for {names}; write {_PLACE} {line} ({others}, whichever the file is in) ({shown(layout)})"


def _usual_units(role: str, layout: Layout) -> tuple[str, str]:
    """Return two units that a column of a role may be in; a level over time is a voltage."""
    over_time = role == "level" and any(read_heading(cell).role == "time" for cell in layout.header)
    return ("V", "mV") if over_time else _USUAL_UNITS.get(role, _USUAL_UNITS["level"])


def _units_line(drafts: Sequence[Draft], units: Mapping[str, str], usual: str, layout: Layout) -> str:
    """Return `units = { … }` with what is there already and what is to be added: for the first column `usual`."""
    pairs = dict(units)
    for draft in drafts:
        unit = usual if draft.role == drafts[0].role else _usual_units(draft.role, layout)[0]
        pairs.setdefault(draft.unit_keys()[0] if draft.unit_keys() else draft.role, unit)
    return "units = { " + ", ".join(f'{quoted(key)} = "{unit}"' for key, unit in pairs.items()) + " }"


def not_understood(lost: Sequence[Draft], kept: Iterable[Draft], layout: Layout) -> str:
    """For columns whose words and unit give no role: those understood by number, the lost ones as a proposal."""
    pairs: dict[str, int] = {}
    for draft in kept:
        pairs.setdefault(draft.unit_keys()[0] if draft.unit_keys() else "level", draft.index + 1)
    abscissa = "time" if "time" in pairs else "frequency"
    for draft in lost:
        if pairs and not draft.heading.text:
            continue  # most likely a running number
        order = (abscissa, "left", "right") if draft.index == 0 else ("left", "right", abscissa)
        proposed = next((key for key in order if key not in pairs), None)
        if proposed:
            pairs[proposed] = draft.index + 1
    line = ", ".join(f"{quoted(key)} = {number}" for key, number in sorted(pairs.items(), key=lambda pair: pair[1]))
    names = _named(f"column {draft.index + 1}" + (f" {draft.name}" if draft.heading.text else "") for draft in lost)
    return (
        f"{names} cannot be told from the header; write {_PLACE} which columns to read, for example "
        f"columns = {{ {line} }} ({shown(layout)})"
    )


def the_same_twice(first: Draft, second: Draft, firsts: Sequence[Draft], layout: Layout) -> str:
    """For two columns with one role and channel. `firsts`: the first of each such pair, for a line that settles all."""
    side = f" {first.channel}" if first.channel else ""
    pairs = {key: draft.index + 1 for draft in firsts if (key := _KEY_OF_CHANNEL.get(draft.channel, ""))}
    if not first.channel:
        pairs |= (
            {first.role: first.index + 1}
            if first.role == "power"
            else {"left": first.index + 1, "right": second.index + 1}
        )
    line = ", ".join(f"{quoted(key)} = {number}" for key, number in pairs.items())
    other = ""
    if first.role == "level" and not (first.heading.role or first.channel) and first.unit and first.unit.base == "dB":
        pair = f'"left distortion" = {first.index + 1}, "right distortion" = {second.index + 1}'
        other = f", or, if they are distortion, columns = {{ {pair} }}"
    return (
        f"{first.name} (column {first.index + 1}) and {second.name} (column {second.index + 1}) are both "
        f"{first.role}{side}; write {_PLACE} which to read, for example columns = {{ {line} }}{other} ({shown(layout)})"
    )
