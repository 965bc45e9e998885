"""Long files in blocks of whole lines: plain blocks by a fast parser, those that hold an odd line cell by cell.

A file is never in memory whole, so what reading takes is the arrays and little more.
"""

from __future__ import annotations

import csv
import io
import os
from collections import deque
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from typing import IO, TYPE_CHECKING, TypeAlias

import numpy as np

from reviewkit.ingest.sheet.sheet_columns import choose_columns
from reviewkit.ingest.sheet.sheet_layout import Layout, find_layout
from reviewkit.ingest.sheet.sheet_rows import ParsedRows, RowParser, decimal_of
from reviewkit.ingest.sheet.sheet_text import SPACES, WIDE_SPACES, NumberedLine, NumberedLines, is_plain, may_go_on
from reviewkit.model.errors import Faults

if TYPE_CHECKING:
    from numpy.typing import NDArray

_HEAD = 10_000  # bytes in which a long file must show how it is laid out
_LOOKED_AT = 200_000  # bytes in which a control character is told as binary content
_BLOCK = 1_500_000  # bytes: large enough that the fast parser's start costs little
_PART = 30_000  # bytes of a block with an odd line that are read cell by cell for it
_WORKERS = min(2, os.cpu_count() or 1)  # more would only hold more blocks at once
_UTF8_MARK = b"\xef\xbb\xbf"

_Columns: TypeAlias = "list[NDArray[np.float64]]"


class NotPlain(Exception):
    """The bytes are no UTF-8 with lines ended by line feeds, or no text: the file must be decoded as a whole first."""


def read_blocks(
    stream: IO[bytes], source: str, columns: Mapping[str, str | int], units: Mapping[str, str]
) -> ParsedRows | None:
    """A long file as `read_lines` would read it as a whole; None where its beginning shows no layout.

    Raises NotPlain, and InputError for a fault of the header.
    """
    stream.seek(0)
    head = stream.read(_LOOKED_AT) + stream.readline()
    mark = len(_UTF8_MARK) if head.startswith(_UTF8_MARK) else 0
    if not is_plain(head[mark:].replace(b"\r\n", b"\n"), control_too=True):
        raise NotPlain
    beginning = head[mark : head.find(b"\n", _HEAD) + 1]
    lines = NumberedLines(beginning.replace(b"\r\n", b"\n").decode())
    layout = find_layout(lines)
    if layout is None:
        return None
    chosen, notes = choose_columns(layout, columns, units, source)
    start = mark
    for _ in range(layout.first - 1):
        start = head.index(b"\n", start) + 1
    stream.seek(start)
    faults = Faults(source)

    def from_the_start() -> Iterator[NumberedLine]:
        stream.seek(start)
        return _lines(stream, layout)

    decimal = decimal_of(_marked(stream, layout), layout, chosen, faults, from_the_start)
    row_bytes = (len(beginning) - start + mark) / (beginning.count(b"\n") - layout.first + 1)
    expected = int(1.05 * stream.seek(0, io.SEEK_END) / row_bytes)
    rows = RowParser(layout, chosen, decimal, faults, expected)
    stream.seek(start)
    _add_all(rows, stream)
    return ParsedRows(layout, chosen, rows.table(), notes, tuple(faults.collected))


def _add_all(rows: RowParser, stream: IO[bytes]) -> None:
    """Every block of the stream, in order; the fast parser at work on a few of them at once."""
    first = rows.layout.first
    waiting: deque[tuple[bytes, Future[_Columns | None]]] = deque()
    with ThreadPoolExecutor(_WORKERS) as pool:
        for block in _blocks(stream, _BLOCK):
            waiting.append((block, pool.submit(_fast, block, rows)))
            if len(waiting) > _WORKERS:
                first = _add(rows, first, *waiting.popleft())
        while waiting:
            first = _add(rows, first, *waiting.popleft())


