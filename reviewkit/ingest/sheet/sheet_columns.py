"""The meaning of each column: the header's words, the units row and the session file's `columns` and `units` joined."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

from reviewkit.ingest.sheet import sheet_remedies as remedies
from reviewkit.ingest.sheet.sheet_header import ROLE_UNITS, SET, SOURCE, UNUSED, Heading, read_heading, role_of_unit
from reviewkit.ingest.sheet.sheet_layout import Layout
from reviewkit.ingest.sheet.sheet_remedies import KEYS, ColumnDraft, Written, shown
from reviewkit.ingest.sheet.sheet_text import MOST_COLUMNS, cleaned
from reviewkit.model.errors import Faults, nearest, shortened
from reviewkit.model.toml_text import quoted
from reviewkit.model.units import COLUMN_UNITS, PEAK_UNITS, UnitSpelling, unit_of

SCALES = ("time", "frequency", SET)  # a file may repeat them for each channel, if they are the same there
_PAIRS = (("1", "2"), ("A", "B"))


@dataclass(frozen=True)
class Chosen:
    """A column to be read. `index`: its place in the row, from 0."""

    index: int
    role: str
    channel: str
    unit: UnitSpelling
    header: str


def choose_columns(
    layout: Layout, columns: Mapping[str, str | int], units: Mapping[str, str], source: str
) -> tuple[tuple[Chosen, ...], tuple[str, ...]]:
    """Return the columns to read, in the file's order, and what the user should know about those left out.

    Raises
    ------
    InputError
        With every fault of the header: anything it leaves open is asked for, never guessed.
    """
    faults, line = Faults(source), layout.header_line or layout.first

    def note(message: str) -> None:
        faults.add(line, f"{message} ({shown(layout)})")

    if layout.width > MOST_COLUMNS:
        faults.add(line, remedies.too_wide(MOST_COLUMNS))
        faults.stop_if_any()
    if layout.sides:
        faults.add(layout.first, f"{remedies.channels_in_rows(layout)} ({shown(layout)})")
    if layout.header and len(layout.header) != layout.width:
        note(remedies.other_width(layout))
    _check_keys(columns, units, partial(faults.add, line))
    named = _named_columns(layout, columns, note)
    if not layout.header and not columns:
        faults.add(line, remedies.no_header(layout.width))
    faults.stop_if_any()
    warnings: list[str] = []
    drafts = _drafts(layout, named)
    over_time = any("time" in (draft.heading.role, draft.key) for draft in drafts)
    written = Written(units, named, over_time)
    drafts = _with_session_units(drafts, written, note, warnings)
    unused = [draft for draft in drafts if draft.role == UNUSED]
    drafts = _understood(drafts, written, note, warnings)
    _check_columns(drafts, written, note)
    roles = {draft.role for draft in drafts}
    if not faults.collected and not (roles & {*SCALES, "power"} or {"level", "distortion"} <= roles):
        note(remedies.no_abscissa(drafts, unused, written))
    elif not faults.collected and roles <= set(SCALES):
        note(remedies.no_reading(drafts, unused, written))
    faults.stop_if_any()
    chosen = (Chosen(d.index, d.role, d.channel, d.unit, d.heading.text) for d in drafts if d.unit is not None)
    return tuple(chosen), tuple(warnings)


def _check_keys(columns: Mapping[str, str | int], units: Mapping[str, str], note: Callable[[str], None]) -> None:
    for table, names in (("columns", columns), ("units", units)):
        for key in names:
            if key not in KEYS:
                note(f'{table} names "{shortened(key, 40)}", which is not a kind of column; {nearest(key, KEYS)}')
    for key, text in units.items():
        if key in KEYS and unit_of(text, COLUMN_UNITS) is None:
            note(
                f'units: {quoted(key)} = "{shortened(text, 40)}" is not a known unit; write for example '
                f"{remedies.unit_example(key)}",
            )


def _named_columns(layout: Layout, columns: Mapping[str, str | int], note: Callable[[str], None]) -> dict[int, str]:
    """Return column index -> the key that `columns` gives it."""
    named: dict[int, str] = {}
    for key, value in columns.items():
        place = _place_of(value, layout)
        if isinstance(place, str):
            written = value if isinstance(value, int) else f'"{shortened(value, 40)}"'
            note(f"columns: {quoted(shortened(key, 40))} = {written} {place}")
        elif place in named:
            note(
                f"columns gives column {place + 1} to both {quoted(named[place])} and {quoted(key)}; give each its own"
            )
        elif key in KEYS:
            named[place] = key
    return named


def _place_of(value: str | int, layout: Layout) -> int | str:
    """Return the index of a column given as header text or number from 1; what is wrong with it otherwise."""
    if isinstance(value, int):
        if 1 <= value <= layout.width:
            return value - 1
        return f"is not a column of this file; it has {layout.width}, counted from 1"
    if not layout.header:
        return "cannot be found in a file without a header; give the column's number, from 1"
    heads = [" ".join(cell.split()) for cell in layout.header]
    wanted = " ".join(cleaned(value).split())
    places = [place for place, head in enumerate(heads) if head == wanted]
    places = places or [place for place, head in enumerate(heads) if head.casefold() == wanted.casefold()]
    if not places:
        return "is not in the header; write it as it is there, or give the column's number, from 1"
    return (
        places[0] if len(places) == 1 else f"is the header of {len(places)} columns; give the column's number, from 1"
    )


def _drafts(layout: Layout, named: Mapping[int, str]) -> list[ColumnDraft]:
    cells = layout.header or ("",) * layout.width
    below = (*layout.units, *("",) * len(cells))
    headings = _as_swept([read_heading(cell, unit) for cell, unit in zip(cells, below, strict=False)], named)
    over = {"power", "level"} if any(heading.role == "distortion" for heading in headings) else {"power"}
    drafts = []
    for index, (heading, channel) in enumerate(zip(headings, _paired(headings), strict=True)):
        key = named.get(index, "")
        aside = index == 0 and not key and (layout.labelled or layout.counts_rows)
        role = UNUSED if aside else heading.role
        if key:
            role = KEYS[key][0] or ("" if role == UNUSED else role)
            # once `columns` names the power, it applies to the distortion of every channel, whatever its header says
            heading = replace(heading, doubt="") if heading.doubt == "total" else heading
            channel = KEYS[key][1] or ("" if key in over else channel.replace("?", ""))
        drafts.append(ColumnDraft(index, heading, role, channel, heading.unit, key))
    return drafts


def _as_swept(headings: list[Heading], named: Mapping[int, str]) -> list[Heading]:
    """Return the headings of a sweep of level as what they are there; those of any other file as they are."""
    roles = {heading.role for heading in headings} | {KEYS[key][0] for key in named.values()}
    marks = {heading.swept for heading in headings} | ({SET} & roles)
    # a generator's level next to output and distortion is only an aside
    from_source = SOURCE in marks and SET not in marks and not {"level", "distortion"} <= roles
    if roles & {"time", "frequency", "power"} or not (SET in marks or from_source):
        return headings
    meaning = {SET: SET, "level": "level", "distortion": "distortion"} | ({SOURCE: SET} if from_source else {})
    return [
        replace(h, role=meaning.get(h.swept, h.role), strange=h.strange and h.swept not in meaning) for h in headings
    ]


def _paired(headings: list[Heading]) -> list[str]:
    """Return the channels, with numbers turned into L and R if the file has both 1 and 2 (or A and B) and no third."""
    used = {side for heading in headings for side in heading.channel.split(">") if side and heading.role != UNUSED}
    meaning = {"L": "L", "R": "R"}
    for first, second in _PAIRS:
        if used == {first, second}:
            meaning |= {first: "L", second: "R"}
    channels = []
    for heading in headings:
        sides = [meaning.get(side, "") for side in heading.channel.split(">")]
        channels.append("?" if heading.channel == "?" else ">".join(sides) if all(sides) else "")
    return channels


def _with_session_units(
    drafts: list[ColumnDraft], written: Written, note: Callable[[str], None], warnings: list[str]
) -> list[ColumnDraft]:
    """Apply `units`, and warn if the header differs; a unit for a column that isn't there is a fault."""
    taken: set[str] = set()
    units = written.units
    joined = []
    for draft in drafts:
        for key in draft.unit_keys():
            unit = unit_of(units.get(key, ""), COLUMN_UNITS)
            allowed = ROLE_UNITS.get(draft.role)
            if unit is None or (allowed and unit.base not in allowed and key != draft.role):
                continue  # left = "dBV" is about the left level, not the left distortion next to it
            taken.add(key)
            if draft.heading.firm and draft.unit != unit:
                warnings.append(f"{draft.name} is read in {units[key]}, as units says, despite its header")
            draft = replace(draft, unit=unit, heading=replace(draft.heading, unknown_unit="", clash="", doubt=""))
            break
        joined.append(draft)
    for key in units:
        if key not in taken:
            note(remedies.unit_without_column(key, joined, written))
    return joined


