"""The remedies for an ambiguous header: the exact line to write into session.toml, ready to paste."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from reviewkit.ingest.sheet.sheet_header import ROLE_UNITS, SET, Heading, role_of_unit
from reviewkit.ingest.sheet.sheet_layout import Layout
from reviewkit.model.errors import shortened
from reviewkit.model.toml_text import inline_table, quoted
from reviewkit.model.units import UnitSpelling

# The names that `columns` and `units` may have: (role, channel); "" if the header or the unit gives it.
KEYS: dict[str, tuple[str, str]] = {
    **{role: (role, "") for role in ("time", "frequency", "power", "impedance", "distortion", "level", SET)},
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
    "distortion": ("%", "dB", "ratio"),
    "level": ("dBV", "V"),
    SET: ("dB", "position", "dBf", "dBµV", "dBFS", "nWb/m"),
}
_LONGEST_SHOWN = 80  # characters of a header line
_LONGEST_NAME = 30  # of one of its cells
_MOST_NAMED = 4  # columns; with more, only their number is given
_PLACE = "under its [[measurement]] in session.toml"


@dataclass(frozen=True)
class ColumnDraft:
    """A column while it is being understood. `key`: the name under which `columns` gave it."""

    index: int
    heading: Heading
    role: str
    channel: str
    unit: UnitSpelling | None
    key: str = ""

    @property
    def name(self) -> str:
        """Return its name in messages."""
        return f'"{shortened(self.heading.text, _LONGEST_NAME)}"' if self.heading.text else f"column {self.index + 1}"

    @property
    def guessed(self) -> bool:
        """Return whether its role comes from the unit alone, under words that aren't understood."""
        return self.heading.strange and not self.heading.role and not self.key

    def unit_keys(self) -> tuple[str, ...]:
        """Return the names under which `units` may speak of this column, the closest first."""
        named = self.channel or self.heading.channel
        role = self.role or (role_of_unit(self.unit) if self.unit else "level" if named else "")
        keys = (self.key, _KEY_OF_CHANNEL.get(self.channel, ""), role)
        return tuple(key for key in keys if key in KEYS)


def shown(layout: Layout) -> str:
    """Return the header line, for the end of a message."""
    text = " ".join(layout.header_text.split("\n"))
    return f"header: {shortened(text, _LONGEST_SHOWN)}" if text else "the file has no header"


def channels_in_rows(layout: Layout) -> str:
    """Return the message for channels that are below one another."""
    rows = " and ".join(f'"{shortened(side, _LONGEST_NAME)}"' for side in layout.sides[:_MOST_NAMED])
    return f"rows of {rows} are in one column; export each channel to a column or a file of its own"


@dataclass(frozen=True)
class Written:
    """The text that session.toml has already: `units`, and of `columns` index -> key.

    `over_time`: the file is a waveform.
    """

    units: Mapping[str, str]
    named: Mapping[int, str]
    over_time: bool

    def usual_units(self, role: str) -> tuple[str, ...]:
        """Return the units that a column of a role may be in; a level over time is a voltage."""
        if role == "level" and self.over_time:
            return "V", "mV"
        return _USUAL_UNITS.get(role, _USUAL_UNITS["level"])

    def columns_line(self, more: Mapping[str, int]) -> str:
        """Return `columns = { … }` with what is there already and what is to be added: key -> number from 1."""
        kept = {key: index + 1 for index, key in self.named.items() if index + 1 not in more.values()}
        return f"columns = {inline_table({**kept, **more})}"

    def units_line(self, drafts: Sequence[ColumnDraft], usual: str = "") -> str:
        """Return `units = { … }` with what is there already and what is to be added: `usual`, else the usual unit."""
        more: dict[str, str] = {}
        for draft in drafts:
            key = draft.unit_keys()[0] if draft.unit_keys() else draft.role or "level"
            more.setdefault(key, usual or self.usual_units(draft.role)[0])
        return f"units = {inline_table({**self.units, **more})}"

    def level_lines(self, draft: ColumnDraft, unit: str) -> str:
        """Return the lines that make a column the level of a channel that `columns` doesn't name yet."""
        key = next((key for key in ("left", "right") if key not in self.named.values()), "level")
        units = inline_table({**self.units, key: unit})
        return f"{self.columns_line({key: draft.index + 1})} and units = {units}"