def _add(rows: RowParser, first: int, block: bytes, parsed: Future[_Columns | None]) -> int:
    """Add a block whose first line has the number `first`; those parts of it that hold an odd line cell by cell.

    Gives the number of the line after it.
    """
    columns = parsed.result()
    if columns is not None:
        return rows.add(columns, first)
    for part in _blocks(io.BytesIO(block), _PART):
        columns = _fast(part, rows)
        if columns is None:
            rows.read(NumberedLines(part.decode(), first))
            first += part.count(b"\n")
        else:
            first = rows.add(columns, first)
    return first


def _blocks(stream: IO[bytes], size: int) -> Iterator[bytes]:
    """The rest of a stream in blocks of about `size` bytes, with lines ended by a line feed alone.

    A block ends at a line's end, and where no quoted cell can go on over it. Raises NotPlain.
    """
    while block := stream.read(size):
        block += stream.readline()
        while may_go_on(block) and (more := stream.read(size)):
            block += more + stream.readline()
        if b"\r" in block:
            block = block.replace(b"\r\n", b"\n")
        if not is_plain(block):
            raise NotPlain
        yield block


def _marked(stream: IO[bytes], layout: Layout) -> Iterator[NumberedLine]:
    """The lines of those blocks that hold anything like a decimal mark or a mark between thousands."""
    first = layout.first
    comma = layout.separator != ","  # else only a quoted cell holds one
    for block in _blocks(stream, _PART):
        if b"." in block or b'"' in block or (comma and b"," in block):
            yield from NumberedLines(block.decode(), first)
        first += block.count(b"\n")


def _lines(stream: IO[bytes], layout: Layout) -> Iterator[NumberedLine]:
    """All lines from the stream's place on, which is the first data line."""
    first = layout.first
    for block in _blocks(stream, _PART):
        yield from NumberedLines(block.decode(), first)
        first += block.count(b"\n")


def _fast(block: bytes, rows: RowParser) -> _Columns | None:
    """The columns chosen of a block of plain rows; None where a line is, or may be, anything else.

    The parser gives up wherever it could read otherwise than `Rows.read` does: at a missing value, another decimal
    mark, a mark between thousands, a cell too many or too few, a comment, a blank line.
    """
    import pandas as pd  # type: ignore[import-untyped]

    layout = rows.layout
    blank = layout.separator in (SPACES, WIDE_SPACES)
    if layout.separator == WIDE_SPACES and _has_single_blanks(block):
        return None
    end = layout.separator.encode() + b"\n"
    if not blank and block[: block.find(b"\n") + 1].endswith(end):
        block = block.replace(end, b"\n")  # one separator too many at every row's end
    older = tuple(int(part) for part in pd.__version__.split(".")[:2]) < (3, 1)
    exact = {"float_precision": "round_trip"} if older else {}  # from 3.1 on the default rounds correctly
    try:
        frame = pd.read_csv(
            io.BytesIO(block),
            sep=r"\s+" if blank else layout.separator,
            decimal=rows.decimal,
            header=None,
            dtype=np.float64,
            na_filter=False,
            quoting=csv.QUOTE_NONE,
            skip_blank_lines=False,
            engine="c",
            low_memory=False,
            **exact,
        )
    except ValueError:
        return None
    if frame.shape[1] != layout.width:
        return None
    columns = [frame[column.index].to_numpy() for column in rows.chosen]
    return columns if all(np.isfinite(values).all() for values in columns) else None


def _has_single_blanks(block: bytes) -> bool:
    """Whether a blank may stand inside a cell: one alone, or a tab."""
    signs = np.frombuffer(block, dtype=np.uint8)
    is_blank = signs == ord(" ")
    inside = is_blank[1:-1] & ~is_blank[:-2] & ~is_blank[2:]
    inside &= (signs[:-2] != ord("\n")) & (signs[2:] != ord("\n"))
    return b"\t" in block or bool(inside.any())
