"""A whole session as text, and what is common to the tests of session.toml."""

import pytest

from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError

_NAMES = ("tone", "response", "contour", "crosstalk", "source-impedance", "phono")
KINDS = {name: kind for name, kind in KINDS.items() if name in _NAMES}

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
page = "https://example.org/forty"
"""


def faults_of(text, folder):
    with pytest.raises(InputError) as raised:
        parse_session(text, folder, kinds=KINDS)
    return [str(fault) for fault in raised.value.faults]


def outcome(text, folder):
    """The session, or None where it is refused, and the faults."""
    try:
        return parse_session(text, folder, kinds=KINDS), ()
    except InputError as error:
        return None, error.faults
