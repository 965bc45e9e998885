"""Files of single readings: each value into its quantity's unit, its conditions by key, and one bad file per mistake.

0 dBV is 1 V, 0 dBu is √0.6 V (common practice, no source).
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.ingest.reading_file import BY_METER, parse_readings, read_readings
from reviewkit.model.errors import InputError
from reviewkit.model.quantities import QUANTITIES
from reviewkit.model.sheet import SingleReading, Skipped

HEADER = "name,channel,value,unit,at,note\n"


def reading_of(line, header=HEADER):
    (reading,) = parse_readings(header + line + "\n", "r.csv").readings
    return reading


def faults_of(text):
    with pytest.raises(InputError) as raised:
        parse_readings(text, "r.csv")
    return [str(fault) for fault in raised.value.faults]


def fault_of(line, header=HEADER):
    (fault,) = faults_of(header + line + "\n")
    assert fault.startswith("r.csv:2: ")
    return fault


def test_a_full_row():
    line = 'Input sensitivity,L,148,mV,"1 kHz; 40 W into 8 ohm, aux input, both channels","at clip, ""by ear"""'
    assert reading_of(line) == SingleReading(
        name="input_sensitivity",
        channel="L",
        value=0.148,
        unit="V",
        at={"frequency": 1000.0, "power": 40.0, "load": 8.0, "input": "aux", "channels": "both"},
        note='at clip, "by ear"',
        line=2,
        step=0.001,
        written="mV",
    )


def test_only_name_and_value():
    assert reading_of("damping factor,93", "name,value\n") == SingleReading(
        "damping_factor", "", 93.0, "", {}, line=2, step=1.0
    )


def test_the_sheet():
    """No columns; comments and blank lines are passed over, lines are the file's own."""
    sheet = parse_readings(f"# by meter\n{HEADER}\n# cold\nbias,L,22,mV\n,,,,,\nbias,R,21,mV\n", "measurements/r.csv")
    assert (sheet.source, sheet.columns, sheet.rows, sheet.decimal) == ("measurements/r.csv", (), 2, ".")
    assert [(r.channel, r.value, r.line) for r in sheet.readings] == [("L", 0.022, 5), ("R", 0.021, 7)]


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("DC offset", "dc_offset"),
        ("dc_offset", "dc_offset"),
        ("DC  Offset", "dc_offset"),
        ("dc-offset", "dc_offset"),
        ("Phono Overload", "phono_overload"),
        ("output impedance", "source_impedance"),  # a trade word
        ("rail voltage", "rail_voltage"),  # near to "hum voltage", but another word
        ("Line Voltage", "line_voltage"),
        ("bias 2", "bias_2"),
        ("bias cold", "bias_cold"),
        ("power at clipping", "power_at_clipping"),
        ("+B", "+b"),
        ("Netzstörung", "netzstörung"),
    ],
)
def test_names(written, name):
    unit = {"source_impedance": "ohm", "phono_overload": "mV"}.get(name, "V")
    assert reading_of(f"{written},,1,{unit},,").name == name


@pytest.mark.parametrize(
    ("written", "channel"), [("L", "L"), ("r", "R"), ("left", "L"), ("RIGHT", "R"), ("both", "both"), ("", "")]
)
def test_channels(written, channel):
    assert reading_of(f"bias,{written},22,mV,,").channel == channel


