"""Delimited text → Sheet: roles, channels and units, rows left out, what the session file says, the JSON of `read`.

The numbers expected are written out by hand, in the unit that the file is converted to (SI prefixes; one percent is
10⁴ ppm, and a ratio of 0.01).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from sheet_texts import HEADED, RESPONSE, ROWS, message, read, seen

from reviewkit.ingest.sheet.sheet_file import as_json, parse_sheet, read_export
from reviewkit.model.errors import InputError
from reviewkit.model.units import normalised, scaled

STEREO = [
    ("frequency", "", "Hz", [20, 1000]),
    ("level", "L", "dBV", [-1.5, 0]),
    ("level", "R", "dBV", [-1.25, 0.5]),
]
# ------------------------------------------------------------------ roles, channels, units


@pytest.mark.parametrize(
    "header",
    [
        "Frequency (Hz),Left (dBV),Right (dBV)",
        "Frequency (Hz),L (dBV),R (dBV)",
        "Frequency (Hz),Level L (dBV),Level R (dBV)",
        "Hz,dBV L,dBV R",
        "Freq_Hz,Left_dBV,Right_dBV",
        "Frequency (Hz),Ch1 (dBV),Ch2 (dBV)",
        "Frequency (Hz),Channel 1 [dBV],Channel 2 [dBV]",
        "Frequency (Hz),Ch. 1 dBV,Ch. 2 dBV",
        "Frequency (Hz),Ch A (dBV),Ch B (dBV)",
        "Frequency (Hz),Left channel (dBV),Right channel (dBV)",
        "Frequency (Hz),Gain (L) (dBV),Gain (R) (dBV)",
        "Frequency,Left,Right\nHz,dBV,dBV",
        ",Left,Right\nFrequency (Hz),Level (dBV),Level (dBV)",
        ",Left,Right\nFrequency,Level,Level\nHz,dBV,dBV",
    ],
)
def test_channels(header):
    assert seen(read(header + "\n20,-1.5,-1.25\n1000,0,0.5\n")) == STEREO


@pytest.mark.parametrize(
    "header",
    [
        "Frequency (Hz),Left (dBV),Frequency (Hz),Right (dBV)",
        "Ch1 X (Hz),Ch1 Y (dBV),Ch2 X (Hz),Ch2 Y (dBV)",
        "Left,,Right,\nFrequency (Hz),Level (dBV),Frequency (Hz),Level (dBV)",
    ],
)
def test_a_scale_for_each_channel(header):
    assert seen(read(header + "\n20,-1.5,20,-1.25\n1000,0,1000.0,0.5\n")) == STEREO


def test_a_scale_for_each_channel_in_two_units():
    sheet = read("Frequency (Hz),Left (dBV),Frequency (kHz),Right (dBV)\n20,-1.5,0.02,-1.25\n1000,0,1,0.5\n")
    assert seen(sheet) == STEREO


def test_a_channel_row_goes_on_over_blank_cells():
    sheet = read(",Left,,Right,\nPower (W),Level (V),THD (%),Level (V),THD (%)\n1,2,0.1,3,0.2\n2,3,0.3,4,0.4\n")
    assert [(c.role, c.channel) for c in sheet.columns] == [
        ("power", ""),
        ("level", "L"),
        ("distortion", "L"),
        ("level", "R"),
        ("distortion", "R"),
    ]


@pytest.mark.parametrize(
    ("header", "role", "channel", "unit", "value"),
    [
        ("THD+N L, %", "distortion", "L", "%", 0.5),
        ("THD (%)", "distortion", "", "%", 0.5),
        ("THDN R [%]", "distortion", "R", "%", 0.5),
        ("Distortion (ppm)", "distortion", "", "%", 0.00005),
        ("THD [ratio]", "distortion", "", "%", 50.0),
        ("Left (%)", "distortion", "L", "%", 0.5),
        ("Left (ohm)", "impedance", "L", "Ω", 0.5),
        ("Z/mΩ", "impedance", "", "Ω", 0.0005),
        ("Output impedance (k\u2126)", "impedance", "", "Ω", 500.0),
        ("Left (mV)", "level", "L", "V", 0.0005),
        ("Level (\u03bcV)", "level", "", "V", 5e-07),
        ("Level (\u00b5V)", "level", "", "V", 5e-07),
        ("Amplitude (uV)", "level", "", "V", 5e-07),
        ("Gain (dB)", "level", "", "dB", 0.5),
        ("Magnitude [dBr]", "level", "", "dBr", 0.5),
        ("Output (dBu)", "level", "", "dBu", 0.5),
        ("Voltage (V rms)", "level", "", "V", 0.5),
        ("Level (dBm 600 Ω)", "level", "", "dBm", 0.5),
        ("Frequency response (dB)", "level", "", "dB", 0.5),
        ("Power (mW)", "power", "", "W", 0.0005),
        ("Output (W)", "power", "", "W", 0.5),
        ("Power (dBW)", "level", "", "dBW", 0.5),
        ("L to R (dB)", "level", "L>R", "dB", 0.5),
        ("R>L (dB)", "level", "R>L", "dB", 0.5),
        ("L→R dB", "level", "L>R", "dB", 0.5),
        ("Crosstalk R -> L (dBV)", "level", "R>L", "dBV", 0.5),
        ("left into right (dB)", "level", "L>R", "dB", 0.5),
        ("right_to_left_dB", "level", "R>L", "dB", 0.5),
    ],
)
def test_header_words(header, role, channel, unit, value):
    column = read(f"Frequency (Hz);{header}\n20;0.5\n40;0.5\n").columns[1]
    assert (column.role, column.channel, column.unit) == (role, channel, unit)
    assert column.values.tolist() == [value, value]
    assert column.header == normalised(header)


@pytest.mark.parametrize(
    ("header", "values"),
    [
        ("Time (s)", [0.1, 0.3]),
        ("t/ms", [0.0001, 0.0003]),
        ("Time [µs]", [0.1 / 10**6, 0.3 / 10**6]),
        ("sec", [0.1, 0.3]),
    ],
)
def test_time(header, values):
    sheet = read(f"{header},Left (V),Right (V)\n0.1,1,2\n0.3,3,4\n")
    assert seen(sheet) == [("time", "", "s", values), ("level", "L", "V", [1, 3]), ("level", "R", "V", [2, 4])]


def test_time_may_begin_before_zero():
    assert read("Time (s),V\n-0.5,1\n0,2\n0.5,3\n").columns[0].values.tolist() == [-0.5, 0, 0.5]


def test_conversion_rounds_once_like_a_value_written_by_hand():
    sheet = read("Time (ms),V\n" + "".join(f"{n / 10},1\n" for n in range(1, 400)))
    assert sheet.columns[0].values.tolist() == [scaled(n / 10, 1e-3) for n in range(1, 400)]
    assert sheet.columns[0].values[0] == 0.0001


def test_arrays_are_read_only_float64():
    for column in read(HEADED + ROWS).columns:
        assert column.values.dtype == np.float64
        assert column.values.shape == (3,)
        with pytest.raises(ValueError):
            column.values[0] = 1.0


def test_a_power_sweep_may_go_back_near_clipping():
    sheet = read("Power (W),THD L (%),THD R (%)\n40,0.1,0.1\n43.5,1,1.1\n43.1,3,3.2\n")
    assert sheet.columns[0].values.tolist() == [40, 43.5, 43.1]


def test_a_falling_power_sweep_is_turned():
    sheet = read("Power (W),THD+N (%)\n40,0.1\n10,0.02\n1,0.05\n")
    assert seen(sheet) == [("power", "", "W", [1, 10, 40]), ("distortion", "", "%", [0.05, 0.02, 0.1])]


def test_volts_for_power():
    sheet = read("Output (V);THD (%)\n1,5;0,02\n2,5;0,01\n")
    assert seen(sheet) == [("level", "", "V", [1.5, 2.5]), ("distortion", "", "%", [0.02, 0.01])]


def test_dbfs_stays_and_asks_for_full_scale():
    text = "Frequency (Hz),Level (dBFS)\n20,-3\n30,-4\n"
    asked = read(text)
    assert asked.columns[1].unit == "dBFS"
    assert any('full_scale = "10 V"' in warning for warning in asked.warnings)
    told = read(text, full_scale_v=10.0)
    assert told.columns[1].values.tolist() == [-3, -4]
    assert told.warnings == ()


# ------------------------------------------------------------------ rows left out


@pytest.mark.parametrize(
    "cell", ["", "--", "-", "---", "NaN", "nan", "OL", "-OL", "inf", "-inf", "+INF", "∞", "1.#INF", "—"]
)
def test_a_missing_reading_drops_its_row(cell):
    rows = [f"{n}0,{n}" for n in range(1, 12)]
    sheet = read(
        "\n".join(
            [
                "Frequency (Hz),Level (dBV),Left (%)",
                *(f"{row},1" for row in rows[:4]),
                f"45,{cell},1",
                *(f"{row},1" for row in rows[4:]),
            ]
        )
    )
    assert sheet.columns[0].values.tolist() == [10.0 * n for n in range(1, 12)]
    assert sheet.columns[1].values.tolist() == list(range(1, 12))
    assert [row.line for row in sheet.skipped] == [6]
    assert "column 2 (Level (dBV))" in sheet.skipped[0].why
    assert "blank" in sheet.skipped[0].why if cell == "" else '"' in sheet.skipped[0].why


@pytest.mark.parametrize("first", ["--,1", "10,OL"])
def test_a_missing_reading_in_the_first_row_is_no_header(first):
    sheet = read(HEADED + first + "\n" + "".join(f"{n}0,{n}\n" for n in range(2, 13)))
    assert [row.line for row in sheet.skipped] == [2]
    assert sheet.rows == 11


def test_a_blank_last_cell_with_its_separator_is_a_missing_reading():
    sheet = read("Frequency (Hz),Left (V),Right (V)\n" + "".join(f"{n}0,1,2\n" for n in range(1, 12)) + "125,1,\n")
    assert [row.line for row in sheet.skipped] == [13]


def test_a_tenth_may_be_missing_and_no_more():
    rows = [f"{n},1" for n in range(1, 21)]
    good = [*rows[:2], "3,--", "4,--", *rows[4:]]
    assert read(HEADED + "\n".join(good)).rows == 18
    bad = [*good[:4], "5,NaN", *good[5:]]
    assert message(HEADED + "\n".join(bad)) == (
        "m/x.csv:4: 3 of 20 rows hold no reading, more than a tenth (here: "
        'column 2 (Level (dBV)) has "--"); measure or '
        "export again, or delete a column that is not needed"
    )


def test_the_row_at_zero_of_a_spectrum_is_left_out():
    sheet = read("Frequency (Hz),Level (dBV)\n0,-80\n0.7,-90\n1.5,-91\n2.2,-92\n2.9,-93\n")
    assert sheet.columns[0].values.tolist() == [0.7, 1.5, 2.2, 2.9]
    assert [(row.line, row.why) for row in sheet.skipped] == [(2, "a spectrum's row at 0 Hz")]


def test_a_spectrum_with_a_gap_is_still_one():
    lines = [f"{n * 2.9296875:.4f},-{n}" for n in range(60) if n != 30]
    sheet = read("Frequency (Hz),Level (dBV)\n" + "\n".join(lines))
    assert sheet.rows == 58
    assert sheet.skipped[0].line == 2


@pytest.mark.parametrize(
    "frequencies",
    [(0, 20, 25, 31.5, 40, 50, 63, 80), (0, 10, 20, 50, 100, 200, 500), (0, 1000), (0, 20, 200, 2000, 20000)],
)
def test_zero_in_a_sweep(frequencies):
    told = message(HEADED + "".join(f"{f},1\n" for f in frequencies))
    assert told == "m/x.csv:2: 0 Hz in a sweep; delete the row, or begin the sweep above zero"


def test_the_same_row_twice_is_left_out():
    sheet = read(HEADED + "20,1\n20,1\n30,2\n30,2\n30,2\n")
    assert sheet.columns[0].values.tolist() == [20, 30]
    assert [(row.line, row.why) for row in sheet.skipped] == [
        (3, "the same as line 2"),
        (5, "the same as line 4"),
        (6, "the same as line 5"),
    ]


def test_very_many_repeated_rows_are_counted():
    sheet = read(HEADED + "20,1\n" * 1301 + "30,2\n")
    assert sheet.columns[0].values.tolist() == [20, 30]
    assert len(sheet.skipped) == 1001
    assert (sheet.skipped[-1].line, sheet.skipped[-1].why) == (1302, "and 300 rows before it likewise")


def test_steps_of_which_a_third_are_missing_are_no_spectrum():
    kept = [n for n in range(60) if n % 3 != 2]
    told = message(HEADED + "".join(f"{n * 2.5},1\n" for n in kept))
    assert told == "m/x.csv:2: 0 Hz in a sweep; delete the row, or begin the sweep above zero"


def test_a_repeated_header_is_passed_over_and_told():
    sheet = read("Frequency,Level\nHz,dBV\n20,-1.5\nFrequency,Level\nHz,dBV\n1000,0\n20000,-0.5\n")
    assert seen(sheet) == RESPONSE
    assert sheet.warnings == ("line 4: the header again, skipped",)


# ------------------------------------------------------------------ what the session file says


@pytest.mark.parametrize(
    ("text", "columns", "units"),
    [
        (
            "20,-1.5,-1.25\n1000,0,0.5\n",
            {"frequency": 1, "left": 2, "right": 3},
            {"frequency": "Hz", "left": "dBV", "right": "dBV"},
        ),
        (
            "f,a,b\n20,-1.5,-1.25\n1000,0,0.5\n",
            {"frequency": "f", "left": "a", "right": "b"},
            {"frequency": "Hz", "left": "dBV", "right": "dBV"},
        ),
        ("Frequency,Left,Right\n0.02,-1.5,-1.25\n1,0,0.5\n", {}, {"frequency": "kHz", "left": "dBV", "right": "dBV"}),
        ("Frequency (Hz),one (dBV),two (dBV)\n20,-1.5,-1.25\n1000,0,0.5\n", {"left": "one (dBV)", "right": 3}, {}),
        ("Frequency (Hz),one (dBV),two (dBV)\n20,-1.5,-1.25\n1000,0,0.5\n", {"left": "ONE (dBV)", "right": 3}, {}),
        ("Frequency (Hz),Right (dBV),Left (dBV)\n20,-1.5,-1.25\n1000,0,0.5\n", {"left": 2, "right": 3}, {}),
        ("Frequency (Hz),Left [dBX],Right [dBX]\n20,-1.5,-1.25\n1000,0,0.5\n", {}, {"left": "dBV", "right": "dBV"}),
        (
            "Frequency (Hz),\u03bcone (dBV),two (dBV)\n20,-1.5,-1.25\n1000,0,0.5\n",
            {"left": "\u03bcone (dBV)", "right": "two  (dBV)"},
            {},
        ),
        (
            "Frequency (Hz),Left (dBV),Limit (dB),Right (dBV)\n20,-1.5,9,-1.25\n1000,0,9,0.5\n",
            {"frequency": 1, "left": 2, "right": 4},
            {},
        ),
        ("Frequency (Hz),Left (dBV),Right (dBV),Left (dBV)\n20,-1.5,-1.25,9\n1000,0,0.5,9\n", {"left": 2}, {}),
        ("Frequency (Hz),Left (dBV),Right (dBV)\n0.02,-1.5,-1.25\n1,0,0.5\n", {}, {"frequency": "kHz"}),
    ],
)
def test_columns_and_units(text, columns, units):
    assert seen(read(text, columns=columns, units=units)) == STEREO


def test_crosstalk_columns_by_name():
    sheet = read(
        "Frequency (Hz),one (dB),two (dB)\n20,-60,-61\n30,-62,-63\n",
        columns={"left into right": "one (dB)", "right into left": 3},
    )
    assert [(c.role, c.channel) for c in sheet.columns] == [("frequency", ""), ("level", "L>R"), ("level", "R>L")]


def test_a_unit_for_the_left_level_leaves_the_left_distortion_alone():
    sheet = read("Frequency (Hz),Level L,THD L\n20,1,0.1\n30,1,0.2\n", units={"left": "dBV", "distortion": "%"})
    assert [(c.role, c.unit) for c in sheet.columns[1:]] == [("level", "dBV"), ("distortion", "%")]


def test_units_against_the_header_are_told():
    sheet = read("Frequency (Hz),Level (dBV)\n1,0\n2,0\n", units={"frequency": "kHz"})
    assert sheet.columns[0].values.tolist() == [1000, 2000]
    assert sheet.warnings == ('"Frequency (Hz)" is read in kHz, as units says, despite its header',)


def test_columns_left_out_are_told():
    sheet = read("Frequency (Hz),Level (dBV),Phase (deg)\n20,1,2\n30,1,2\n")
    assert sheet.warnings == ('"Phase (deg)" is not used',)


# ------------------------------------------------------------------ files, JSON


def test_a_file_is_read_and_a_missing_one_told(tmp_path: Path):
    path = tmp_path / "x.csv"
    path.write_bytes((HEADED + ROWS).encode())
    sheet = parse_sheet(read_export(path, "m/x.csv"), "m/x.csv", units={"frequency": "kHz"})
    assert sheet.columns[0].values.tolist() == [20e3, 1e6, 2e7]
    with pytest.raises(InputError, match=r"m/y\.csv: No such file"):
        read_export(tmp_path / "y.csv", "m/y.csv")


def test_json_has_the_shape_that_read_prints():
    rows = "".join(f"{n}0;{n},5;\r\n" for n in range(1, 12))
    printed = as_json(read("Frequency;Left\r\nkHz;dBV\r\n" + rows + "125;OL\r\n"))
    assert json.loads(json.dumps(printed, allow_nan=False)) == {
        "columns": [
            {"role": "frequency", "channel": "", "unit": "Hz", "values": [n * 10000.0 for n in range(1, 12)]},
            {"role": "level", "channel": "L", "unit": "dBV", "values": [n + 0.5 for n in range(1, 12)]},
        ],
        "rows": 11,
        "encoding": "utf-8",
        "separator": ";",
        "decimal": ",",
        "skipped": [{"line": 14, "why": 'column 2 (Left) has "OL"'}],
        "warnings": [],
    }
