"""A table's values: in rising order, and such that a measurement may give them.

A sweep that goes back or has two values for a point is refused with its line, and so are a capture with a gap, a
negative distortion and one power with two distortions: the figures made from them would look right.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reviewkit.ingest.sheet.sheet_columns import SCALES, Chosen
from reviewkit.ingest.sheet.sheet_rows import MOST_LISTED, NumericTable, abscissa_of, called
from reviewkit.model.digits import trimmed
from reviewkit.model.errors import MOST_KEPT, Faults
from reviewkit.model.sheet import Skipped
from reviewkit.model.units import scaled

_STEPS = {
    "frequency": (("kHz", 1e3), ("Hz", 1.0)),
    "time": (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)),
    "set": (("", 1.0),),
}
_BASE = {"frequency": "Hz", "time": "s", "set": ""}
_LEAST_VALUE, _MOST_VALUE, _MOST_DB = 1e-60, 1e30, 1000.0  # of a reading, in the unit that it is written in
_EVEN = 0.25  # of a step
_GAP = 1.75  # of the mean step between two samples: closer to two steps than rounded time stamps get
_FEWEST = 8  # rows needed to know the step
_STRETCH = 1 << 16  # values examined together, so that there is no second array
_MOST_DISTORTION_DB = 0.0


def has_sane_values(table: NumericTable, chosen: Sequence[Chosen], faults: Faults) -> bool:
    """Return whether all values can be calculated with.

    A column's first value that is too large or too small for any reading is noted: its square, and the ratio that its
    decibels mean, would no longer be a number, or would be zero. If a fault was noted before, it may be the reason
    (1,500 dB), so only that one is reported.
    """
    sane, others = True, bool(faults.collected)
    for place, column in enumerate(chosen):
        values = table.values[:, place]
        first = _out_of_size(values, _MOST_DB if column.unit.base.startswith("dB") else _MOST_VALUE)
        if first is not None:
            what, remedy = (
                ("large", '"--" where there is none') if abs(values[first]) > 1 else ("small", "0 for nothing")
            )
            said = f"{values[first]:.4g} in {called(column)} is too {what} to be a reading"
            if not others:
                faults.add(int(table.lines[first]), f"{said}; write {remedy}, or export the file again")
            sane = False
    return sane


def _out_of_size(values: NDArray[np.float64], most: float) -> int | None:
    """Return the place of the first value larger than `most`, or nonzero but nearer to zero than any reading."""
    for begin in range(0, len(values), _STRETCH):  # a stretch at a time, so that there is no second array
        size = np.abs(values[begin : begin + _STRETCH])
        small = size < _LEAST_VALUE
        if size.max() > most or (small.any() and size[small].any()):
            return begin + int(np.argmax((size > most) | (small & (size > 0))))
    return None


def in_order(table: NumericTable, chosen: Sequence[Chosen], faults: Faults) -> NumericTable:
    """Return the table with its abscissa rising.

    A sweep in falling order is reversed. Time and frequency must not go back (noted in `faults`); a row that repeats
    the one before is left out and listed, and so is the row at 0 Hz of an evenly spaced spectrum. A power may go back,
    as it does near clipping: only a sweep that falls throughout is reversed.
    """
    place = abscissa_of(chosen)
    role = chosen[place].role
    abscissa = scaled(table.values[:, place], chosen[place].unit.factor)
    if len(abscissa) == 0:
        return table
    rises, falls = (np.count_nonzero(step) for step in (abscissa[1:] > abscissa[:-1], abscissa[1:] < abscissa[:-1]))
    if falls > rises if role in _STEPS else falls and not rises:
        table, abscissa = replace(table, values=table.values[::-1], lines=table.lines[::-1]), abscissa[::-1]
    is_plain = max(rises, falls) == len(abscissa) - 1 and (role != "frequency" or abscissa[0] > 0)
    if role not in _STEPS or is_plain:
        return table
    if role == "frequency":
        table, abscissa = _above_zero(table, abscissa, faults)
    return _without_repeats(table, abscissa, role, faults)


def over_one_scale(
    table: NumericTable, chosen: tuple[Chosen, ...], faults: Faults
) -> tuple[NumericTable, tuple[Chosen, ...]]:
    """Return table and columns with a single time or frequency, if the file repeats it for each channel.

    Repeated ones that differ are noted in `faults`: the second channel would be read at the first one's points.
    """
    first: dict[str, int] = {}
    kept: list[int] = []
    for place, column in enumerate(chosen):
        before = first.setdefault(column.role, place) if column.role in SCALES else place
        if before == place:
            kept.append(place)
            continue
        one = scaled(table.values[:, before], chosen[before].unit.factor)
        other = scaled(table.values[:, place], column.unit.factor)
        differs = np.flatnonzero(~np.isclose(one, other, rtol=1e-9, atol=0.0))
        if len(differs):
            at = int(differs[0])
            texts = _distinct_texts(column.role, one[at], other[at])
            numbers = f"columns {chosen[before].index + 1} and {column.index + 1}"
            faults.add(
                int(table.lines[at]),
                f"{numbers} are both {column.role} and differ here: {texts[0]} and {texts[1]}; export the channels "
                f"over the same scale or each to its own file, or name the one to read: "
                f"columns = {{ {column.role} = {chosen[before].index + 1} }}",
            )
    if len(kept) == len(chosen):
        return table, chosen
    return replace(table, values=table.values[:, kept]), tuple(chosen[place] for place in kept)


def _kept(table: NumericTable, out: NDArray[np.bool_], why: Callable[[int], str]) -> NumericTable:
    """Return the rows that aren't `out`; list the first of the others with the reason for each. `why`: of a place."""
    if not out.any():
        return table
    places = np.flatnonzero(out)
    listed = [Skipped(int(table.lines[place]), why(int(place))) for place in places[:MOST_LISTED]]
    if len(places) > MOST_LISTED:
        listed.append(Skipped(int(table.lines[places[-1]]), f"and {len(places) - MOST_LISTED} rows before it likewise"))
    skipped = tuple(sorted((*table.skipped, *listed), key=lambda each: each.line))
    return replace(table, values=table.values[~out], lines=table.lines[~out], skipped=skipped)