def _named(columns: Iterable[str]) -> str:
    names = list(columns)
    rest = len(names) - _MOST_NAMED
    return " and ".join([*names[:_MOST_NAMED], f"{rest} more"] if rest > 0 else names)


def too_wide(most: int) -> str:
    """Return the message for rows of more cells than any sweep has."""
    return f"the rows have over {most} cells; export one sweep per file, with a row for each reading"


def no_header(width: int) -> str:
    """Return the message for a file that has none."""
    columns, units = "frequency = 1, level = 2", 'frequency = "Hz", level = "dBV"'
    if width > 2:
        columns, units = "frequency = 1, left = 2, right = 3", 'frequency = "Hz", left = "dBV", right = "dBV"'
    return (
        f"the file has no header; write {_PLACE} which column is which and in what unit, for example "
        f"columns = {{ {columns} }} and units = {{ {units} }}"
    )


def other_width(layout: Layout) -> str:
    """Return the message for a header with more or fewer cells than the rows."""
    cells = len(layout.header)
    counted = f"the header names {cells} columns and the rows have {layout.width} cells"
    if layout.separator == "," and layout.width == 2 * cells:
        counted += ": the comma looks like both separator and decimal mark"
        remedy = "export with a semicolon or tab between columns"
    else:
        remedy = "give each column its name, and export with a separator that is in no cell"
    return f"{counted}; {remedy}"


def unit_example(key: str) -> str:
    """Return units that a key may have."""
    return " or ".join(f'"{unit}"' for unit in _USUAL_UNITS[KEYS[key][0] or "level"])


def unknown_unit(draft: ColumnDraft, written: Written) -> str:
    """Return the message for a unit in brackets that is not in the table."""
    unit = shortened(draft.heading.unknown_unit, _LONGEST_NAME)
    return (
        f'the unit "{unit}" of {draft.name} is not known; write {_PLACE} the one that the file is in, for '
        f"example {written.units_line([draft])}"
    )


def unknown_column(draft: ColumnDraft, written: Written) -> str:
    """Return the message for a unit that is not in the table, of a column of which nothing else is known."""
    unit = shortened(draft.heading.unknown_unit, _LONGEST_NAME)
    lines = written.level_lines(draft, written.usual_units("level")[0])
    return f'the unit "{unit}" of {draft.name} is not known; write {_PLACE} what the column is, for example {lines}'


def unit_without_column(key: str, drafts: Sequence[ColumnDraft], written: Written) -> str:
    """Return the message for a unit of a column that isn't there."""
    # a scale's unit for a column that is a scale, and another unit for one that isn't, if there are any
    unnamed = sorted(
        (draft for draft in drafts if not draft.key),
        key=lambda draft: (draft.role in ("time", "frequency")) != (key in ("time", "frequency")),
    )
    said = f"units: {quoted(key)} has no column that takes this unit"
    if not unnamed:
        return f"{said}; delete it from units"
    return f"{said}; say which column it is, for example {written.columns_line({key: unnamed[0].index + 1})}"


def two_units(draft: ColumnDraft, written: Written) -> str:
    """Return the message for a header and a units row that differ."""
    other = shortened(draft.heading.clash, _LONGEST_NAME)
    return (
        f'{draft.name} says one unit and the row under it another, "{other}"; write {_PLACE} '
        f"which it is, for example {written.units_line([draft])}"
    )


def unit_of_another_role(draft: ColumnDraft, written: Written) -> str:
    """Return the message for a frequency in dB and the like."""
    unit = draft.unit.base if draft.unit else ""
    return (
        f"{draft.name} is read as {draft.role}, and {unit} is not a unit of that; write {_PLACE} what the column is, "
        f"for example {written.level_lines(draft, 'dBV')}"
    )


def doubtful(draft: ColumnDraft, written: Written) -> str:
    """Return the message for a column whose words suggest that its numbers may not be what their unit means."""
    base = draft.unit.base if draft.unit else ""
    if draft.heading.doubt == "total":
        line = written.columns_line({"power": draft.index + 1})
        return (
            f"{draft.name} may be the power of both channels together; if it is that of each, write {_PLACE} "
            f"{line}, else export each channel's own"
        )
    if draft.heading.doubt == "dBm":
        return (
            f"{draft.name} may be relative to 1 mW in 600 ohm or to 1 mW in the load; if it is 600 ohm, write {_PLACE} "
            f"{written.units_line([draft], 'dBm')}, else export volts or watts"
        )
    said = f"{draft.name} is a peak or peak-to-peak value by its words, and r.m.s. by its unit; write {_PLACE}"
    if base == "V":
        line = written.units_line([draft], "Vpp")
        return f'{said} {line} (or "Vp" for the peak, "V" for r.m.s., whichever the file is in)'
    meant = "the average power" if base == "W" else "r.m.s."
    return f"{said} {written.units_line([draft], base)} if it is {meant}, else export that"


