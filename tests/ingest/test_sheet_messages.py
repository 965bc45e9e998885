"""What is said about a file that cannot be read: where, what is there, what to write instead."""

from __future__ import annotations

from sheet_texts import HEADED, ROWS, message, read

MESSAGES = {
    "empty": (b"", {}, "m/x.csv: the file is empty; export the measurement again"),
    "blank": (b" \n\n\t\n", {}, "m/x.csv: the file is empty; export the measurement again"),
    "no rows": (HEADED, {}, "m/x.csv:1: no row holds two numbers or more"),
    "one column": ("Level (dBV)\n1\n2\n", {}, "m/x.csv:2: no row holds two numbers or more"),
    "binary": (b"Frequency (Hz),Level (dBV)\n20,\x01\x02\n", {}, "m/x.csv:2: binary content (character 1)"),
    "zero bytes": (b"20,1\n30,\x00\n", {}, "m/x.csv:2: binary content (character 0)"),
    "workbook": (
        b"PK\x03\x04rest",
        {},
        'm/x.csv:1: the file is a spreadsheet workbook; open it in a spreadsheet program and save it as "CSV"',
    ),
    "capture": (b"RIFF1234WAVE", {}, "m/x.csv:1: the file is a WAV capture; name it with the ending .wav"),
    "broken UTF-16": ((HEADED + ROWS).encode("utf-16")[:-1], {}, "m/x.csv:4: the text breaks off inside a character"),
    "no known encoding": (b"Frequency (Hz),Level (dBV)\n20,\x81\n", {}, "m/x.csv:2: binary content, or an encoding"),
    "text in a cell": (
        HEADED + "20,1\n30,high\n40,1\n",
        {},
        'm/x.csv:3: "high" in column 2 (Level (dBV)) is not a number; write the number alone, or "--" for none',
    ),
    "unit in a cell": (HEADED + "20,1\n1k,1\n", {}, 'm/x.csv:3: "1k" in column 1 (Frequency (Hz)) is not a number'),
    "underscore in a cell": (HEADED + "20,1\n1_000,1\n", {}, 'm/x.csv:3: "1_000" in column 1'),
    "too large": (HEADED + "20,1\n30,1e999\n", {}, 'm/x.csv:3: "1e999" in column 2'),
    "no digit group begins with zero": (
        "Frequency (Hz);Level (dBV)\n20;0.5\n30;0,012\n40;0.5\n",
        {},
        'm/x.csv:3: "0,012" in column 2 (Level (dBV)) is not a number',
    ),
    "text in the first row": (HEADED + "20,high\n30,1\n40,1\n", {}, 'm/x.csv:2: "high" in column 2'),
    "footer": (
        HEADED + ROWS + "End of data\n",
        {},
        'm/x.csv:5: "End of data" is not a row of readings; begin the line with #',
    ),
    "a cell too many": (HEADED + "20,1\n30,1,2\n40,1\n", {}, "m/x.csv:3: this row has 3 cells where 2 are needed"),
    "a cell too few": (
        "Frequency (Hz),Left (V),Right (V)\n20,1,2\n30,1\n40,1,2\n",
        {},
        "m/x.csv:3: this row has 2 cells where 3 are needed",
    ),
    "a name too few": (
        "Frequency (Hz),Level (dBV)\n20,1,2\n30,1,2\n",
        {},
        "m/x.csv:1: the header names 2 columns and the rows have 3 cells",
    ),
    "comma as both": (
        "Frequency (Hz),Level (dBV)\n20,0,-1,5\n30,0,-1,6\n",
        {},
        "the comma looks like both separator and decimal mark",
    ),
    "decimal or thousands": (
        "Frequency (Hz);Level (dBV)\n20;1,500\n30;1,600\n",
        {},
        'm/x.csv:2: "1,500" may mean 1.500 or 1500, and no other cell tells which; export without marks between',
    ),
    "negative frequency": (HEADED + "-20,1\n20,1\n30,1\n", {}, "m/x.csv:2: −20 Hz is a negative frequency"),
    "frequency goes back": (
        HEADED + "20,1\n5000,1\n4900,1\n6000,1\n",
        {},
        "m/x.csv:4: frequency goes back from 5 kHz to 4.9 kHz; export one sweep per file",
    ),
    "goes back by little": (
        HEADED + "20,1\n5000,1\n4999.9,1\n6000,1\n",
        {},
        "m/x.csv:4: frequency goes back from 5 kHz to 4.9999 kHz",
    ),
    "falling sweep goes back": (
        HEADED + "6000,1\n4900,1\n5000,1\n20,1\n",
        {},
        "m/x.csv:4: frequency goes back from 4.9 kHz to 5 kHz",
    ),
    "two sweeps": (HEADED + ROWS + ROWS, {}, "m/x.csv:5: frequency goes back from 20 kHz to 20 Hz"),
    "time goes back": (
        "Time (s),V\n0,1\n0.002,1\n0.001,1\n0.003,1\n",
        {},
        "m/x.csv:4: time goes back from 2 ms to 1 ms",
    ),
    "one frequency, two values": (
        HEADED + "20,1\n1000,2\n1000,3\n",
        {},
        "m/x.csv:4: 1 kHz is in lines 3 and 4 with different values",
    ),
    "no header": (
        ROWS,
        {},
        "m/x.csv:1: the file has no header; write under its [[measurement]] "
        "in session.toml which column is which and in what "
        'unit, for example columns = { frequency = 1, level = 2 } and units = { frequency = "Hz", level = "dBV" }',
    ),
    "no unit for the first": (
        "Frequency,Level (dBV)\n" + ROWS,
        {},
        'm/x.csv:1: no unit is given for "Frequency"; write under its '
        '[[measurement]] in session.toml units = { frequency = "Hz" '
        '} (or "kHz", whichever the file is in) (header: Frequency,Level (dBV))',
    ),
    # a channel's name alone may stand over levels or over distortion
    "no unit for a channel": (
        "Frequency (Hz),Left\n" + ROWS,
        {},
        'units = { left = "dBV" } (or "V", or "%" if it is distortion, whichever',
    ),
    "no unit for a level": (
        "Frequency (Hz),Level left\n" + ROWS,
        {},
        'units = { left = "dBV" } (or "V", whichever',
    ),
    "no unit for distortion": (
        "Frequency (Hz),THD\n" + ROWS,
        {},
        'units = { distortion = "%" } (or "dB", or "ratio", whichever',
    ),
    "a ratio that is a name": ("Frequency (Hz),THD+N Ratio\n" + ROWS, {}, 'no unit is given for "THD+N Ratio"'),
    "no unit for time": ("Time,Left (V)\n0,1\n1,2\n", {}, 'units = { time = "s" } (or "ms", whichever'),
    "no unit, one told": (
        "Frequency,Level\n" + ROWS,
        {"units": {"level": "dBV"}},
        'units = { level = "dBV", frequency = "Hz" }',
    ),
    "dBV or dBv": ("Frequency (Hz),Level DBV\n" + ROWS, {}, 'no unit is given for "Level DBV"'),
    "unknown unit": (
        "Frequency (Hz),Level [dBX]\n" + ROWS,
        {},
        'm/x.csv:1: the unit "dBX" of "Level [dBX]" is not known; write under '
        "its [[measurement]] in session.toml the one that "
        'the file is in, for example units = { level = "dBV" } (header: Frequency (Hz),Level [dBX])',
    ),
    "dBv, which is dBu": ("Frequency (Hz),Level (dBv)\n" + ROWS, {}, 'the unit "dBv" of "Level (dBv)" is not known'),
    "US, hardly microseconds": ("Time (US),V\n1,2\n2,3\n", {}, 'the unit "US" of "Time (US)" is not known'),
    "millihertz or megahertz": ("Frequency (mHz),V\n1,2\n2,3\n", {}, 'the unit "mHz" of "Frequency (mHz)" is not'),
    "megawatts": ("Power (MW),THD (%)\n1,2\n2,3\n", {}, 'the unit "MW" of "Power (MW)" is not known'),
    "volts per hertz": ("Frequency (Hz),V/Hz\n" + ROWS, {}, 'the unit "V/Hz" of "V/Hz" is not known'),
    "unknown unit in the units row": ("Frequency,Level\nHz,dBX\n" + ROWS, {}, 'the unit "dBX" of "Level" is not known'),
    "two units": (
        "Frequency (Hz),Level (dBV)\nkHz,dBV\n" + ROWS,
        {},
        '"Frequency (Hz)" says one unit and the row under it another, "kHz"; '
        "write under its [[measurement]] in session.toml "
        'which it is, for example units = { frequency = "Hz" }',
    ),
    "a unit of another role": (
        "Frequency (dB),Level (dBV)\n" + ROWS,
        {},
        '"Frequency (dB)" is read as frequency, and dB is not a unit',
    ),
    "strange words": (
        "alpha,beta\n" + ROWS,
        {},
        'm/x.csv:1: column 1 "alpha" and column 2 "beta" cannot be identified from '
        "the header; write under its [[measurement]] in "
        "session.toml which columns to read, for example columns = { frequency = 1, left = 2 } (header: alpha,beta)",
    ),
    "a spelling of one program": (
        "Frequency (Hz),TD+N L (%),TD+N R (%)\n20,1,2\n30,1,2\n",
        {},
        'm/x.csv:1: column 2 "TD+N L (%)" and column 3 "TD+N R (%)" cannot be identified from the header; write under '
        "its [[measurement]] in session.toml which columns to read, for example "
        "columns = { frequency = 1, left = 2, right = 3 }",
    ),
    "the same in one word": ("Frequency (Hz),TDN (%)\n20,1\n30,1\n", {}, 'column 2 "TDN (%)" cannot be identified'),
    "a column of anything beside the level": (
        "Frequency (Hz),Left (dBV),Mystery (dB)\n20,1,2\n30,1,2\n",
        {},
        'column 3 "Mystery (dB)" cannot be identified from the header',
    ),
    "two channels in one name": (
        "Frequency (Hz),Left/Right (dBV)\n" + ROWS,
        {},
        'column 2 "Left/Right (dBV)" cannot be identified',
    ),
    "the same twice": (
        "Frequency (Hz),Left (dBV),L (dBu)\n20,1,2\n30,1,2\n",
        {},
        'm/x.csv:1: "Left (dBV)" (column 2) and "L (dBu)" (column 3) are both '
        "level L; write under its [[measurement]] in "
        "session.toml which to read, for example columns = { left = 2 }",
    ),
    "two pairs": (
        "Hz,THD L (%),THD+N L (%),THD R (%),THD+N R (%)\n20,1,2,3,4\n30,1,2,3,4\n",
        {},
        "are both distortion R; write under its [[measurement]] in session.toml which to read, for example "
        "columns = { left = 2, right = 4 }",
    ),
    "two scales": (
        "Frequency (Hz),Left (dBV),Frequency (Hz),Right (dBV)\n20,1,20,2\n30,1,31,2\n",
        {},
        "m/x.csv:3: columns 1 and 3 are both frequency and differ here: 30 Hz and 31 Hz; export the channels over the "
        "same scale or each to its own file, or name the one to read: columns = { frequency = 1 }",
    ),
    "a column without a name": (
        ",Frequency (Hz),Level (dBV)\n7,20,1\n3,30,2\n",
        {},
        "column 1 cannot be identified from the header; write under its [[measurement]] in session.toml which columns "
        "to read, for example columns = { frequency = 2, level = 3 }",
    ),
    "one time, two values": (
        "Time (s),V\n0.00,1\n0.00,2\n0.01,3\n",
        {},
        "m/x.csv:3: 0 s is in lines 2 and 3 with different values",
    ),
    "two levels, no channel": (
        "Frequency (Hz),Level (dBV),Gain (dB)\n20,1,2\n30,1,2\n",
        {},
        "for example columns = { left = 2, right = 3 }",
    ),
    "nothing to draw over": ("Left (V),Right (V)\n1,2\n3,4\n", {}, "no column is a time, a frequency or a power"),
    "unknown key of columns": (
        HEADED + ROWS,
        {"columns": {"lefft": 2}},
        'm/x.csv:1: columns names "lefft", which is not a kind of column; did you mean "left"?',
    ),
    "unknown key of units": (
        HEADED + ROWS,
        {"units": {"frequncy": "Hz"}},
        'units names "frequncy", which is not a kind of column',
    ),
    "header text not there": (
        HEADED + ROWS,
        {"columns": {"left": "Ch 1"}},
        'm/x.csv:1: columns: left = "Ch 1" is not in the header; write it as '
        "it is there, or give the column's number, from "
        "1 (header: Frequency (Hz),Level (dBV))",
    ),
    "header text twice": (
        "Hz,a,a\n20,1,2\n30,1,2\n",
        {"columns": {"left": "a"}},
        'left = "a" is the header of 2 columns; give the column\'s number',
    ),
    "header text without header": (
        ROWS,
        {"columns": {"left": "a"}},
        'left = "a" cannot be found in a file without a header',
    ),
    "number not there": (
        HEADED + ROWS,
        {"columns": {"left": 3}},
        "left = 3 is not a column of this file; it has 2, counted from 1",
    ),
    "one column for two": (
        HEADED + ROWS,
        {"columns": {"left": 2, "right": 2}},
        "columns gives column 2 to both left and right",
    ),
    "unknown unit in units": (
        HEADED + ROWS,
        {"units": {"frequency": "kiloherz"}},
        'units: frequency = "kiloherz" is not a known unit; write for example "Hz" or "kHz"',
    ),
    "a unit for no column": (
        HEADED + ROWS,
        {"units": {"right": "dBV"}},
        "units: right has no column that takes this unit",
    ),
}


def test_messages():
    for name in MESSAGES:
        text, told, expected = MESSAGES[name]
        assert expected in message(text, **told), name


def test_what_the_message_proposes_is_read():
    text = "Frequency (Hz),TD+N L (%),TD+N R (%)\n20,1,2\n30,3,4\n"
    sheet = read(text, columns={"frequency": 1, "left": 2, "right": 3})
    assert [(column.role, column.channel) for column in sheet.columns[1:]] == [("distortion", "L"), ("distortion", "R")]
    assert sheet.columns[2].values.tolist() == [2, 4]


def test_all_faults_are_told_by_line():
    told = message(HEADED + "20,x\n30,1\n40,y\n35,1\n34,1\n50,1,2\n").splitlines()
    assert [line.split(":")[1] for line in told] == ["2", "4", "6", "7"]
