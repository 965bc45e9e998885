"""The mistakes one makes in [[measurement]], each with the message that the user sees."""

import os

import pytest
from session_texts import KINDS, UNIT, faults_of

from reviewkit.ingest.session.session_file import parse_session

MEASUREMENT = '[[measurement]]\nfile = "measurements/tone.csv"\nkind = "tone"\n'

MISTAKES = {
    # after [unit] in lines 1 to 3: what stands from line 4 on, and the whole message
    '[[measurement]]\nkind = "tone"\nfile = "measurements/tine.csv"': (
        'session.toml:6: [[measurement]] tine: file = "measurements/tine.csv": there is no such file; '
        'did you mean "measurements/tone.csv"?'
    ),
    '[[measurement]]\nkind = "tone"\nfile = "/etc/hostname"': (
        'session.toml:6: [[measurement]] hostname: file = "/etc/hostname" does not start in the session\'s folder; '
        "copy the file there and write its path from there"
    ),
    '[[measurement]]\nkind = "tone"\nfile = "C:/tone.csv"': (
        'session.toml:6: [[measurement]] tone: file = "C:/tone.csv" does not start in the session\'s folder; '
        "copy the file there and write its path from there"
    ),
    '[[measurement]]\nkind = "tone"\nfile = "measurements/../../tone.csv"': (
        'session.toml:6: [[measurement]] tone: file = "measurements/../../tone.csv" leads outside '
        "the session's folder; copy the file into it"
    ),
    '[[measurement]]\nkind = "tone"\nfile = "measurements\\tone.csv"': (
        'session.toml:6: [[measurement]] measurements one.csv: file = "measurements\\u0009one.csv" holds a backslash '
        "or a line break; write / between the parts of a path"
    ),
    '[[measurement]]\nkind = "tone"\nfile = "measurements"': (
        'session.toml:6: [[measurement]] measurements: file = "measurements" is a folder; name a file in it'
    ),
    '[[measurement]]\nkind = "tone"': (
        'session.toml:4: [[measurement]] tone: has no file; write for example file = "measurements/response.csv"'
    ),
    '[[measurement]]\nfile = "measurements/tone.csv"\nkind = "crostalk"': (
        'session.toml:6: [[measurement]] tone: kind = "crostalk" is not known; did you mean "crosstalk"?'
    ),
    MEASUREMENT + 'drive = "5"': (
        'session.toml:7: [[measurement]] tone: drive = "5" has no unit; write for example "4 W" or "2.83 V"'
    ),
    MEASUREMENT + 'load = "open"\ndrive = "5 W"': (
        'session.toml:8: [[measurement]] tone: drive = "5 W" is a power, but the load is open; '
        'write a voltage, for example "6.3 V"'
    ),
    MEASUREMENT + "frequency = 1000": (
        'session.toml:7: [[measurement]] tone: frequency = 1000 has no unit; write "1000 Hz"'
    ),
    MEASUREMENT + 'driven = "left"': (
        'session.toml:7: [[measurement]] tone: driven = "left" is not known; write "L" or "R"'
    ),
    MEASUREMENT + 'against = "tune"': (
        'session.toml:7: [[measurement]] tone: against = "tune" is the id of no measurement; '
        "there is no other measurement; leave it out"
    ),
    MEASUREMENT + 'against = "tone"': (
        'session.toml:7: [[measurement]] tone: against = "tone" is this measurement itself; '
        "name the one to compare it with"
    ),
    MEASUREMENT + "columns = { freqency = 1 }": (
        'session.toml:7: [[measurement]] tone: columns: "freqency" is not a column; did you mean "frequency"?'
    ),
    MEASUREMENT + "columns = { left = 0 }": (
        "session.toml:7: [[measurement]] tone: columns.left = 0 is not a column; columns are numbered from 1"
    ),
    MEASUREMENT + 'units = { left = "furlong" }': (
        'session.toml:7: [[measurement]] tone: units.left = "furlong" is not a known unit; '
        'write for example "kHz", "dBV" or "%"'
    ),
    MEASUREMENT + 'id = "Table"': (
        'session.toml:7: [[measurement]] Table: id = "Table": "Table" is the name of another card; '
        'write id = "my-Table"'
    ),
    MEASUREMENT + 'id = "table-2"': (
        'session.toml:7: [[measurement]] table-2: id = "table-2": "table-2" is the name of another card; '
        'write id = "my-table-2"'
    ),
    MEASUREMENT + 'card = "closing"': (
        'session.toml:7: [[measurement]] tone: card = "closing": "closing" is the name of another card; '
        'write card = "my-closing"'
    ),
    MEASUREMENT + 'id = "tone, 5 W"': (
        'session.toml:7: [[measurement]] tone, 5 W: id = "tone, 5 W": "tone, 5 W" is not a file name that is safe '
        'everywhere: only letters a to z, digits, - _ and ., at most 80; write id = "tone-5-W"'
    ),
    MEASUREMENT + MEASUREMENT: (
        'session.toml:8: [[measurement]] tone: has the id "tone" of the measurement in line 4; write id = "tone-2"'
    ),
    MEASUREMENT + 'stage = "after"\n' + MEASUREMENT + 'id = "t2"': (
        'session.toml:8: [[measurement]] t2: has no stage, but the measurement in line 4 is "after" a repair; '
        'write stage = "before", "after" or "bench", or leave stage out everywhere where nothing was repaired'
    ),
    MEASUREMENT + 'loads = ["open", "8 ohm"]\nvolts = { L = ["2 V", "1 V"] }': (
        "session.toml:5: [[measurement]] tone: has a file and the voltages of a two-load reading; leave one of them out"
    ),
    '[[measurement]]\nkind = "source-impedance"\nloads = ["open", "8 ohm"]': (
        "session.toml:6: [[measurement]] source-impedance: has loads but no voltages; "
        'write volts = { L = ["12.71 V", "12.46 V"] }'
    ),
    '[[measurement]]\nkind = "source-impedance"\nvolts = { L = ["2 V", "1 V"] }': (
        'session.toml:6: [[measurement]] source-impedance: has volts but no loads; write loads = ["open", "8 ohm"]'
    ),
    '[[measurement]]\nkind = "source-impedance"\nloads = ["open", "8 ohm"]\nvolts = { L = ["2 V"] }': (
        "session.toml:7: [[measurement]] source-impedance: volts.L: 1 voltage for 2 loads; "
        "write one for each, in the same order"
    ),
    '[[measurement]]\nkind = "source-impedance"\nloads = ["open", "8 ohm"]\nvolts = { X = ["2 V", "1 V"] }': (
        'session.toml:7: [[measurement]] source-impedance: volts: "X" is not a channel; '
        'write for example volts = { L = ["12.71 V", "12.46 V"] }'
    ),
    '[[measurement]]\nkind = "source-impedance"\nloads = ["8 ohm", "8 Ω"]\nvolts = { L = ["2 V", "1 V"] }': (
        'session.toml:6: [[measurement]] source-impedance: loads = ["8 ohm", "8 Ω"] names a load twice; '
        'write different ones: ["open", "8 ohm"]'
    ),
}


