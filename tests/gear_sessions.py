"""Small sessions of other gear than amplifiers: a tuner, a receiver, a deck, a loudspeaker, none of which exist."""

from __future__ import annotations

import numpy as np

HEADER = "name,channel,value,unit,at,note\n"


def response(octaves_db: float = 0.5) -> str:
    """A made-up sweep that falls by so much an octave, 0 dB at 1 kHz, both channels 0.2 dB apart."""
    lines = ["Frequency (Hz),Left (dBV),Right (dBV)"]
    for hz in np.geomspace(20, 20_000, 61):
        level = -octaves_db * np.log2(hz / 1000.0)
        lines.append(f"{hz:.3f},{level:.3f},{level - 0.2:.3f}")
    return "\n".join(lines) + "\n"


TUNER = {
    "session.toml": """[unit]
maker = "Norrvale"
model = "Tune 7"
what = "FM stereo tuner"
type = "tuner"
year = 1978

[rated]
source = "owner's manual, page 12"
"FM usable sensitivity (mono)" = "10.3 dBf (1.8 µV at 300 ohms)"
"FM S/N" = "at 65 dBf: mono 80 dB, stereo 74 dB"
"capture ratio" = "1.0 dB"
"AM suppression" = "65 dB at 65 dBf"
"image response ratio" = "90 dB (98 MHz)"
"muting threshold" = "19.2 dBf"
selectivity = "60 dB"
""",
    "measurements/readings.csv": HEADER
    + """usable sensitivity,,9.8,dBf,"FM input, mono, 98 MHz",
signal to noise,L,81.2,dB,"FM input, 65 dBf, mono",
signal to noise,R,80.9,dB,"FM input, 65 dBf, mono",
signal to noise,L,75.2,dB,"FM input, 65 dBf, stereo",
signal to noise,R,75.0,dB,"FM input, 65 dBf, stereo",
capture ratio,,1.65,dB,98 MHz,
AM suppression,,66.4,dB,"65 dBf, 98 MHz",
image rejection,,93.1,dB,98 MHz,
muting threshold,,17.4,dBf,98 MHz,
""",
}
RECEIVER = {
    "session.toml": """[unit]
maker = "Norrvale"
model = "R 40"
what = "FM stereo receiver"
type = ["amplifier", "tuner"]
year = 1978

[bench]
load = "8 ohm"
input = "aux"

[rated]
power = "40 W per channel into 8 ohms, 1 kHz, 0.1 % THD"
"FM S/N" = "mono 70 dB"
""",
    "measurements/fm-readings.csv": HEADER
    + 'signal to noise,L,72.2,dB,"FM input, mono",\nsignal to noise,R,71.9,dB,"FM input, mono",\n',
    "measurements/readings.csv": HEADER
    + 'power,L,43.1,W,"0.1 % THD, 1 kHz, 8 ohm",\npower,R,42.9,W,"0.1 % THD, 1 kHz, 8 ohm",\n',
}
DECK = {
    "session.toml": """[unit]
maker = "Norrvale"
model = "Reel 3"
what = "cassette deck"
type = "deck"
year = 1981

[rated]
"frequency response, chrome tape" = "40 Hz to 12 kHz, ±3 dB"
distortion = "1.0 % at 250 nWb/m, chrome tape"
"S/N" = "re 250 nWb/m, A-weighted, chrome tape, noise reduction on: 60 dB"
"bias frequency" = "105 kHz"

[[measurement]]
kind = "response"
file = "measurements/chrome.csv"
conditions = { tape = "chrome", "noise reduction" = "off" }
drive = "-20 dB re 250 nWb/m"

[[measurement]]
kind = "response"
file = "measurements/normal.csv"
conditions = { tape = "normal", "noise reduction" = "off" }
drive = "-20 dB re 250 nWb/m"

[[measurement]]
kind = "reading"
file = "measurements/readings.csv"
""",
    "measurements/chrome.csv": response(0.3),
    "measurements/normal.csv": response(0.8),
    "measurements/readings.csv": HEADER
    + """distortion,L,0.81,%,"250 nWb/m, 315 Hz, chrome tape",
distortion,R,0.92,%,"250 nWb/m, 315 Hz, chrome tape",
signal to noise,L,61.2,dB,"A-weighted, re 250 nWb/m, chrome tape, noise reduction on",
signal to noise,R,60.8,dB,"A-weighted, re 250 nWb/m, chrome tape, noise reduction on",
bias frequency,,103.2,kHz,,
""",
}
LOUDSPEAKER = {
    "session.toml": """[unit]
maker = "Norrvale"
model = "Two Way"
what = "loudspeaker pair"
type = "loudspeaker"

[rated]
"frequency response" = "45 Hz – 18 kHz, ±3 dB"
"minimum impedance" = "6.4 ohms"
sensitivity = "89 dB/W/m"
""",
    "measurements/response.csv": response(0.4),
    "measurements/readings.csv": HEADER
    + 'minimum impedance,L,6.91,ohm,124 Hz,\nsensitivity,L,88.4,dB SPL,"1 W, distance = 1 m",\n',
}
SESSIONS = {"tuner": TUNER, "receiver": RECEIVER, "deck": DECK, "loudspeaker": LOUDSPEAKER}
