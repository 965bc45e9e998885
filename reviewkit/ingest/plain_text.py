"""Bytes of a file written by hand or by a spreadsheet → text, with the line of anything that can't be read."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

from reviewkit.model.errors import refusal

MOST_BYTES = 20_000_000  # no table or text kept by hand comes near it
# they reverse the direction of the following text, so that a line looks different from what it is
BIDIRECTIONAL = "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"
_UNWANTED = re.compile(rf"[\x01-\x08\x0e-\x1a\x1b-\x1f\x7f{BIDIRECTIONAL}]")
_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


def read_text(path: Path, source: str, *, western: bool = False) -> str:
    """Return the text of a file, without a byte order mark. `source`: its name in messages.

    Raises
    ------
    InputError
        If it can't be opened, or for the faults of `decode`.
    """
    refuse_devices(path, source)
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise refusal(source, f"there is no file {path.name} in {path.parent}") from None
    except OSError as error:
        raise refusal(source, f"cannot be read: {error.strerror}; make it a readable file") from None
    if len(data) > MOST_BYTES:
        over = f"holds over {MOST_BYTES // 1_000_000} MB, so it is some other file; name the right one, or shorten it"
        raise refusal(source, over)
    return decode(data, source, western=western)


def refuse_devices(path: Path, source: str) -> None:
    """Refuse a file that can be opened but may never end.

    Raises
    ------
    InputError
        If it is a pipe or a device.
    """
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise refusal(source, "is a pipe or a device, which may never end; put a file in its place")


def numbered_rows(text: str) -> Iterator[tuple[int, str]]:
    """Yield every line with its number from 1, one at a time, whichever of the usual line ends it has; without a byte
    order mark.
    """
    for line, row in enumerate(io.StringIO(text.removeprefix("\ufeff"), newline=None), 1):
        yield line, row.removesuffix("\n")


def decode(data: bytes, source: str, *, western: bool = False) -> str:
    """Return text from bytes: a byte order mark decides, else UTF-8, else cp1252 if `western` is set.

    Raises
    ------
    InputError
        With the line of the first byte that can't be read, and for binary content.
    """
    encoding = "utf-8"
    for mark, name in _MARKS:
        if data.startswith(mark):
            data, encoding = data[len(mark) :], name
            break
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        if encoding != "utf-8" or not western:
            raise refusal(source, f"not {encoding.upper()} text; save the file as UTF-8", line) from None
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            raise refusal(source, "neither UTF-8 nor cp1252 text; save as UTF-8", line) from None
    if "\x00" in text:
        line = text[: text.index("\x00")].count("\n") + 1
        raise refusal(source, "binary content; save the file as text in UTF-8", line)
    unwanted = _UNWANTED.search(text)
    if unwanted:
        line = text.count("\n", 0, unwanted.start()) + 1
        raise refusal(source, f"holds the invisible character U+{ord(unwanted[0]):04X}; delete it", line)
    return text