@pytest.mark.parametrize("text", MISTAKES, ids=lambda text: " ".join(text.split())[:70])
def test_one_mistake_gives_one_message(text, folder):
    assert faults_of(f"{UNIT}{text}\n", folder) == [MISTAKES[text]]


def test_two_measurements_without_file_need_ids(folder):
    reading = '[[measurement]]\nkind = "source-impedance"\nloads = ["open", "8 ohm"]\nvolts = { L = ["2 V", "1 V"] }\n'
    assert faults_of(UNIT + reading + reading, folder) == [
        "session.toml:4: [[measurement]] source-impedance: has no file to take a name from; "
        'write id = "source-impedance-1"',
        "session.toml:8: [[measurement]] source-impedance: has no file to take a name from; "
        'write id = "source-impedance-2"',
    ]


def test_a_link_that_leads_outside_is_refused(folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("elsewhere") / "tone.csv"
    outside.write_text("x", encoding="utf-8")
    (folder / "measurements" / "link.csv").symlink_to(outside)
    text = UNIT + '[[measurement]]\nkind = "tone"\nfile = "measurements/link.csv"\n'
    assert faults_of(text, folder) == [
        'session.toml:6: [[measurement]] link: file = "measurements/link.csv" leads outside the session\'s folder; '
        "copy the file into it"
    ]


def test_a_link_inside_the_folder_is_followed(folder):
    (folder / "measurements" / "link.csv").symlink_to(folder / "measurements" / "tone.csv")
    text = UNIT + '[[measurement]]\nkind = "tone"\nfile = "measurements/link.csv"\n'
    assert parse_session(text, folder, kinds=KINDS).measurements[0].id == "link"


def test_a_loop_of_links_is_a_fault_and_no_traceback(folder):
    (folder / "a.csv").symlink_to(folder / "b.csv")
    (folder / "b.csv").symlink_to(folder / "a.csv")
    faults = faults_of(UNIT + '[[measurement]]\nkind = "tone"\nfile = "a.csv"\n', folder)
    assert len(faults) == 1
    assert faults[0].startswith('session.toml:6: [[measurement]] a.csv: file = "a.csv"')


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_no_measurement(folder):
    os.mkfifo(folder / "pipe.csv")
    faults = faults_of(UNIT + '[[measurement]]\nkind = "tone"\nfile = "pipe.csv"\n', folder)
    assert len(faults) == 1
    assert "is not an ordinary file but a pipe, a device or a socket; write the path of a file" in faults[0]
