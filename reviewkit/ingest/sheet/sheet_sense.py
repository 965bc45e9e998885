"""Data that no measurement gives: a capture with a gap, a negative distortion, one power with two distortions.

Each is refused with its line, since the figures made from it would look right.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.ingest.sheet.sheet_columns import Chosen
from reviewkit.ingest.sheet.sheet_rows import NumericTable, called
from reviewkit.model.digits import trimmed
from reviewkit.model.errors import Faults

if TYPE_CHECKING:
    from numpy.typing import NDArray

_GAP = 1.75  # of the mean step between two samples: closer to two steps than rounded time stamps get
_FEWEST = 8  # rows needed to know the step
_STRETCH = 1 << 16  # values examined together, so that there is no second array
_MOST_DISTORTION_DB = 0.0


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