def peak_waveform(draft: ColumnDraft, written: Written) -> str:
    """Return the message for a waveform in peak volts."""
    return (
        f"{draft.name} is a waveform, which has a voltage at each moment and no peak; write {_PLACE} "
        f"{written.units_line([draft], 'V')}"
    )


def no_abscissa(drafts: Sequence[ColumnDraft], unused: Sequence[ColumnDraft], written: Written) -> str:
    """Return the message for a file in which nothing is drawn over anything."""
    level = next((draft for draft in unused if draft.unit and draft.unit.base in ROLE_UNITS["level"]), None)
    free = next((draft for draft in unused if draft.unit is None), None)
    if level and any(draft.role == "distortion" for draft in drafts):
        line = written.columns_line({"level": level.index + 1})
        remedy = f"if {level.name} is the output's level, write {_PLACE} {line}"
    elif free:
        line = written.columns_line({"frequency": free.index + 1})
        units = inline_table({**written.units, "frequency": "Hz"})
        remedy = f"write {_PLACE} which one is, for example {line} and units = {units}"
    else:
        remedy = "export the readings together with it"
    return f"no column is a time, a frequency or a power; {remedy}"


def no_reading(drafts: Sequence[ColumnDraft], unused: Sequence[ColumnDraft], written: Written) -> str:
    """Return the message for a file of frequencies or times alone, as far as we read it."""
    for draft in unused:
        base = draft.unit.base if draft.unit else ""
        roles = ("level", "distortion", "power", "impedance")
        role = next((role for role in roles if base in ROLE_UNITS[role]), None)
        if role:
            return (
                f"{draft.name} is not read as the output's {role}; if it is that, write {_PLACE} "
                f"{written.columns_line({role: draft.index + 1})}"
            )
    names = " and ".join(draft.name for draft in drafts)
    return f"the file has nothing to read except {names}; export them with the readings"


def missing_units(missing: Sequence[ColumnDraft], written: Written) -> str:
    """Return the message for columns whose unit isn't given anywhere."""
    names = _named(draft.name for draft in missing)
    others = ", ".join(f'or "{unit}"' for unit in written.usual_units(missing[0].role)[1:])
    # a channel's name alone doesn't show what it contains
    unsaid = any(not draft.heading.role and not KEYS.get(draft.key, ("", ""))[0] for draft in missing)
    if unsaid and not written.over_time:
        others += ', or "%" if it is distortion'
    line = written.units_line(missing)
    return f"no unit is given for {names}; write {_PLACE} {line} ({others}, whichever the file is in)"


def not_understood(lost: Sequence[ColumnDraft], kept: Iterable[ColumnDraft]) -> str:
    """Return the message for columns whose words and unit give no role: those understood by number, the lost ones as a
    proposal.
    """
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
        f"{names} cannot be identified from the header; write {_PLACE} which columns to read, for example "
        f"columns = {{ {line} }}"
    )


def the_same_twice(first: ColumnDraft, second: ColumnDraft, firsts: Sequence[ColumnDraft], written: Written) -> str:
    """Return the message for two columns with one role and channel. `firsts`: the first of each such pair, for a line
    that settles all.
    """
    side = f" {first.channel}" if first.channel else ""
    pairs = {key: draft.index + 1 for draft in firsts if (key := _KEY_OF_CHANNEL.get(draft.channel, ""))}
    if not first.channel:
        pairs |= (
            {first.role: first.index + 1}
            if first.role == "power"
            else {"left": first.index + 1, "right": second.index + 1}
        )
    other = ""
    if first.role == "level" and not (first.heading.role or first.channel) and first.unit and first.unit.base == "dB":
        pair = {"left distortion": first.index + 1, "right distortion": second.index + 1}
        other = f", or, if they are distortion, {written.columns_line(pair)}"
    line = written.columns_line(pairs)
    return (
        f"{first.name} (column {first.index + 1}) and {second.name} (column {second.index + 1}) are both "
        f"{first.role}{side}; write {_PLACE} which to read, for example {line}{other}"
    )
