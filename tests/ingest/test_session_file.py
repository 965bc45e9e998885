"""session.toml: the whole of it read, and one bad file per mistake with the message that the user sees."""

import math
import os
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reviewkit.errors import InputError
from reviewkit.ingest.session_file import parse_session, read_session
from reviewkit.model import Bench, EpisodeSettings, PriceTag, Rating, Unit

KINDS = ("tone", "response", "contour", "crosstalk", "source-impedance", "phono")

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'

WHOLE = """\
[unit]
maker = "Norrvale"
model = "Forty"
what  = "integrated amplifier"
year  = 1977
mains = "120 V 60 Hz"

[price]
paid = 329.00
currency = "USD"
index = "prices.csv"
to = 2024
fair = 180

[bench]
input = "aux"
load = "8 ohm"
channels = "both"
mains = "118 V 60 Hz"
coupling = "dc"
equipment = ["two 8 ohm 100 W dummy loads", "a two-channel 24-bit capture interface"]
level_uncertainty = "0.1 dB"
distortion_floor = "8 ppm"

[[rated]]
quantity = "power"
at_least = "40 W"
load = "8 Ω"
thd = "0.05 %"
band = ["20 Hz", "20 kHz"]
channels = "both"
rule = "continuous"
source = "owner's manual, page 12"

[[rated]]
quantity = "S/N"
at_least = "92 dB"
weighting = "a"
reference = "50 mW"
input = "phono"

[[measurement]]
file = "measurements/tone.csv"
kind = "tone"
drive = "5 W"
frequency = "1 kHz"
input_level = "150 mV"
window = "hann"
stage = "before"
hold = "8 s"
columns = { frequency = 1, left = "Ch 1", "left into right" = 3 }
units = { frequency = "kHz", left = "dBV" }

[[measurement]]
file = "measurements/loudness.wav"
id = "loudness-on"
kind = "contour"
card = "loudness"
against = "tone"
setting = "loudness on, volume at nine o'clock"
drive = "2 V"
load = "4 ohm"
input = "phono"
channels = "one"
full_scale = "10 V"
stage = "after"

[[measurement]]
kind = "source-impedance"
loads = ["open", "8 ohm"]
volts = { L = ["12.71 V", "12.46 V"], R = ["12710 mV", "12.4 V"] }
stage = "bench"

[episode]
title = "A Norrvale Forty"
presenter = "the bench"
words_per_minute = 140
frame_rate = 29.97
look = "brochure"
card_seconds = 7.5
photo = "front.jpg"
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "measurements").mkdir()
    for name in ("measurements/tone.csv", "measurements/loudness.wav", "prices.csv", "front.jpg"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    return tmp_path


def faults_of(text, folder):
    with pytest.raises(InputError) as raised:
        parse_session(text, folder, kinds=KINDS)
    return [str(fault) for fault in raised.value.faults]


# ------------------------------------------------------------------ good ones


def test_whole_session_is_read(folder):
    session = parse_session(WHOLE, folder, kinds=KINDS)
    assert session.unit == Unit("Norrvale", "Forty", "integrated amplifier", 1977, "120 V 60 Hz")
    assert session.price == PriceTag(329.0, "USD", "prices.csv", None, 2024, 180.0, line=8)
    assert session.bench == Bench(
        "aux",
        8.0,
        "both",
        "118 V 60 Hz",
        "dc",
        ("two 8 ohm 100 W dummy loads", "a two-channel 24-bit capture interface"),
        0.1,
        0.0008,
    )
    assert session.ratings == (
        Rating(
            quantity="power",
            unit="W",
            at_least=40.0,
            load_ohm=8.0,
            thd_percent=0.05,
            band_hz=(20.0, 20000.0),
            channels="both",
            rule="continuous",
            source="owner's manual, page 12",
            line=25,
        ),
        Rating(
            quantity="snr",
            unit="dB",
            at_least=92.0,
            weighting="A",
            reference="50 mW",
            reference_w=0.05,
            input="phono",
            line=35,
        ),
    )
    assert session.episode == EpisodeSettings(
        "A Norrvale Forty", "the bench", 140.0, Fraction(30000, 1001), "brochure", 7.5, "front.jpg"
    )


def test_measurements_take_from_the_bench_what_they_do_not_name(folder):
    tone, loudness, impedance = parse_session(WHOLE, folder, kinds=KINDS).measurements
    assert (tone.id, tone.card, tone.line) == ("tone", "tone", 42)
    assert (tone.input, tone.load_ohm, tone.channels) == ("aux", 8.0, "both")
    assert (tone.frequency_hz, tone.input_level_v, tone.hold_s) == (1000.0, 0.15, 8.0)
    assert tone.columns == {"frequency": 1, "left": "Ch 1", "left into right": 3}
    assert tone.units == {"frequency": "kHz", "left": "dBV"}
    assert (loudness.id, loudness.card, loudness.against) == ("loudness-on", "loudness", "tone")
    assert (loudness.input, loudness.load_ohm, loudness.channels) == ("phono", 4.0, "one")
    assert (impedance.id, impedance.file) == ("source-impedance", "")


def test_drive_is_given_in_watts_and_volts(folder):
    """P = U²/R: 5 W into 8 Ω is the root of 40 V², 2 V into 4 Ω is 1 W."""
    tone, loudness, _ = parse_session(WHOLE, folder, kinds=KINDS).measurements
    assert (tone.drive_w, tone.drive_v) == (5.0, pytest.approx(6.324555, abs=1e-6))
    assert (loudness.drive_w, loudness.drive_v) == (1.0, 2.0)


def test_drive_without_a_load_stays_as_written(folder):
    text = UNIT + '[[measurement]]\nfile = "measurements/tone.csv"\nkind = "tone"\ndrive = "{}"\n'
    power = parse_session(text.format("5 W"), folder, kinds=KINDS).measurements[0]
    volts = parse_session(text.format("150 mV"), folder, kinds=KINDS).measurements[0]
    assert (power.drive_w, power.drive_v) == (5.0, None)
    assert (volts.drive_w, volts.drive_v) == (None, 0.15)


def test_two_load_readings_carry_the_step_of_the_meter(folder):
    impedance = parse_session(WHOLE, folder, kinds=KINDS).measurements[2]
    assert impedance.loads_ohm == (math.inf, 8.0)
    assert impedance.volts == {"L": (12.71, 12.46), "R": (12.71, 12.4)}
    assert impedance.volts_step == {"L": 0.01, "R": 0.1}


def test_unit_alone_is_a_session(folder):
    session = parse_session("\ufeff" + UNIT.replace("\n", "\r\n"), folder, kinds=KINDS)
    assert (session.unit.name, session.price, session.ratings, session.measurements) == ("Norrvale Forty", None, (), ())
    assert session.episode == EpisodeSettings()


@pytest.mark.parametrize(
    ("written", "rate"),
    [
        ("30", Fraction(30)),
        ("25.0", Fraction(25)),
        ('"24"', Fraction(24)),
        # SMPTE rates, from memory: the colour rates are the nominal ones slowed by 1000/1001
        ("23.976", Fraction(24000, 1001)),
        ('"23.98"', Fraction(24000, 1001)),
        ("29.97", Fraction(30000, 1001)),
        ('"30000/1001"', Fraction(30000, 1001)),
        ("59.94", Fraction(60000, 1001)),
    ],
)
def test_frame_rates_are_exact(written, rate, folder):
    session = parse_session(f"{UNIT}[episode]\nframe_rate = {written}\n", folder, kinds=KINDS)
    assert session.episode.frame_rate == rate


@pytest.mark.parametrize(
    ("written", "limits"),
    [
        ('"0.5 dB"', (-0.5, 0.5)),
        ('"±0.5 dB"', (-0.5, 0.5)),
        ('["-1 dB", "+0 dB"]', (-1.0, 0.0)),
        ('["\u22123 dB", "0.5 dB"]', (-3.0, 0.5)),
    ],
)
def test_within_is_a_pair_of_limits(written, limits, folder):
    session = parse_session(f'{UNIT}[[rated]]\nquantity = "response"\nwithin = {written}\n', folder, kinds=KINDS)
    assert session.ratings[0].within == limits


@pytest.mark.parametrize("written", ["open", "8 ohm", "8 Ω", "8 \u2126", "0.008 kohm"])
def test_loads_in_every_spelling(written, folder):
    session = parse_session(f'{UNIT}[bench]\nload = "{written}"\n', folder, kinds=KINDS)
    assert session.bench.load_ohm == (math.inf if written == "open" else 8.0)


def test_rated_output_is_a_reference_without_a_figure(folder):
    text = UNIT + '[[rated]]\nquantity = "snr"\nat_least = "92 dB"\nreference = "Rated  output"\n'
    rating = parse_session(text, folder, kinds=KINDS).ratings[0]
    assert (rating.reference, rating.reference_w) == ("rated output", None)


def test_empty_look_and_empty_optional_texts_are_fine(folder):
    session = parse_session(f'{UNIT}[look]\n[episode]\ntitle = ""\nphoto = ""\n', folder, kinds=KINDS)
    assert session.episode == EpisodeSettings()


def test_a_bench_loop_beside_before_and_after_is_fine(folder):
    stages = parse_session(WHOLE, folder, kinds=KINDS).measurements
    assert [measurement.stage for measurement in stages] == ["before", "after", "bench"]


# ------------------------------------------------------------------ one mistake each

MEASUREMENT = '[[measurement]]\nfile = "measurements/tone.csv"\nkind = "tone"\n'

MISTAKES = {
    # after [unit] in lines 1 to 3: what stands from line 4 on, and the whole message
    '[[rated]]\nquantity = "power"\nat_least = "40"': (
        'session.toml:6: [[rated]] power: at_least = "40" has no unit; write "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = 40': (
        'session.toml:6: [[rated]] power: at_least = 40 has no unit; write "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "40 dBV"': (
        "session.toml:6: [[rated]] power: "
        'at_least = "40 dBV" is in dBV where W is needed; write for example "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "forty watts"': (
        'session.toml:6: [[rated]] power: at_least = "forty watts" is not a number with a unit; '
        'write for example "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "-40 W"': (
        'session.toml:6: [[rated]] power: at_least = "-40 W" is not above zero; write "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_most = "40 W"': (
        "session.toml:6: [[rated]] power: at_most does not go with power, which takes at_least; "
        'write at_least = "40 W"'
    ),
    '[[rated]]\nquantity = "power"': 'session.toml:4: [[rated]] power: has no limit; write at_least = "40 W"',
    '[[rated]]\nquantity = "gain"\nat_least = "30 dB"\nat_most = "32 dB"': (
        "session.toml:7: [[rated]] gain: has at_least and at_most; "
        "one limit makes one row: write a [[rated]] table for each"
    ),
    '[[rated]]\nat_least = "40 W"': (
        'session.toml:4: [[rated]] 1: has no quantity; write for example quantity = "power"'
    ),
    '[[rated]]\nquantity = "dampng factor"\nat_least = 60': (
        'session.toml:5: [[rated]] dampng factor: quantity = "dampng factor" is no rating that is known; '
        'did you mean "damping factor"?'
    ),
    '[[rated]]\nquantity = "damping factor"\nat_least = "60"': (
        'session.toml:6: [[rated]] damping factor: at_least = "60" is text; '
        "write the number without quotation marks: 60"
    ),
    '[[rated]]\nquantity = "damping factor"\nat_least = nan': (
        "session.toml:6: [[rated]] damping factor: at_least = nan is not above 0 and at most 1e+06; "
        "write for example 60"
    ),
    '[[rated]]\nquantity = "crosstalk"\nat_most = "60 dB"': (
        'session.toml:6: [[rated]] crosstalk: at_most = "60 dB" is not below zero, as a crosstalk level is; '
        'write "-60 dB", or quantity = "separation" with at_least'
    ),
    '[[rated]]\nquantity = "snr"\nat_least = "-92 dB"': (
        'session.toml:6: [[rated]] snr: at_least = "-92 dB" is not above zero; write "92 dB"'
    ),
    '[[rated]]\nquantity = "snr"\nat_least = "92 dB"\nreference = "loud"': (
        'session.toml:7: [[rated]] snr: reference = "loud" is neither rated output nor a power; '
        'write "rated output", "1 W" or "50 mW"'
    ),
    '[[rated]]\nquantity = "response"\nwithin = ["1 dB", "3 dB"]': (
        'session.toml:6: [[rated]] response: within = ["1 dB", "3 dB"] does not hold zero between its limits; '
        'write the limit below and the one above: ["-1 dB", "+0 dB"]'
    ),
    '[[rated]]\nquantity = "response"\nwithin = "0.5 dB"\nband = ["20", "20 kHz"]': (
        'session.toml:7: [[rated]] response: band: "20" has no unit; write "20 Hz"'
    ),
    '[[rated]]\nquantity = "response"\nwithin = "0.5 dB"\nband = ["20 kHz", "20 Hz"]': (
        'session.toml:7: [[rated]] response: band = ["20 kHz", "20 Hz"] does not rise; '
        'write the lower frequency first: ["20 Hz", "20 kHz"]'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "40 W"\ntotal = "yes"': (
        'session.toml:7: [[rated]] power: total = "yes" cannot stand here; write true or false, without quotation marks'
    ),
    '[rated]\nquantity = "power"': "session.toml:4: [rated] may stand many times; write [[rated]], with two brackets",
    '[[bench]]\nload = "8 ohm"': "session.toml:4: bench is one table, and stands once; write [bench]",
    '[bench]\nlod = "8 ohm"': 'session.toml:5: [bench] lod: unknown key; did you mean "load"?',
    "[bench]\nload = 8": 'session.toml:5: [bench] load = 8 has no unit; write "8 ohm", or "open"',
    '[bench]\nchannels = "stereo"': 'session.toml:5: [bench] channels = "stereo" is not known; write "both" or "one"',
    '[bench]\nmains = "120"': (
        'session.toml:5: [bench] mains = "120" is not a mains voltage and frequency; write for example "120 V 60 Hz"'
    ),
    '[bench]\nequipment = "two loads"': (
        'session.toml:5: [bench] equipment = "two loads" cannot stand here; '
        'write a list in square brackets: ["…", "…"]'
    ),
    "[benhc]\na = 1": 'session.toml:4: [benhc]: unknown table; did you mean "bench"?',
    '[look]\nground = "#15191e"': "session.toml:5: [look] ground: unknown key; [look] takes none, leave it out",
    "[price]\npaid = -3\ncurrency = 'USD'\nindex = 'prices.csv'\nyear = 1977": (
        "session.toml:5: [price] paid = -3 is not above zero; write for example 329.00"
    ),
    "[price]\npaid = inf\ncurrency = 'USD'\nindex = 'prices.csv'\nyear = 1977": (
        "session.toml:5: [price] paid = inf is too large; write for example 329.00"
    ),
    "[price]\npaid = 329\ncurrency = '$'\nindex = 'prices.csv'\nyear = 1977": (
        'session.toml:6: [price] currency = "$" is no currency code; write "USD"'
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nyear = 1977": (
        'session.toml:4: [price] has no index; write for example index = "prices.csv"'
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nindex = 'price.csv'\nyear = 1977": (
        'session.toml:7: [price] index = "price.csv": there is no such file; did you mean "prices.csv"?'
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nindex = 'prices.csv'": (
        "session.toml:4: [price] has no year, and neither has [unit]; "
        "write the year it was paid in, for example year = 1977"
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nindex = 'prices.csv'\nyear = 77": (
        "session.toml:8: [price] year = 77 is no year from 1850 to 2200; write for example 1977"
    ),
    "[episode]\nwords_per_minute = nan": (
        "session.toml:5: [episode] words_per_minute = nan is not above 0 and at most 600; write for example 150"
    ),
    "[episode]\ncard_seconds = -6": (
        "session.toml:5: [episode] card_seconds = -6 is not above 0 and at most 600; write for example 6"
    ),
    "[episode]\nframe_rate = 12.5": (
        "session.toml:5: [episode] frame_rate = 12.5 is no frame rate; "
        "write 23.976, 24, 25, 29.97, 30, 50, 59.94 or 60"
    ),
    '[episode]\nlook = "dark"': (
        'session.toml:5: [episode] look = "dark" is not known; write "lamplight" or "brochure"'
    ),
    '[episode]\ntitle = """two\nlines"""': (
        'session.toml:5: [episode] title = "two\\u000alines" holds a line break or a control character; '
        "write it on one line"
    ),
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
        'session.toml:7: [[measurement]] tone: drive = "5" has no unit; '
        'write a power or a voltage, for example "5 W" or "2.83 V"'
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
        "name the one it is held against"
    ),
    MEASUREMENT + "columns = { freqency = 1 }": (
        'session.toml:7: [[measurement]] tone: columns: "freqency" is no column; did you mean "frequency"?'
    ),
    MEASUREMENT + "columns = { left = 0 }": (
        "session.toml:7: [[measurement]] tone: columns.left = 0 is no column; columns are numbered from 1"
    ),
    MEASUREMENT + 'units = { left = "furlong" }': (
        'session.toml:7: [[measurement]] tone: units.left = "furlong" is no unit that is known; '
        'write for example "kHz", "dBV" or "%"'
    ),
    MEASUREMENT + 'id = "Table"': (
        'session.toml:7: [[measurement]] Table: id = "Table": "Table" is the name of another card; '
        'write id = "Table-1"'
    ),
    MEASUREMENT + 'card = "closing"': (
        'session.toml:7: [[measurement]] tone: card = "closing": "closing" is the name of another card; '
        'write card = "closing-1"'
    ),
    MEASUREMENT + 'id = "tone, 5 W"': (
        'session.toml:7: [[measurement]] tone, 5 W: id = "tone, 5 W": "tone, 5 W" is no file name that is safe '
        'everywhere: only letters a to z, digits, - _ and ., at most 80; write id = "tone-5-W"'
    ),
    MEASUREMENT + MEASUREMENT: (
        'session.toml:8: [[measurement]] tone: has the id "tone" of the measurement in line 4; write id = "tone-2"'
    ),
    MEASUREMENT + 'stage = "after"\n' + MEASUREMENT + 'id = "t2"': (
        'session.toml:8: [[measurement]] t2: has no stage, but the measurement in line 4 is "after" a repair; '
        'write stage = "before", "after" or "bench"'
    ),
    MEASUREMENT + 'loads = ["open", "8 ohm"]\nvolts = { L = ["2 V", "1 V"] }': (
        "session.toml:5: [[measurement]] tone: has a file and the voltages of a two-load reading; "
        "leave one of them out"
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
        'session.toml:7: [[measurement]] source-impedance: volts.X: a channel is "L" or "R"; '
        "write volts = { L = […], R = […] }"
    ),
    '[[measurement]]\nkind = "source-impedance"\nloads = ["8 ohm", "8 Ω"]\nvolts = { L = ["2 V", "1 V"] }': (
        'session.toml:6: [[measurement]] source-impedance: loads = ["8 ohm", "8 Ω"] names a load twice; '
        'write different ones: ["open", "8 ohm"]'
    ),
}


@pytest.mark.parametrize("text", MISTAKES, ids=lambda text: " ".join(text.split())[:70])
def test_one_mistake_gives_one_message(text, folder):
    assert faults_of(f"{UNIT}{text}\n", folder) == [MISTAKES[text]]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", 'session.toml: there is no [unit]; write [unit] with maker = "…" and model = "…"'),
        ('[unit]\nmaker = "Norrvale"', 'session.toml:1: [unit] has no model; write for example model = "Forty"'),
        (
            '[unit]\nmaker = " "\nmodel = "Forty"',
            'session.toml:2: [unit] maker = " " is empty; write for example "Norrvale"',
        ),
        (f"{UNIT}year = 1977.5", "session.toml:4: [unit] year = 1977.5 is no year; write for example 1977"),
        (f"{UNIT}year = 12", "session.toml:4: [unit] year = 12 is no year from 1850 to 2200; write for example 1977"),
        (f"{UNIT}modell = 3", 'session.toml:4: [unit] modell: unknown key; did you mean "model"?'),
        (
            f"look = 3\n{UNIT}",
            "session.toml:1: look is one table, and stands once; write [look]",
        ),
        (
            f'maker = "Norrvale"\n{UNIT}',
            'session.toml:1: maker = "Norrvale" stands outside any table; put it under one, such as [unit]',
        ),
        # of syntax, only the first is told
        (f"{UNIT}mains = 120 V\n", 'session.toml:4: mains = 120 V needs quotation marks; write mains = "120 V"'),
        (f"{UNIT}[unit]\n", "session.toml:4: [unit] stands twice; keep one of them and put all its keys there"),
    ],
)
def test_mistakes_of_the_unit_and_outside(text, message, folder):
    assert faults_of(text, folder) == [message]


def test_all_faults_are_told_at_once_in_the_order_of_their_lines(folder):
    text = (
        '[unit]\nmaker = 5\n[bench]\nload = 8\nchanels = "both"\n'
        '[[rated]]\nquantity = "power"\nat_least = 40\nlod = "8 ohm"\n'
        '[[measurement]]\nkind = "tne"\nfile = "no.csv"\ncolumns = { lft = 1, right = -1 }\n'
    )
    lines = [int(fault.split(":")[1]) for fault in faults_of(text, folder)]
    assert lines == [1, 2, 4, 5, 8, 9, 11, 12, 13, 13]


def test_two_measurements_without_file_need_ids(folder):
    reading = '[[measurement]]\nkind = "source-impedance"\nloads = ["open", "8 ohm"]\nvolts = { L = ["2 V", "1 V"] }\n'
    assert faults_of(UNIT + reading + reading, folder) == [
        'session.toml:4: [[measurement]] source-impedance: has no file to be named after; '
        'write id = "source-impedance-1"',
        'session.toml:8: [[measurement]] source-impedance: has no file to be named after; '
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


# ------------------------------------------------------------------ the file itself


def test_read_session_reads_the_file(folder):
    (folder / "session.toml").write_bytes(b"\xef\xbb\xbf" + WHOLE.encode())
    assert read_session(folder, kinds=KINDS) == parse_session(WHOLE, folder, kinds=KINDS)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b'[unit]\nmaker = "\xe9"\n', "session.toml:2: not UTF-8 text; save the file as UTF-8"),
        (b'[unit]\nmaker = "a"\nmodel = "\x00"\n', "session.toml:3: binary content; save the file as text in UTF-8"),
    ],
)
def test_bytes_that_are_no_text(data, message, folder):
    (folder / "session.toml").write_bytes(data)
    with pytest.raises(InputError) as raised:
        read_session(folder, kinds=KINDS)
    assert str(raised.value) == message


def test_a_folder_without_session_and_no_folder_at_all(tmp_path):
    with pytest.raises(InputError, match=r"^session\.toml: there is none in .*; write one, at least with \[unit\]"):
        read_session(tmp_path, kinds=KINDS)
    with pytest.raises(InputError, match="there is no such folder; name one that holds a session.toml"):
        read_session(tmp_path / "nowhere", kinds=KINDS)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_no_measurement(folder):
    os.mkfifo(folder / "pipe.csv")
    faults = faults_of(UNIT + '[[measurement]]\nkind = "tone"\nfile = "pipe.csv"\n', folder)
    assert len(faults) == 1
    assert "there is no such file" in faults[0]


# ------------------------------------------------------------------ whatever is typed, no traceback

_PIECES = st.sampled_from(
    ['"', "'", '"""', "[", "]", "[[", "]]", "{", "}", "=", ",", ".", "#", "\n", "\\", "nan", "-1", "1e999", "true", "é"]
    + ["1979-05-27", "07:32:00", "[]", "{}", '""', '"8"', '"-8 dB"', "9" * 400, "\x00", "\ud7ff", "\u2028", "\r"]
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, len(WHOLE)), st.integers(0, 12), _PIECES), min_size=1, max_size=4))
def test_a_mutilated_session_is_read_or_refused(folder, changes):
    text = WHOLE
    for at, dropped, piece in changes:
        text = text[:at] + piece + text[at + dropped :]
    try:
        session = parse_session(text, folder, kinds=KINDS)
    except InputError as error:
        assert error.faults
        assert all(fault.source == "session.toml" for fault in error.faults)
        assert all(0 <= fault.line <= text.count("\n") + 1 for fault in error.faults)
        assert all(str(fault).isprintable() for fault in error.faults)
    else:
        assert session.unit.maker


_VALUES = st.recursive(
    st.sampled_from(['""', '"x"', '"8 ohm"', '"5 W"', "5", "-0.0", "nan", "inf", "true", "1979-05-27", "9" * 320]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]"),
        st.lists(inner, max_size=3).map(lambda items: "{" + ", ".join(f"k{n} = {v}" for n, v in enumerate(items)) + "}"),
        st.lists(inner, max_size=2).map(lambda items: "{" + ", ".join(f"{k} = {v}" for k, v in zip("LR", items, strict=False)) + "}"),
    ),
    max_leaves=6,
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, WHOLE.count("\n") - 1), _VALUES)
def test_any_value_at_any_key_is_read_or_refused_at_its_line(folder, number, value):
    lines = WHOLE.split("\n")
    if "=" not in lines[number]:
        return
    lines[number] = f"{lines[number].split('=')[0]}= {value}"
    try:
        parse_session("\n".join(lines), folder, kinds=KINDS)
    except InputError as error:
        assert all(str(fault).isprintable() for fault in error.faults)
        assert all(fault.line for fault in error.faults)
