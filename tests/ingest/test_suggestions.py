"""Every line that a message suggests for session.toml, pasted there: it is accepted, and it leads on."""

from __future__ import annotations

import itertools
import re
import tomllib

import pytest
from odd_files import CASES

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


def suggested(message: str) -> list[tuple[str, dict]]:
    return [(name, tomllib.loads(f"{name} = {table}")[name]) for name, table in _LINE.findall(message)]


def alternatives(message: str) -> list[dict]:
    """What one may paste for this message: each line alone, or both of a pair joined by "and"."""
    lines = suggested(message)
    if " and units = " in message:
        return [dict(lines)]
    return [{name: table} for name, table in lines]


@pytest.mark.parametrize("name", list(FILES)[:: max(1, len(FILES) // 1500)])
def test_a_suggested_line_leads_on(name):
    data, told = FILES[name]
    ways: list[tuple[dict, list[str], int]] = [(told, read(data, told), 0)]
    while ways:
        told, faults, pasted = ways.pop()
        for fault in faults:
            for line in alternatives(fault):
                assert pasted < _MOST_PASTED, (faults, told)
                more = {**told, **line}
                left = read(data, more)
                assert fault not in left, (line, left)
                for refused in left:
                    assert not _NOT_ACCEPTED.search(refused), (line, refused, faults)
                if len(faults) == 1:
                    ways.append((more, left, pasted + 1))


def test_there_are_many_suggestions():
    count = sum(len(suggested(fault)) for data, told in FILES.values() for fault in read(data, told))
    assert count > 1000