def _above_zero(
    table: NumericTable, frequency_hz: NDArray[np.float64], faults: Faults
) -> tuple[NumericTable, NDArray[np.float64]]:
    for place in _first(frequency_hz < 0, table):
        faults.add(
            int(table.lines[place]),
            f"{_shown('frequency', frequency_hz[place], 6)} is a negative frequency; export the positive half only",
        )
    zero = frequency_hz == 0
    if zero.any() and not _evenly_spaced(frequency_hz):
        for line in table.lines[_first(zero, table)]:
            faults.add(int(line), "0 Hz in a sweep; delete the row, or begin the sweep above zero")
    return _kept(table, zero, lambda place: "a spectrum's row at 0 Hz"), frequency_hz[~zero]


def _evenly_spaced(values: NDArray[np.float64]) -> bool:
    """Return whether three values or more lie on a straight line, as a transform's do and a sweep's don't.

    One step in five may be longer, where rows are missing, and the values may be rounded to a quarter of a step.
    """
    steps = np.diff(values)
    if len(steps) < 2 or np.min(steps) <= 0:
        return False
    taken = np.round(steps / np.median(steps))
    if np.count_nonzero(taken == 1) < 0.8 * len(steps):
        return False
    index = np.concatenate(([0.0], np.cumsum(taken)))
    step = (values[-1] - values[0]) / index[-1]
    return bool(np.max(np.abs(values - values[0] - index * step)) <= _EVEN * step)


def _without_repeats(table: NumericTable, abscissa: NDArray[np.float64], role: str, faults: Faults) -> NumericTable:
    steps = np.diff(abscissa)
    for place in _first(steps < 0, table).tolist():
        # reported in the file's order, whichever way the sweep runs there
        one, other = sorted((place, place + 1), key=lambda each: int(table.lines[each]))
        from_text, to_text = _distinct_texts(role, abscissa[one], abscissa[other])
        faults.add(
            int(table.lines[other]), f"{role} goes back from {from_text} to {to_text}; export one sweep per file"
        )
    stays = steps == 0
    same = stays & (table.values[1:] == table.values[:-1]).all(axis=1)
    for place in _first(stays & ~same, table).tolist():
        first, second = sorted((int(table.lines[place]), int(table.lines[place + 1])))
        faults.add(
            second,
            f"{_shown(role, abscissa[place], 6)} is in lines {first} and {second} with different values; export "
            "one sweep per file, with all digits",
        )
    out = np.concatenate(([False], same))
    return _kept(table, out, lambda place: f"the same as line {int(table.lines[place - 1])}")


def _first(which: NDArray[np.bool_], table: NumericTable) -> NDArray[np.int64]:
    """Return the places to report, the first ones in the file, whichever way it runs."""
    places = np.flatnonzero(which)
    if len(places) == 0:
        return places
    return places[-MOST_KEPT:] if table.lines[0] > table.lines[-1] else places[:MOST_KEPT]


def _shown(role: str, value: float, digits: int) -> str:
    name, factor = next(((n, f) for n, f in _STEPS[role] if abs(value) >= f), _STEPS[role][-1])
    if value == 0:
        name, factor = _BASE[role], 1.0
    number = float(value) / factor
    plain = number == 0 or 1e-6 <= abs(number) < 1e9
    return f"{trimmed(number, digits) if plain else f'{number:.{digits}g}'} {name}".strip()


