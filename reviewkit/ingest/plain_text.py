"""Bytes of a file written by hand or by a spreadsheet → text, with the line of whatever cannot be read."""

from __future__ import annotations

from pathlib import Path

from reviewkit.errors import Fault, InputError

_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


def read_text(path: Path, source: str, *, western: bool = False) -> str:
    """The text of a file, without a byte order mark. `source` names it in messages. Faults: see `decode`."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise InputError(Fault(source, 0, f"there is no file {path.name} in {path.parent}")) from None
    except OSError as error:
        raise InputError(Fault(source, 0, f"cannot be read: {error.strerror}; make it a readable file")) from None
    return decode(data, source, western=western)


def decode(data: bytes, source: str, *, western: bool = False) -> str:
    """Text from bytes: a byte order mark decides, else UTF-8, else Windows Western where `western` allows it.

    Raises InputError with the line of the first byte that cannot be read, and for binary content.
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
            raise InputError(Fault(source, line, f"not {encoding.upper()} text; save the file as UTF-8")) from None
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            raise InputError(Fault(source, line, "neither UTF-8 nor Windows Western text; save as UTF-8")) from None
    if "\x00" in text:
        line = text[: text.index("\x00")].count("\n") + 1
        raise InputError(Fault(source, line, "binary content; save the file as text in UTF-8"))
    return text
