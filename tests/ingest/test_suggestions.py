"""Every line that a message suggests for session.toml, pasted there, and every cell, put into the file: it leads on."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import pytest
from odd_files import CASES
from remedies import unseen

from reviewkit.ingest.sheet import (
    sheet_columns,
    sheet_file,
    sheet_header,
    sheet_layout,
    sheet_order,
    sheet_remedies,
    sheet_rows,
    sheet_text,
)
from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.model.errors import InputError

_LINE = re.compile(r"\b(columns|units) = (\{[^{}]*\})")
_NOT_ACCEPTED = re.compile(r"m/x.csv:\d+: (columns|units)(:| names| gives)")
_MOST_PASTED = 4

ROWS = {2: "20,1\n40,2\n60,3\n", 3: "20,1,4\n40,2,5\n60,3,6\n", 4: "20,1,4,7\n40,2,5,8\n60,3,6,9\n"}
NAMES = (
    "Frequency (Hz)", "Frequency", "Hz", "Time (s)", "Time", "Left", "Right", "L (V)", "CH1", "CH2", "Level", "dB",
    "THD", "THD (%)", "THD (dB)", "Vpp (V)", "Peak voltage (V)", "Generator level (V)", "Total power (W)", "Power",
    "Power (dBm)", "IMD (%)", "SINAD (dB)", "Noise (dBV)", "Mystery", "Mystery (%)", "Level (dBQ)", "Z", "Level (Vpp)",
    "Crosstalk", "L>R", "Index", "Phase", "", "Output (W)", "Gain (dBv)", "Left, Right",
)  # fmt: skip


def _files() -> dict[str, tuple[bytes, dict]]:
    files = {case.id: (case.data, dict(case.told)) for case in CASES if case.messages}
    for width in (2, 3):
        for names in itertools.permutations(NAMES, width) if width == 2 else _triples():
            text = ",".join(f'"{name}"' for name in names) + "\n" + ROWS[width]
            files[text.splitlines()[0]] = (text.encode(), {})
    files["no header, two columns"] = (ROWS[2].encode(), {})
    files["no header, three columns"] = (ROWS[3].encode(), {})
    pairs = "Frequency (Hz),dB,Frequency (Hz),dB\n20,-1,20,-4\n40,-2,40,-5\n60,-3,60,-6\n"
    files["pairs"] = (pairs.encode(), {})
    files["two units"] = (b"Frequency (Hz),Level (V)\nkHz,dBV\n20,1\n40,2\n", {})
    return files


def _triples():
    """Every third name with two others, so that each stands in each place."""
    count = len(NAMES)
    for first, (second, third) in itertools.product(range(count), ((5, 11), (7, 3), (13, 2), (1, 6))):
        yield NAMES[first], NAMES[(first + second) % count], NAMES[(first + third) % count]
        yield "Frequency (Hz)", NAMES[first], NAMES[(first + second) % count]
        yield NAMES[(first + third) % count], NAMES[first], "Right (dBV)"


FILES = _files()


def read(data: bytes, told: dict) -> list[str]:
    """What is wrong with a file."""
    try:
        parse_sheet(data, "m/x.csv", **told)
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return []


@cache
def faults_of_file(name: str) -> list[str]:
    return read(*FILES[name])


def suggested(message: str) -> list[tuple[str, dict]]:
    return [(name, tomllib.loads(f"{name} = {table}")[name]) for name, table in _LINE.findall(message)]


def alternatives(message: str) -> list[dict]:
    """What one may paste for this message: each line alone, or both of a pair joined by "and"."""
    lines = suggested(message)
    if " and units = " in message:
        return [dict(lines)]
    return [{name: table} for name, table in lines]


def failure(name: str) -> str:
    """What is wrong with what one may paste for a file, step by step; "" if every line leads on."""
    data, told = FILES[name]
    ways: list[tuple[dict, list[str], int]] = [(told, faults_of_file(name), 0)]
    while ways:
        told, faults, pasted = ways.pop()
        for fault in faults:
            for line in alternatives(fault):
                if pasted >= _MOST_PASTED:
                    return f"{name}: {pasted} lines pasted, and still {faults}, {told}"
                more = {**told, **line}
                left = read(data, more)
                if fault in left:
                    return f"{name}: {line} pasted, and still {left}"
                for refused in left:
                    if _NOT_ACCEPTED.search(refused):
                        return f"{name}: {line} pasted for {faults}, and refused: {refused}"
                if len(faults) == 1:
                    ways.append((more, left, pasted + 1))
    return ""


# as a test each, they would take longer to report than to read
@pytest.mark.parametrize("part", [0, 1, *(pytest.param(part, marks=pytest.mark.long) for part in (2, 3))])
def test_a_suggested_line_leads_on(part):
    names = list(FILES)[:: max(1, len(FILES) // 1500)][part::4]
    assert len(names) > 400
    failures = [found for found in map(failure, names) if found]
    assert not failures, "\n".join(failures)


def faults_of_files() -> list[str]:
    return [fault for name in FILES for fault in faults_of_file(name)]


def test_there_are_many_suggestions():
    count = sum(len(suggested(fault)) for fault in faults_of_files())
    assert count > 1000


# ------------------------------------------------------------------ what is in the file, or in its columns and units

Told = dict[str, Any]
Change = Callable[[str, Told, int, re.Match[str]], Iterator[tuple[str, Told]]]
_HEAD, _ROWS = "Frequency (Hz),Level (dBV)\n", "20,1\n40,2\n60,3\n"


def _rows(first: int, last: int) -> str:
    """Enough rows for one of them to be without a reading."""
    return "".join(f"{number},1\n" for number in range(first, last))


def _in_row(*texts: str) -> Change:
    """Each of these in the place of the message's first group, in its line."""

    def change(text: str, told: Told, line: int, said: re.Match[str]) -> Iterator[tuple[str, Told]]:
        rows = text.split("\n")
        for new in texts:
            assert new in said[0] or new in ("", "# "), (new, said[0])
            row = re.sub(
                rf"(?<![\d.]){re.escape(said[1])}(?![\d.])", new + (said[1] if new == "# " else ""), rows[line - 1]
            )
            assert row != rows[line - 1]
            yield "\n".join([*rows[: line - 1], row, *rows[line:]]), told

    return change