def _understood(
    drafts: list[ColumnDraft], written: Written, note: Callable[[str], None], warnings: list[str]
) -> list[ColumnDraft]:
    """Return the columns with a role: from words, else from the unit, else (a channel word alone) level, its unit asked
    for.

    Once the user has named columns, one which is not understood is left out instead of asked for.
    """
    kept: list[ColumnDraft] = []
    lost: list[ColumnDraft] = []
    for draft in drafts:
        if draft.role == UNUSED:
            warnings.append(f"{draft.name} is not used")
            continue
        role = draft.role or (role_of_unit(draft.unit) if draft.unit is not None else "")
        if not role and (draft.channel or draft.heading.channel):
            role = "level"
        if draft.guessed and draft.unit is not None and draft.unit.base in ("%", "dB"):
            role = ""  # many things are in percent and dB besides distortion and levels
        # every channel is drawn over one scale, whichever of them is next to its column
        draft = replace(draft, role=role, channel="" if role in SCALES else draft.channel)
        (kept if role and draft.channel != "?" else lost).append(draft)
    given = {(draft.role, draft.channel) for draft in kept if draft.key}
    sure = {draft.role for draft in kept if not draft.guessed}
    for draft in list(kept):
        if not draft.key and (draft.role, draft.channel) in given:
            kept.remove(draft)
            warnings.append(f"{draft.name} is not used: columns names another one")
        elif draft.guessed and draft.role in sure:
            kept.remove(draft)
            lost.append(draft)
        elif draft.guessed:
            warnings.append(f"{draft.name} is taken as {draft.role}, by its unit")
    lost.sort(key=lambda draft: draft.index)
    if written.named:
        warnings += [f"{draft.name} is not used" for draft in lost]
        return kept
    for draft in lost:
        if draft.heading.unknown_unit:
            note(remedies.unknown_column(draft, written))
    unclear = [draft for draft in lost if not draft.heading.unknown_unit]
    if unclear:
        note(remedies.not_understood(unclear, kept))
    return kept


