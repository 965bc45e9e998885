"""The keys of session.toml are those of the model, and pydantic reads them: strictly, and with every fault."""

import os
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest
from session_texts import KINDS, UNIT, faults_of

from reviewkit.ingest.session.session_file import TABLES, parse_session
from reviewkit.ingest.session.session_schema import marks_of, schema_of
from reviewkit.model.units import EXAMPLES

CHECKOUT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("table", TABLES)
def test_a_key_is_a_field_without_its_unit(table):
    """Names end in the units that values are converted to, in small letters: `_hz`, `_ohm`, `_percent`."""
    units = {{"Ω": "ohm", "%": "percent"}.get(unit, unit.lower()) for unit in EXAMPLES}
    names = marks_of(TABLES[table])
    keys = [name.rpartition("_")[0] if name.rpartition("_")[2] in units else name for name in names]
    assert list(schema_of(TABLES[table]).examples()) == keys
    assert len(set(keys)) == len(keys)
    assert set(names) <= {field.name for field in fields(TABLES[table])}


def test_the_name_of_a_field_is_no_key(tmp_path):
    assert faults_of(f'{UNIT}[bench]\nload_ohm = "8 ohm"\n', tmp_path) == [
        'session.toml:5: [bench] load_ohm: unknown key; did you mean "load"?'
    ]
    assert faults_of(f"{UNIT}[bench]\nline = 3\n", tmp_path)[0].startswith("session.toml:5: [bench] line: unknown key;")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[bench]\nequipment = ["a", 1]', "[bench] equipment: 1 is not text; write it in quotation marks"),
        ("[[rated]]\nquantity = 'power'\nat_least = '40 W'\ntotal = 1", "total = 1 must be true or"),
        ("[episode]\nwords_per_minute = '150'", 'words_per_minute = "150" is text; write the number without'),
        ("[episode]\nwords_per_minute = true", "words_per_minute = true is not a number; write for example 150"),
        ("[unit.year]\n", "[unit] year = {} is not a whole number; write for example 1977"),
        ("[price]\nfair = 1e300", "[price] fair = 1e+300 is more than 1000000000000; write for example 329.00"),
    ],
)
def test_no_value_is_turned_into_another_type(text, message, tmp_path):
    assert any(message in fault for fault in faults_of(f"{UNIT}{text}\n", tmp_path))


def test_every_fault_of_a_list_and_of_braces_is_reported(folder):
    text = (
        f'{UNIT}[[rated]]\nquantity = "flatness"\nwithin = "1 dB"\nband = ["a", 5]\n'
        '[[measurement]]\nkind = "source-impedance"\nloads = ["open", "8"]\n'
        'volts = { L = ["1 V", 2], R = "3 V", X = [] }\n'
    )
    assert [fault.partition(": ")[2].partition(": ")[2] for fault in faults_of(text, folder)] == [
        'band: "a" is not a number with a unit; write for example "1 kHz"',
        'band: 5 has no unit; write "5 Hz"',
        'loads: "8" has no unit; write "8 ohm", or "open"',
        'volts.L: 2 has no unit; write "2 V"',
        'volts.R = "3 V" is not a list; write for example volts = { L = ["12.71 V", "12.46 V"] }',
        'volts: "X" is not a channel; write for example volts = { L = ["12.71 V", "12.46 V"] }',
        'volts.X = [] has too few values; write for example volts = { L = ["12.71 V", "12.46 V"] }',
    ]


def test_a_faulty_key_hides_no_fault_between_keys(folder):
    """What is read of the rest is compared all the same."""
    text = f'{UNIT}[[measurement]]\nkind = "tone"\nfile = "measurements/tone.csv"\nhold = 8\nagainst = "tune"\n'
    assert [fault.split(" ")[3] for fault in faults_of(text, folder)] == ["hold", "against"]


@pytest.mark.parametrize("limit", ['at_most = "1 %"', 'at_most = "0,05 %"', "within = 3"])
def test_a_limit_that_the_quantity_does_not_take_is_one_fault(limit, tmp_path):
    faults = faults_of(f'{UNIT}[[rated]]\nquantity = "power"\nat_least = "40 W"\n{limit}\n', tmp_path)
    assert len(faults) == 1
    assert f"{limit.split(' ')[0]} = " in faults[0]
    assert "does not go with power, which takes at_least" in faults[0]


def test_plugins_of_pydantic_are_not_looked_for(tmp_path):
    """They are found through the packages that are installed, and looking at all of these takes a while."""
    program = (
        "import importlib.metadata, pathlib\n"
        "def refuse(**of): raise AssertionError(of)\n"
        "importlib.metadata.entry_points = refuse\n"
        "from reviewkit.ingest.session.session_file import parse_session\n"
        f"print(parse_session({UNIT!r}, pathlib.Path(), kinds={{}}).unit.name)"
    )
    environment = {name: value for name, value in os.environ.items() if name != "PYDANTIC_DISABLE_PLUGINS"}
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=CHECKOUT, env=environment, capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stdout) == (0, "Norrvale Forty\n"), ran.stderr


def test_a_table_that_is_not_there_is_not_asked_for_its_keys(tmp_path):
    assert parse_session(UNIT, tmp_path, kinds=KINDS).price is None