def _told(table: str, key: int, *values: int, as_name: bool = False) -> Change:
    """Each of these groups of the message as the value of a key of `columns` or `units`, or as the key's name."""

    def change(text: str, told: Told, line: int, said: re.Match[str]) -> Iterator[tuple[str, Told]]:
        for value in values:
            if as_name:
                renamed = {said[value] if name == said[key] else name: each for name, each in told[table].items()}
                yield text, {**told, table: renamed}
            else:
                yield text, {**told, table: {**told[table], said[key]: said[value]}}

    return change


def _as_in_the_header(text: str, told: Told, line: int, said: re.Match[str]) -> Iterator[tuple[str, Told]]:
    for place, name in enumerate(said[2].split(","), 1):
        yield text, {**told, "columns": {**told["columns"], said[1]: name}}
        yield text, {**told, "columns": {**told["columns"], said[1]: place}}


CHANGES: dict[str, Change] = {
    r'"([^"]*)" in column .* is not a number; write the number alone, or "--" for none$': _in_row("--"),
    r'([\d.e+-]+) in column .* is too large to be a reading; write "--" where there is none': _in_row("--"),
    r"([\d.e+-]+) in column .* is too small to be a reading; write 0 for nothing": _in_row("0"),
    r'−?([\d.]+) in column .* cannot be a [\w ]+; write "--" where none was read': _in_row("--"),
    r'"([^"]*)" is not a row of readings; begin the line with # or delete it': _in_row("# ", ""),
    r'columns names "(\w+)", which is not a kind of column; did you mean "(\w+)"': _told("columns", 1, 2, as_name=True),
    r'units names "(\w+)", which is not a kind of column; did you mean "(\w+)"': _told("units", 1, 2, as_name=True),
    r'units: (\w+) = "[^"]*" is not a known unit; write for example "([^"]*)" or "([^"]*)"$': _told("units", 1, 2, 3),
    r"columns: (\w+) = .* is not in the header; write it as it is there, .* \(header: (.*)\)$": _as_in_the_header,
    r"units: (\w+) has no column that takes this unit; delete it from units": lambda text, told, line, said: iter(
        [(text, {**told, "units": {name: unit for name, unit in told["units"].items() if name != said[1]}})]
    ),
}
IN_FILES: dict[str, tuple[str, Told]] = {
    "a word in a cell": (f"{_HEAD}{_rows(20, 40)}40,high\n", {}),
    "a value beyond all readings": (f"{_HEAD}{_rows(20, 40)}60,5000\n", {}),
    "a value nearer to nothing than any reading": (f"Frequency (Hz),Level (V)\n{_rows(20, 40)}80,1e-80\n", {}),
    "a negative power": (f"Power (W),THD (%)\n-1,1\n{_rows(1, 20)}", {}),
    "a negative distortion": (f"Power (W),THD (%)\n{_rows(1, 20)}20,-1\n", {}),
    "a negative impedance": (f"Frequency (Hz),Z (ohm)\n{_rows(1, 20)}20,-1\n", {}),
    "distortion in dB, called percent": ("Frequency (Hz),THD left (%)\n20,-80\n40,-81\n60,-82\n", {}),
    "a footer": (f"{_HEAD}{_ROWS}End of data\n", {}),
    "columns misspelt": (_HEAD + _ROWS, {"columns": {"lefft": 2}}),
    "units misspelt": (_HEAD + _ROWS, {"units": {"frequncy": "Hz"}}),
    "a unit misspelt": (_HEAD + _ROWS, {"units": {"frequency": "kiloherz"}}),
    "a column that isn't there": (_HEAD + _ROWS, {"columns": {"level": "Ch 1"}}),
    "a unit of no column": (_HEAD + _ROWS, {"units": {"right": "dBV"}}),
    "a unit unknown, and what it is of": (f"Frequency (Hz),Wobble (dBX)\n{_ROWS}", {}),
    "one level for three columns": ("Frequency (Hz),a,b\n20,1,2\n30,1,2\n", {"columns": {"level": "c"}}),
}
IN_WORDS = re.compile("export |, or export|name the one to read|counted from 1|give each its own|keep one of the rows")
SEEN: list[str] = []