def _distinct_texts(role: str, one: float, other: float) -> tuple[str, str]:
    """Return two values with as many digits as it takes to see the difference."""
    for digits in (3, 6, 9, 12):
        texts = _shown(role, one, digits), _shown(role, other, digits)
        if texts[0] != texts[1]:
            return texts
    return f"{float(one)!r} {_BASE[role]}".strip(), f"{float(other)!r} {_BASE[role]}".strip()


def check_sense(table: NumericTable, chosen: Sequence[Chosen], faults: Faults) -> None:
    """Note each row of a table in rising order that no measurement gives.

    Parameters
    ----------
    table
        The rows, as written.
    chosen
        Their columns.
    faults
        Receives a fault for the first such row of each column.
    """
    roles = [column.role for column in chosen]
    if "time" in roles:
        place = roles.index("time")
        _check_gaps(table, table.values[:, place], faults)
    elif not {"frequency", "set"} & {*roles}:
        _check_powers(table, chosen, faults)
    for place, column in enumerate(chosen):
        if column.role in ("distortion", "impedance", "power"):
            _check_sign(table, table.values[:, place], column, faults)


def _check_gaps(table: NumericTable, time: NDArray[np.float64], faults: Faults) -> None:
    remedy = "measure or export the whole capture again"
    missing = [row for row in table.skipped if row.unread]
    if missing:
        more = f" ({len(missing)} such rows in all)" if len(missing) > 1 else ""
        faults.add(missing[0].line, f"{missing[0].why}: a gap in a capture falsifies every figure{more}; {remedy}")
        return
    if len(time) < _FEWEST:
        return
    mean = (time[-1] - time[0]) / (len(time) - 1)
    for begin in range(0, len(time) - 1, _STRETCH):
        steps = np.diff(time[begin : begin + _STRETCH + 1])
        if steps.max() > _GAP * mean:
            at = begin + int(np.argmax(steps > _GAP * mean)) + 1
            step = trimmed(float(time[at] - time[at - 1]) / float(np.median(steps)), 3)
            faults.add(
                int(table.lines[at]),
                f"the time jumps by {step} samples from the row before: a gap in a capture falsifies every figure; "
                f"{remedy}, with all digits of the time",
            )
            return


def _check_powers(table: NumericTable, chosen: Sequence[Chosen], faults: Faults) -> None:
    """Note a power, or a level in place of one, that has two distortions."""
    scale_role = "power" if any(column.role == "power" for column in chosen) else "level"
    for place, scale in enumerate(chosen):
        if scale.role != scale_role:
            continue
        order = np.argsort(table.values[:, place], kind="stable")
        values = table.values[order]
        same = values[1:, place] == values[:-1, place]
        for other, column in enumerate(chosen):
            if column.role != "distortion" or scale.channel not in ("", column.channel):
                continue
            twice = np.flatnonzero(same & (values[1:, other] != values[:-1, other]))
            if len(twice):
                first, second = sorted(int(line) for line in table.lines[order[twice[0] : twice[0] + 2]])
                faults.add(
                    second,
                    f"{trimmed(float(values[twice[0], place]), 6)} in {called(scale)} is in lines {first} and "
                    f"{second} with different distortions; keep one of the rows, or export the power with all digits",
                )


def _check_sign(table: NumericTable, values: NDArray[np.float64], column: Chosen, faults: Faults) -> None:
    in_db = column.unit.base == "dB"
    if in_db:
        wrong = values > _MOST_DISTORTION_DB
    else:
        wrong = values <= 0 if column.role == "impedance" else values < 0
    if not len(values) or not wrong.any():
        return
    at = int(np.argmax(wrong))
    value = f"{trimmed(float(values[at]), 6)} in {called(column)}"
    if in_db:
        percent = trimmed(100 * 10 ** (float(values[at]) / 20), 3)
        message = f"{value} is {percent} % of distortion; export it with its sign, or in %"
    elif column.role == "impedance":
        message = f'{value} cannot be a source impedance; write "--" where none was read, or measure again'
    elif column.role == "power":
        message = f'{value} cannot be a power; write "--" where none was read'
    elif (values <= 0).all() and values.min() < -1:
        key = {"L": "left", "R": "right"}.get(column.channel, "distortion")
        message = f'{value} cannot be a percentage; if it is in dB write units = {{ {key} = "dB" }}'
    else:
        message = f'{value} cannot be a distortion; write "--" where none was read'
    faults.add(int(table.lines[at]), message)