def _check_columns(drafts: list[ColumnDraft], written: Written, note: Callable[[str], None]) -> None:
    """Note each unit that can't be right, and each two columns that are the same."""
    missing = []
    for draft in drafts:
        if draft.heading.clash:
            note(remedies.two_units(draft, written))
        elif draft.heading.unknown_unit:
            note(remedies.unknown_unit(draft, written))
        elif draft.unit is None:
            missing.append(draft)
        elif written.over_time and (draft.unit in PEAK_UNITS.values() or draft.heading.doubt == "peak"):
            note(remedies.peak_waveform(draft, written))
        elif draft.heading.doubt:
            note(remedies.doubtful(draft, written))
        elif draft.unit.base not in ROLE_UNITS[draft.role]:
            note(remedies.unit_of_another_role(draft, written))
    if missing:
        note(remedies.missing_units(missing, written))
    seen: dict[tuple[str, str], ColumnDraft] = {}
    pairs = [
        (seen.setdefault((draft.role, draft.channel), draft), draft) for draft in drafts if draft.role not in SCALES
    ]
    twice = [(before, draft) for before, draft in pairs if before is not draft]
    for before, draft in twice:
        firsts = list(dict.fromkeys(first for first, _ in twice))
        note(remedies.the_same_twice(before, draft, firsts, written))