@pytest.mark.parametrize(
    ("name", "value", "unit", "quantity", "held", "base"),
    [
        ("dc offset", "12", "mV", "dc_offset", 0.012, "V"),
        ("dc offset", "12 mV", "", "dc_offset", 0.012, "V"),
        ("dc offset", "12mV", "V", "dc_offset", 0.012, "V"),  # its own unit comes before the row's
        ("dc offset", "\u221212", "mV", "dc_offset", -0.012, "V"),
        ("input sensitivity", "-20", "dBV", "input_sensitivity", 0.1, "V"),
        ("input sensitivity", "0", "dBu", "input_sensitivity", math.sqrt(0.6), "V"),
        ("noise", "80", "\u03bcV", "noise", 80e-6, "V"),
        ("hum", "0.6", "mV", "hum_voltage", 0.0006, "V"),
        ("hum", "-80", "dBV", "hum_voltage", 1e-4, "V"),
        ("hum", "-72", "dB", "hum", -72.0, "dB"),
        ("thd", "300", "ppm", "thd", 0.03, "%"),
        ("rise time", "4", "us", "rise_time", 4e-6, "s"),
        ("corner high", "62", "kHz", "corner_high", 62_000.0, "Hz"),
        ("source impedance", "150", "mohm", "source_impedance", 0.15, "Ω"),
        ("power", "250", "mW", "power", 0.25, "W"),
        ("gain", "-1.5e1", "dB", "gain", -15.0, "dB"),
        # names of the user's own keep what they are, without a prefix
        ("bias current", "30", "mA", "bias_current", 0.03, "A"),
        ("heat sink", "61", "degC", "heat_sink", 61.0, "°C"),
        ("rail", "43.2", "V", "rail", 43.2, "V"),
        ("main capacitor", "9800", "uF", "main_capacitor", 0.0098, "F"),
        ("output of the tuner", "-6", "dBV", "output_of_the_tuner", -6.0, "dBV"),
        ("turns", "5", "", "turns", 5.0, ""),
    ],
)
def test_units(name, value, unit, quantity, held, base):
    reading = reading_of(f"{name},,{value},{unit},,")
    assert (reading.name, reading.unit) == (quantity, base)
    assert reading.value == pytest.approx(held, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "at"),
    [
        ("", {}),
        ("1 kHz", {"frequency": 1000.0}),
        ("at 1 kHz", {"frequency": 1000.0}),
        ("1kHz; 5 W; 8 ohm; 2.83 V; 1 %", {"frequency": 1e3, "power": 5.0, "load": 8.0, "voltage": 2.83, "limit": 1.0}),
        ("40 W into 8 Ω", {"power": 40.0, "load": 8.0}),
        ("40 W into 8 \u2126 at 1 kHz", {"power": 40.0, "load": 8.0, "frequency": 1000.0}),
        ("8 ohm load", {"load": 8.0}),
        ("1 % THD", {"limit": 1.0, "figure": "THD"}),
        ("at 0.5 % THD+N", {"limit": 0.5, "figure": "THD+N"}),
        ("re 40 W", {"reference": 40.0}),
        ("20 Hz – 20 kHz", {"band": [20.0, 20_000.0]}),
        ("20 Hz to 20 kHz", {"band": [20.0, 20_000.0]}),
        ("7 kHz + 60 Hz", {"tones": [60.0, 7000.0]}),
        ("A-weighted", {"weighting": "A"}),
        ("a weighted", {"weighting": "A"}),
        ("A weighting, unweighted", {"weighting": "A"}),
        ("both channels", {"channels": "both"}),
        ("one channel driven", {"channels": "one"}),
        ("phono input", {"input": "phono"}),
        ("input phono", {"input": "phono"}),
        ("FM", {"input": "FM"}),
        ("FM input", {"input": "FM"}),
        ("am, 400 Hz", {"input": "AM", "frequency": 400.0}),
        ("FM stereo, 65 dBf", {"input": "FM", "conditions": {"mode": "stereo"}, "dbf": 65.0}),
        ("FM 98 MHz", {"input": "FM", "frequency": 98e6}),
        ("FM, alternate channel", {"input": "FM", "setting": "alternate channel"}),
        ("AM 30 %", {"setting": "AM 30 %"}),  # a modulation
        ("FM muting on", {"setting": "FM muting on"}),
        ("cold", {"setting": "cold"}),
        ("cold, no loudspeaker connected", {"setting": "cold, no loudspeaker connected"}),
        ("120 V mains", {"setting": "120 V mains"}),  # no test level
        ("after 30 min; 61 degC", {"setting": "after 30 min, 61 degC"}),
        ("volume at 12 o'clock", {"setting": "volume at 12 o'clock"}),
    ],
)
def test_conditions(written, at):
    assert reading_of(f'rail,,1,V,"{written}",').at == at