def changed(text: str, told: Told, fault: str) -> Iterator[tuple[str, Told]]:
    """The file or what is said of it with each alternative that a message names."""
    place = re.match(r"m/x\.csv:(\d+): ", fault)
    assert place, fault
    for pattern, change in CHANGES.items():
        if said := re.search(pattern, fault[place.end() :]):
            yield from change(text, told, int(place[1]), said)
            return
    for line in alternatives(fault):
        yield text, {**told, **line}


@pytest.mark.parametrize("name", IN_FILES)
def test_what_is_suggested_for_a_file_leads_on(name):
    text, told = IN_FILES[name]
    ways, tried = [(text, told, 0, "")], 0
    while ways:
        text, told, count, came = ways.pop()
        faults = read(text.encode(), told)
        SEEN.extend(faults)
        assert came not in faults, (text, told)
        assert count <= _MOST_PASTED
        if faults:
            more = [(*each, count + 1, faults[0]) for each in changed(text, told, faults[0])]
            assert more or IN_WORDS.search(faults[0]), faults[0]
            ways += more
            tried += len(more)
    assert tried


def test_every_suggestion_was_pasted():
    if len(SEEN) < len(IN_FILES):
        pytest.skip("the cases above were not run")
    messages = [*SEEN, *faults_of_files()]
    modules = (
        sheet_columns, sheet_file, sheet_header, sheet_layout, sheet_order, sheet_remedies, sheet_rows,
        sheet_text,
    )  # fmt: skip
    assert unseen(modules, messages) == [
        # a warning, and what is said of a file that can't be opened
        'levels in dBFS need the voltage of full scale; add for example full_scale = "10 V"',
        "this isn't a file; write the name of an export",
        ".*; write the file's name as it is in the session folder",
        # of a comma for both: the remedy is another export
        ": the comma looks like both separator and decimal mark",
    ]
