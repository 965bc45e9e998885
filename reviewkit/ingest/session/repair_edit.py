"""Changes of repair.csv as text: one row gets a reading or is added, and every other line stays as it is."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping

from reviewkit.ingest.delimited import parse_delimited
from reviewkit.ingest.session.repair_file import COLUMNS, FILE_NAME, parse_repair
from reviewkit.model.errors import Faults, refusal

_EMPTY = ",".join(COLUMNS) + "\n"
_SEPARATORS = ",;\t"


def write_row(text: str, cells: Mapping[str, str], line: int = 0) -> str:
    """Return the text with cells of one row written.

    Parameters
    ----------
    text : str
        The text; may be empty.
    cells : mapping of str to str
        The cells to write, by column. Others stay as they are.
    line : int
        The line where the row begins; 0 for a new row at the end.

    Raises
    ------
    InputError
        If a cell can't be read, if its column is missing, or if there is no row there.
    """
    text = text if text.strip() else _EMPTY
    table = parse_delimited(text, Faults(FILE_NAME), example=_EMPTY.strip())
    lines = re.findall(r"[^\n]*\n|[^\n]+$", text)
    end = "\r\n" if lines[0].endswith("\r\n") else "\n"
    header = lines[table.header.line - 1]
    separator = max(_SEPARATORS, key=header.count)
    columns = [cell.casefold() for cell in table.header.cells]
    cells = {name: " ".join(value.split()) for name, value in cells.items()}
    for name in cells:
        if cells[name] and name not in columns:
            raise refusal(FILE_NAME, f'there is no column "{name}"; add it to the header', table.header.line)
    row = next((each for each in table.rows if each.line == line), None)
    if line and row is None:
        raise refusal(FILE_NAME, "there is no row here any more; open it again", line)
    old = [*(row.cells if row else ()), *("" for _ in columns)][: len(columns)]
    new = [cells.get(name, cell) for name, cell in zip(columns, old, strict=True)]
    written = io.StringIO()
    csv.writer(written, delimiter=separator, lineterminator=end).writerow(new)
    if row is None:
        if not lines[-1].endswith("\n"):
            lines[-1] += end
        lines.append(written.getvalue())
    else:
        lines[line - 1 : _end_of_row(lines, line, separator)] = [written.getvalue()]
    changed = "".join(lines)
    parse_repair(changed)
    return changed


def _end_of_row(lines: list[str], line: int, separator: str) -> int:
    """Return the index of the line after a row, whose quoted cells may hold line ends."""
    reader = csv.reader(iter(lines[line - 1 :]), delimiter=separator)
    next(reader)
    return line - 1 + reader.line_num