@pytest.mark.parametrize(
    ("written", "name", "called", "input_"),
    [
        ("FM capture ratio", "capture_ratio", "capture ratio", "FM"),
        ("FM image rejection", "image_response_ratio", "image response ratio", "FM"),
        ("AM_image_rejection", "image_response_ratio", "image response ratio", "AM"),
        ("FM stereo separation", "separation", "", "FM"),
        ("fm S/N", "snr", "", "FM"),
        ("FM sensitivity", "usable_sensitivity", "", "FM"),
        ("AM suppression", "am_suppression", "AM suppression", None),  # of FM
        ("AM sensitivity", "am_sensitivity", "AM sensitivity", None),
        ("FM lamp voltage", "fm_lamp_voltage", "FM lamp voltage", None),
    ],
)
def test_a_known_name_may_begin_with_the_half_of_a_receiver(written, name, called, input_):
    reading = reading_of(f"{written},,1,{'dB' if called != 'FM lamp voltage' else 'V'},,")
    assert (reading.name, reading.called, reading.at.get("input")) == (name, called, input_)


def test_a_power_at_a_distortion_is_the_power_at_that_limit():
    reading = reading_of('power,L,43,W,"1 % THD, 1 kHz, 8 ohm",')
    assert (reading.name, reading.value) == ("power_at_limit", 43.0)
    assert reading.at == {"limit": 1.0, "figure": "THD", "frequency": 1000.0, "load": 8.0}
    assert reading_of("power,L,43,W,1 kHz,").name == "power"


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas(separator):
    text = "name;value;unit;at\nDC offset;1,5;mV;1,5 kHz, cold\n".replace(";", separator)
    sheet = parse_readings(text, "r.csv")
    assert sheet.readings[0].value == pytest.approx(0.0015)
    assert sheet.readings[0].at == {"frequency": 1500.0, "setting": "cold"}
    assert sheet.decimal == ","


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_encodings(tmp_path, encoding, ends):
    text = f"{HEADER}dc offset,L,80,µV,,für später\n".replace("\n", ends)
    path = tmp_path / "r.csv"
    path.write_bytes(text.encode(encoding))
    reading = read_readings(path, "r.csv").readings[0]
    assert reading.value == pytest.approx(80e-6)
    assert reading.note == "für später"


@pytest.mark.parametrize("cell", ["", "--", "NaN", "nan", "OL", "inf", "-inf", "\u2013", "\u2014"])
def test_what_is_no_reading_is_skipped_and_listed(cell):
    sheet = parse_readings(f"{HEADER}bias,L,22,mV,,\nbias,R,{cell},mV,,dead\n", "r.csv")
    assert [r.channel for r in sheet.readings] == ["L"]
    said = f'value "{cell}"' if cell else "value blank"
    assert sheet.skipped == (Skipped(3, f"bias: {said}, no reading"),)


def test_the_same_reading_twice_is_kept_once():
    assert len(parse_readings(f"{HEADER}bias,L,22,mV,,\nbias,left,0.022,V,,\n", "r.csv").readings) == 1
    both = parse_readings(f"{HEADER}bias,L,22,mV,cold,\nbias,L,24,mV,warm,\n", "r.csv")
    assert [r.value for r in both.readings] == [0.022, 0.024]


