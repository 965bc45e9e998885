"""The command `read`: how measurement files are understood, and what each would be recognised as."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from reviewkit.build.recognising import recognise_sheet
from reviewkit.ingest.measurement_file import read_any
from reviewkit.ingest.sheet.sheet_file import as_json
from reviewkit.model.digests import files_in
from reviewkit.model.errors import InputError, refusal
from reviewkit.model.recognised import Recognised, in_words
from reviewkit.model.sheet import Sheet


@dataclass(frozen=True, eq=False)
class FilesRead:
    """Files by their names, each as read and as recognised, or why it can't be read.

    `alone`: whether one file was asked for, no folder.
    """

    files: dict[str, tuple[Sheet, Recognised] | str]
    alone: bool

    def as_json(self) -> dict[str, object]:
        """Return the columns of the file; of a folder, those of each file by its path."""
        of_each = {name: as_json(each[0]) for name, each in self.files.items() if not isinstance(each, str)}
        if self.alone:
            return next(iter(of_each.values()))
        return dict(of_each)


def read_files(path: Path) -> FilesRead:
    """Read a file, or every file in a folder and its subfolders.

    Raises
    ------
    InputError
        The one file can't be read, or the folder holds none.
    """
    if not path.is_dir():
        sheet = read_any(path, path.name)
        return FilesRead({path.name: (sheet, _recognised(sheet, path.name))}, alone=True)
    files: dict[str, tuple[Sheet, Recognised] | str] = {}
    for name in files_in(path):
        if any(part.startswith(".") for part in Path(name).parts):
            continue
        try:
            sheet = read_any(path / name, name)
        except InputError as error:
            files[name] = str(error.faults[0])
            continue
        files[name] = sheet, _recognised(sheet, f"{path.resolve().name}/{name}")
    if not files:
        raise refusal(str(path), "there is no file in this folder; name one that holds exports")
    return FilesRead(files, alone=False)


def _recognised(sheet: Sheet, name: str) -> Recognised:
    """Return what a file in measurements/ with this path would be recognised as."""
    try:
        return recognise_sheet(sheet, f"measurements/{name}")
    except InputError as error:
        return Recognised(name, question=error.faults[0].message)


def show_read(read: FilesRead) -> Iterator[str]:
    """Yield lines that describe files in plain words."""
    for number, file in enumerate(read.files.values()):
        if number:
            yield ""
        if isinstance(file, str):
            yield file
            continue
        sheet, each = file
        yield from _describe(sheet)
        if each.question:
            kinds = " or ".join(str(choice["kind"]) for choice in each.choices if "kind" in choice)
            yield f"  not recognised: {each.question}" + (f" ({kinds})" if kinds else "")
        else:
            yield f"  recognised as: {in_words(each.table)} ({each.why})"


def _describe(sheet: Sheet) -> list[str]:
    separators = {",": "comma", ";": "semicolon", "\t": "tab", " ": "spaces"}
    marks = {".": "point", ",": "comma"}
    separator = separators.get(sheet.separator, sheet.separator)
    text = f", separated by {separator}, decimal {marks.get(sheet.decimal, sheet.decimal)}" if separator else ""
    lines = [f"{sheet.source}: {_count(sheet.rows, 'row')}, {sheet.encoding}{text}"]
    lines += [f"  {sentence}" for sentence in sheet.laid_out]
    for column in sheet.columns:
        low, high = float(column.values.min()), float(column.values.max())
        channel = f" {column.channel}" if column.channel else ""
        lines.append(f'  {column.role}{channel} in {column.unit}, from "{column.header}": {low:.6g} to {high:.6g}')
    for reading in sheet.readings:
        at = ", ".join(
            f"{key} {entry:g}" if isinstance(entry, float) else f"{key} {entry}" for key, entry in reading.at.items()
        )
        channel = f" {reading.channel}" if reading.channel else ""
        name = reading.name.replace("_", " ")
        lines.append(f"  {name}{channel}: {reading.value:.6g} {reading.unit}".rstrip() + (f" ({at})" if at else ""))
    lines += [f"  line {skipped.line} skipped: {skipped.why}" for skipped in sheet.skipped]
    lines += [f"  {warning}" for warning in sheet.warnings]
    return lines


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