def test_two_values_of_one_reading():
    (fault,) = faults_of(f"{HEADER}bias,L,22,mV,,\nbias,R,22,mV,,\nbias,L,24,mV,,later\n")
    assert fault == (
        "r.csv:4: bias: has another reading in line 2 under the same conditions; keep one, or say in the column at "
        "what differs, for example: cold, warm; positive, negative"
    )


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("inptu sensitivity,,150,mV,,", 'inptu sensitivity: is not a quantity; did you mean "input sensitivity"?'),
        ("gian,,30,dB,,", 'did you mean "gain"?'),
        ("DC ofset,,30,mV,,", 'did you mean "dc offset"?'),
        ("ouput impedance,,1,ohm,,", 'did you mean "output impedance"?'),
        ("DC offset left,,30,mV,,", 'the channel is part of the name; write "dc offset", and L as its channel'),
        ("response,,1,dB,,", "is not a single reading: it is worked out from a curve or a capture"),
        ("separation,,-60,dB,,", "a separation is written without its sign"),
        ("worst distortion,,1,%,,", "is not a single reading"),
        (",,12,mV,,", "the row does not say what was read; write a name, for example DC offset"),
        ("12,,12,mV,,", "the row does not say what was read"),
        ("x" * 61 + ",,1,V,,", "longer than 60 characters"),
        ("bias,Q,22,mV,,", 'channel "Q" is not known; write L, R or both, or leave it blank'),
        ("bias,,high,mV,,", 'value "high" is not a reading; write a number such as 0.38, or -- where there is none'),
        ('bias,,"0,38",V,,', 'value "0,38" has a comma between digits; write 0.38'),
        ("bias,,22,,,", 'value "22" has no unit; write one into the column unit, for example V'),
        ("bias,,22,mX,,", 'the unit "mX" is not known; write for example V, mV, ohm, dB or mA'),
        ("rail,,22,mX,,", 'the unit "mX" is not known'),
        (
            "bias,,30,mA,,",
            "is in mA where V is needed; write for example 2.83 V, or give the reading a name of its own",
        ),
        ("thd,,-80,dB,,", "is in dB where % is needed; write for example 0.05 %"),
        ("hum,,1,%,,", "is in % where dB is needed"),
        ("damping factor,,93,ohm,,", "is a bare number, here it has the unit Ω; leave the unit blank"),
        ("bias,,22 mV,W,,", 'value "22 mV" is in mV where the row is in W; write one unit'),
        ("hum,,72,dB,,", "is above 0 dB; hum is below what it is relative to, write -72"),
        ("power,,-40,W,,", 'value "-40" is negative; write it without the sign'),
        ('bias,,22,mV,"1,5 kHz",', 'at "1,5 kHz" has a comma between digits; write 1.5 kHz'),
        ("bias,,22,mV,0 W,", 'at "0 W" is not above zero; write for example 40 W, or in words: idle'),
        ('thd,,0.1,%,"1 kHz, 2 kHz",', 'at "2 kHz" is a second frequency; write one of them'),
    ],
)
def test_one_mistake(line, message):
    assert message in fault_of(line)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("nmae,value\nbias,1\n", 'r.csv:1: unknown column "nmae"; did you mean "name"?'),
        ("name,channel\nbias,L\n", "r.csv:1: there is no column called value; write a header: name,channel,value"),
        ("name,value,value\nbias,1,2\n", 'r.csv:1: the column "value" appears twice; keep one'),
        ("name,,value\nbias,,2\n", "r.csv:1: column 2 has no name; known: name, channel"),
        ("", "r.csv: the file is empty; begin with a header: name,channel,value,unit,at,note"),
        (HEADER, "r.csv: there is no reading in the file; write one a row"),
        (f"{HEADER}bias,L,--,mV,,\n", "r.csv: there is no reading in the file"),
        ("name,value\nbias,1,V\n", "r.csv:2: 3 cells under a header of 2"),
        (f'{HEADER}bias,L,1,V,"cold,\n', "r.csv:2: quotation marks are not paired"),
        (f"{HEADER}bias,L,1,V,\x00,\n", "r.csv:2: binary content"),
    ],
)
def test_one_mistake_in_the_file(tmp_path, text, message):
    (tmp_path / "r.csv").write_bytes(text.encode())
    with pytest.raises(InputError) as raised:
        read_readings(tmp_path / "r.csv", "r.csv")
    said = [str(fault) for fault in raised.value.faults]
    assert any(fault.startswith(message) for fault in said)


def test_all_mistakes_at_once_in_the_files_order():
    said = faults_of(f"{HEADER}gian,,1,dB,,\nbias,Q,22,mV,,\nrail,,22,mX,,\nok,,1,V,,\nok,,2,V,,\nbias,,22,,,\n")
    assert [fault.split(":")[1] for fault in said] == ["2", "3", "4", "6", "7"]


def test_what_no_meter_gives_is_no_reading():
    for name in set(QUANTITIES) - set(BY_METER):
        assert "is not a single reading" in fault_of(f"{name},,1,V,,")


@given(st.lists(st.text(st.characters(codec="utf-8"), max_size=12), min_size=6, max_size=6))
def test_any_row_is_read_or_told(cells):
    """Never anything but a sheet of numbers or faults that name the file."""
    row = ",".join('"' + cell.replace('"', '""') + '"' for cell in cells)
    faults, readings = (), ()
    try:
        readings = parse_readings(HEADER + row + "\n", "r.csv").readings
    except InputError as error:
        faults = error.faults
    assert bool(faults) != bool(readings)
    assert all(str(fault).startswith("r.csv") for fault in faults)
    assert all(math.isfinite(r.value) for r in readings)
