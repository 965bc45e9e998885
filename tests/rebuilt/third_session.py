"""A third session, of small files and many sorts: channels that were exported one by one, and WAV captures.

The amplifier, its maker, its ratings and every reading are invented; the files come from closed forms and a seeded
generator. `write(folder, kinds)` makes a session of these kinds of measurement alone, so that a test can have as little
as it needs.
"""

from __future__ import annotations

import io
import json
import math
import re
import sys
from collections.abc import Callable, Collection, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from matplotlib import get_data_path
from numpy.typing import NDArray
from PIL import Image

from reviewkit.build.session_files import read
from reviewkit.model.session import Measurement

Array = NDArray[np.float64]

RATE_HZ = 48_000
HZ = np.geomspace(10, 60_000, 50)
WATTS = np.unique(np.concatenate((np.geomspace(0.2, 28, 24), np.geomspace(28, 40, 14))))
SWEEPS = (
    "response",
    "contour",
    "distortion-frequency",
    "distortion-power",
    "crosstalk",
    "source-impedance",
    "load-impedance",
    "level-sweep",
    "phono",
)
SHORT = ("response", "crosstalk", "source-impedance")
CAPTURES = (
    "tone",
    "flutter",
    "lines",
    "between-channels",
    "multitone",
    "square",
    "noise",
    "intermodulation",
    "reading",
)
SAMPLE = Path(__file__).resolve().parents[2] / "sample_session"
_TYPE = Path(get_data_path(), "fonts", "ttf")

UNIT = """
[unit]
maker = "Tarnfell"
model = "Thirty"
what = "integrated amplifier"
year = 1975
mains = "230 V 50 Hz"

[price]
paid = 248.00
currency = "USD"
index = "prices.csv"
year = 1975
to = 2024
fair = 190

[bench]
input = "tuner"
load = "8 ohm"
channels = "both"
mains = "230 V 50 Hz"
coupling = "ac"
equipment = ["a two-channel 16-bit capture interface", "two 8 ohm 100 W dummy loads"]
level_uncertainty = "0.1 dB"
load_tolerance = "1 %"
distortion_floor = "0.002 %"

[episode]
title = "Tarnfell Thirty: one side quieter than the other"
presenter = "the bench by the window"
words_per_minute = 150
frame_rate = 25
look = "lamplight"
card_seconds = 5
photo = "front.png"
page = "https://example.org/thirty"

[look]
ground = "#10202a"
ink = "#fff4dd"
soft = "#b0bcc4"
rule = "#31424e"
left = "#ffb870"
right = "#4fa3d8"
meets = "#8fd18f"
falls_short = "#ff9a8a"
presenter = "measured by the window"
mark = "mark.png"
"""
# the waveform's card has no room for letters as wide as these
PHOTO = 'photo = "front.png"\n'
MARK = 'mark = "mark.png"\n'
TYPE = """font = "type/plain.ttf"
bold_font = "type/bold.ttf"
"""

# the kinds that answer a rating, and the rating
_RATED: tuple[tuple[tuple[str, ...], str], ...] = (
    (
        ("distortion-power", "distortion-frequency", "noise"),
        """
quantity = "power"
at_least = "30 W"
load = "8 ohm"
thd_plus_noise = "0.5 %"
frequency = "1 kHz"
channels = "both"
rule = "continuous"
total = false
source = "data sheet, page 2"
""",
    ),
    (
        ("distortion-power",),
        """
quantity = "power"
at_least = "28 W"
load = "8 ohm"
thd = "0.3 %"
source = "data sheet, page 3"
""",
    ),
    (
        ("reading",),
        """
quantity = "input sensitivity"
nominal = "150 mV"
tolerance = "5 %"
""",
    ),
    (
        ("response",),
        """
quantity = "response"
within = "1 dB"
band = ["20 Hz", "20 kHz"]
input = "tuner"
source = "data sheet, page 2"
""",
    ),
    (
        ("distortion-frequency", "tone"),
        """
quantity = "distortion"
at_most = "0.2 %"
power = "3 W"
""",
    ),
    (
        ("noise",),
        """
quantity = "snr"
at_least = "80 dB"
weighting = "A"
reference = "rated output"
input = "tuner"
""",
    ),
    (
        ("reading",),
        """
quantity = "dc offset"
at_most = "50 mV"
""",
    ),
    (
        ("intermodulation",),
        """
quantity = "intermodulation"
at_most = "0.3 %"
tones = ["19 kHz", "20 kHz"]
""",
    ),
)

_MEASURED: tuple[tuple[str, str], ...] = (
    (
        "response",
        """
id = "flat-left"
kind = "response"
file = "measurements/flat left.csv"
card = "flat"
setting = "tone controls at centre"
drive = "1 W"
columns = { frequency = 1, left = 2 }
stage = "after"
""",
    ),
    (
        "response",
        """
id = "flat-right"
kind = "response"
file = "measurements/flat right.csv"
card = "flat"
setting = "tone controls at centre"
drive = "1 W"
columns = { frequency = 1, right = 2 }
stage = "after"
""",
    ),
    (
        "response",
        """
id = "flat-before"
kind = "response"
file = "measurements/flat before.csv"
card = "flat"
setting = "tone controls at centre"
drive = "1 W"
stage = "before"
""",
    ),
    (
        "contour",
        """
file = "measurements/bass.csv"
kind = "contour"
card = "controls"
title = "The controls"
against = "flat-left"
setting = "bass full up"
drive = "1 W"
columns = { left = 2 }
stage = "after"
""",
    ),
    (
        "response",
        """
file = "measurements/room.csv"
kind = "response"
target = "measurements/wish.csv"
drive = "1 W"
columns = { left = 2 }
stage = "after"
""",
    ),
    (
        "contour",
        """
file = "measurements/treble.csv"
kind = "contour"
card = "controls"
against = "flat-left"
setting = "treble full down"
drive = "1 W"
columns = { left = 2 }
stage = "after"
""",
    ),
    (
        "distortion-frequency",
        """
file = "measurements/thd-sweep.csv"
kind = "distortion-frequency"
drive = "3 W"
hold = "7 s"
stage = "after"
""",
    ),
    (
        "distortion-frequency",
        """
file = "measurements/thd-looped.csv"
kind = "distortion-frequency"
card = "thd-sweep"
drive = "6.3 V"
stage = "bench"
""",
    ),
    (
        "distortion-power",
        """
file = "measurements/power-before.csv"
kind = "distortion-power"
card = "power"
frequency = "1 kHz"
stage = "before"
""",
    ),
    (
        "distortion-power",
        """
file = "measurements/power.csv"
kind = "distortion-power"
card = "power"
frequency = "1 kHz"
stage = "after"
""",
    ),
    (
        "crosstalk",
        """
file = "measurements/left-driven.csv"
kind = "crosstalk"
card = "leak"
driven = "L"
drive = "2.83 V"
stage = "after"
""",
    ),
    (
        "crosstalk",
        """
file = "measurements/right-driven.csv"
kind = "crosstalk"
card = "leak"
driven = "R"
drive = "2.83 V"
stage = "after"
""",
    ),
    (
        "source-impedance",
        """
file = "measurements/output.csv"
kind = "source-impedance"
units = { impedance = "mohm" }
stage = "after"
""",
    ),
    (
        "source-impedance",
        """
id = "two-load"
kind = "source-impedance"
title = "Damping factor, by voltmeter"
frequency = "1 kHz"
loads = ["open", "8 ohm"]
volts = { L = ["6.412 V", "6.248 V"], R = ["6.398 V", "6.229 V"] }
stage = "after"
""",
    ),
    (
        "phono",
        """
file = "measurements/phono.csv"
kind = "phono"
input = "phono"
load = "open"
channels = "one"
equalised = false
amendment = false
stage = "after"
""",
    ),
    (
        "tone",
        """
file = "measurements/tone-before.wav"
kind = "tone"
card = "tone"
frequency = "1 kHz"
full_scale = "12 V"
input_level = "90 mV"
stage = "before"
""",
    ),
    (
        "tone",
        """
file = "measurements/tone-after.wav"
kind = "tone"
card = "tone"
frequency = "1 kHz"
without = []
full_scale = "12 V"
input_level = "90 mV"
stage = "after"
""",
    ),
    (
        "tone",
        """
file = "measurements/tone-looped.wav"
kind = "tone"
card = "tone"
full_scale = "12 V"
stage = "bench"
""",
    ),
    (
        "multitone",
        """
file = "measurements/multitone.wav"
kind = "multitone"
full_scale = "5 V"
stage = "after"
""",
    ),
    (
        "square",
        """
file = "measurements/square.csv"
kind = "square"
stage = "after"
""",
    ),
    (
        "noise",
        """
file = "measurements/idle.wav"
kind = "noise"
full_scale = "20 mV"
setting = "input shorted"
stage = "after"
""",
    ),
    (
        "noise",
        """
file = "measurements/idle-lines.csv"
kind = "noise"
window = "hann"
weighting = ""
stage = "before"
""",
    ),
    (
        "intermodulation",
        """
file = "measurements/two-tones.wav"
kind = "intermodulation"
full_scale = "12 V"
stage = "after"
""",
    ),
    (
        "load-impedance",
        """
file = "measurements/woofer.csv"
kind = "load-impedance"
enclosure = "closed"
dc_resistance = "5.6 ohm"
stage = "after"
""",
    ),
    (
        "level-sweep",
        """
file = "measurements/aerial.csv"
kind = "level-sweep"
aerial = "75 ohm"
microvolts = "terminated"
stage = "after"
""",
    ),
    (
        "lines",
        """
file = "measurements/rumble.wav"
kind = "lines"
full_scale = "50 mV"
reference_level = "200 mV"
lines = { rumble = ["10 Hz", "315 Hz"] }
stage = "after"
""",
    ),
    (
        "flutter",
        """
file = "measurements/flutter.wav"
kind = "flutter"
frequency = "3000 Hz"
rates = { capstan = "5 Hz" }
stage = "after"
""",
    ),
    (
        "between-channels",
        """
file = "measurements/both.wav"
kind = "between-channels"
tape_speed = "19.05 cm/s"
track_spacing = "2.75 mm"
stage = "after"
""",
    ),
    (
        "reading",
        """
file = "measurements/meter-before.csv"
kind = "reading"
card = "meter"
stage = "before"
""",
    ),
    (
        "reading",
        """
file = "measurements/meter.csv"
kind = "reading"
card = "meter"
stage = "after"
""",
    ),
)

SOUND = """[[sound]]
id = "chord"
title = "A chord"
of = "music"
before = "recordings/before.wav"
after = "recordings/after.wav"
from = "0.05 s"
to = "0.65 s"
fade = "30 ms"
match = false
target = "-23 LUFS"
"""
NOTES = """clip bench-1.mp4 for 12:00
0:00 opening: One side plays more quietly than the other. [card title]
0:40 history: Sold for three years, in two colours. [card rated]
1:30 before: The right side first, as it came in.{sound}
2:20 repair: Two parts by the output. [card repair]
4:10 after: The same again. [card {first}]
6:30 verdict: Line by line.{table}
8:00 closing: That was it. [card closing]
"""
CUT = "0:00 opening\n0:35 history\n1:20 before\n2:00 repair\n3:30 after\n5:10 verdict\n6:20 closing\n"
RATINGS = "Source: leaflet\nOvershoot: 20 %\nSlew rate: 12 V/µs\n"
REPAIR = """point,expected,found,unit,tolerance,action,note
"Rail, positive",34,34.3,V,5 %,none,
"Emitter resistor, right",0.47,1.9,ohm,10 %,replaced,cracked
"DC offset R, after",0,8,mV,50 mV,go,warm
"""
PRICES = "year,index\n1975,53.8\n1976,56.9\n2023,304.702\n2024,313.689\n"
METER = """name,channel,value,unit,at,note
DC offset,L,12.0,mV,warm,
DC offset,R,{offset},mV,warm,
input sensitivity,L,148.0,mV,"tuner input, 1 kHz, 30 W into 8 ohm",
input sensitivity,R,151.0,mV,"tuner input, 1 kHz, 30 W into 8 ohm",
"""
COMMENT = """{{ name }}, all of it:
{% for row in rows %}{{ row.label }}: {{ row.measured }}
{% endfor %}{% for one in corrections %}{{ one.what }}: {{ one.was }}, now {{ one.now }}
{% endfor %}"""
PUBLISHED = {"said": {"Power, rated 31 W": "32.0 W, meets"}, "corrected": {}}


def _rows(head: str, *columns: Array, digits: int = 4, separator: str = ",") -> str:
    lines = [separator.join(f"{value:.{digits}f}" for value in row) for row in np.column_stack(columns)]
    return "\n".join([head, *lines]) + "\n"


def _low(corner_hz: float) -> Array:
    return -10 * np.log10(1 + (corner_hz / HZ) ** 2)


def _high(corner_hz: float) -> Array:
    return -10 * np.log10(1 + (HZ / corner_hz) ** 2)


def _wav(*channels: Array, full_scale_v: float) -> bytes:
    made = io.BytesIO()
    samples = np.stack(channels, axis=1) / full_scale_v
    soundfile.write(made, samples, RATE_HZ, format="WAV", subtype="PCM_16")
    return made.getvalue()


def _sines(seconds: float, *tones: tuple[float, float]) -> Array:
    """(Hz, peak in volts) each, summed."""
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.sum([peak * np.sin(2 * math.pi * hertz * time + hertz) for hertz, peak in tones], axis=0)


def _riaa(hertz: Array) -> Array:
    """IEC 60098: 3180, 318 and 75 µs, in dB."""
    turn = 2 * math.pi * hertz
    return (
        10 * np.log10(1 + (turn * 318e-6) ** 2)
        - 10 * np.log10(1 + (turn * 3180e-6) ** 2)
        - 10 * np.log10(1 + (turn * 75e-6) ** 2)
    )


def phono(*, equalised: bool) -> str:
    """The phono stage, from a flat input or from a pre-emphasised one."""
    level = 0.4 * np.sin(np.log(HZ)) + (0 if equalised else _riaa(HZ))
    return _rows("Frequency (Hz),Left (dB),Right (dB)", HZ, level, level - 0.1)


def flutter() -> bytes:
    """A tone of 3 kHz, 0.4 % fast, that wavers by 0.2 % five times a second. 6 s."""
    time = np.arange(6 * 8000) / 8000
    phase = 2 * math.pi * 3012 * time + 6 / 5 * np.sin(2 * math.pi * 5 * time)
    made = io.BytesIO()
    soundfile.write(made, 0.5 * np.sin(phase), 8000, format="WAV", subtype="PCM_16")
    return made.getvalue()


def groove() -> bytes:
    """A silent groove: noise, and a motor's line of 25 Hz. 4 s."""
    time = np.arange(4 * 4000) / 4000
    made = io.BytesIO()
    samples = 0.2 * np.sin(2 * math.pi * 25 * time) + np.random.default_rng(8).normal(0, 0.05, time.size)
    soundfile.write(made, samples, 4000, format="WAV", subtype="PCM_16")
    return made.getvalue()


def photo(shade: int) -> bytes:
    """A photograph of one colour."""
    made = io.BytesIO()
    Image.new("RGB", (320, 180), (shade, 70, 90)).save(made, "PNG")
    return made.getvalue()


def font(name: str) -> bytes:
    """A font file that comes with the chart library."""
    return (_TYPE / name).read_bytes()


def _sweeps() -> dict[str, str | bytes]:
    flat = 9.0 + _low(8) + _high(70_000)
    thd = 0.03 + 0.02 * (HZ / 20_000) ** 1.5
    wall = lambda most: 20 / (1 + np.exp(-(WATTS / most - 1) * 50))  # noqa: E731
    leak = lambda floor: floor + 10 * np.log10(1 + (HZ / 3000) ** 2)  # noqa: E731
    return {
        "measurements/flat left.csv": _rows("Frequency (Hz),Level (dBV)", HZ, flat),
        "measurements/flat right.csv": _rows("Frequency (Hz),Level (dBV)", HZ, flat - 0.2),
        "measurements/flat before.csv": _rows(
            "Frequency (Hz),Left (dBV),Right (dBV)", HZ, flat + _low(15), flat - 6 + _low(60)
        ),
        "measurements/room.csv": _rows("Frequency (Hz),Level (dBV)", HZ, flat + _low(40)),
        "measurements/wish.csv": _rows("Frequency (Hz),Level (dB)", HZ, _low(30)),
        "measurements/bass.csv": _rows("Frequency (Hz),Level (dBV)", HZ, flat + 9 / (1 + (HZ / 150) ** 2)),
        "measurements/treble.csv": _rows("Frequency (Hz),Level (dBV)", HZ, flat + _high(4000)),
        "measurements/thd-sweep.csv": _rows(
            "Frequency (Hz);THD+N L (%);THD+N R (%)", HZ, thd, 1.2 * thd, separator=";"
        ),
        "measurements/thd-looped.csv": _rows(
            "Frequency (Hz),THD+N L (%),THD+N R (%)", HZ, thd / 20, thd / 19, digits=5
        ),
        "measurements/power-before.csv": _rows(
            "Power (W),THD+N L (%),THD+N R (%)", WATTS, 0.05 + wall(34), 0.9 + wall(27)
        ),
        "measurements/power.csv": _rows("Power (W),THD+N L (%),THD+N R (%)", WATTS, 0.05 + wall(34), 0.06 + wall(33)),
        "measurements/left-driven.csv": _rows("Frequency (Hz),Left (dB),Right (dB)", HZ, 0 * HZ, leak(-62)),
        "measurements/right-driven.csv": _rows("Frequency (Hz),Left (dB),Right (dB)", HZ, leak(-60), 0 * HZ),
        "measurements/output.csv": _rows(
            "Frequency (Hz),Impedance L,Impedance R", HZ, 200 + HZ / 200, 210 + HZ / 200, digits=2
        ),
        "measurements/woofer.csv": _rows(
            "Frequency (Hz),Impedance (ohm)",
            HZ,
            np.abs(5.7 + 15 / (1 + 3j * (HZ / 55 - 55 / HZ)) + 2j * math.pi * HZ * 2e-4),
            digits=3,
        ),
        "measurements/aerial.csv": _rows(
            "Antenna (µV),Noise (dBr)",
            np.arange(1.0, 60.0, 1.0),
            10 * np.log10((0.004 / np.arange(1.0, 60.0, 1.0)) ** 2 + 1e-7),
        ),
        "measurements/phono.csv": phono(equalised=False),
    }


def _captures() -> dict[str, str | bytes]:
    rng = np.random.default_rng(75)
    noise = lambda count, rms: rng.normal(0, rms, count)  # noqa: E731
    count = RATE_HZ // 5
    tone = lambda third: _sines(0.2, (1000, 9.0), (2000, 0.004), (3000, third)) + noise(count, 4e-4)  # noqa: E731
    idle = lambda hum: _sines(1, (50, hum), (150, hum / 4)) + noise(RATE_HZ, 6e-4)  # noqa: E731
    block = 8192
    cycles = (8, 20, 47, 111, 170, 341, 520, 1031, 2050)
    many = np.sum([0.2 * np.sin(2 * math.pi * each * np.arange(block) / block + each) for each in cycles], axis=0)
    pair = _sines(0.2, (19_000, 4.5), (20_000, 4.5), (1000, 0.004), (18_000, 0.003), (21_000, 0.003))
    lines_hz = np.arange(4097) * RATE_HZ / 8192
    lines_db = -95 + noise(lines_hz.size, 1.0)
    time = np.arange(1500) / 500_000
    phase = (time * 1000) % 1
    edge = lambda part: 1 - 2 * np.exp(-part / 1000 * 2 * math.pi * 25_000)  # noqa: E731
    square = np.where(phase < 0.5, edge(phase), -edge(phase - 0.5))
    return {
        "measurements/tone-before.wav": _wav(tone(0.005), 0.5 * tone(0.09), full_scale_v=12),
        "measurements/tone-after.wav": _wav(tone(0.005), 0.98 * tone(0.006), full_scale_v=12),
        "measurements/tone-looped.wav": _wav(tone(1e-4), tone(1e-4), full_scale_v=12),
        "measurements/flutter.wav": flutter(),
        "measurements/rumble.wav": groove(),
        "measurements/both.wav": _wav(
            _sines(1, (400, 1.0), (8000, 1.0)), 0.9 * np.roll(_sines(1, (400, 1.0), (8000, 1.0)), 1), full_scale_v=5
        ),
        "measurements/multitone.wav": _wav(many + noise(block, 1e-4), 0.97 * many + noise(block, 1e-4), full_scale_v=5),
        "measurements/square.csv": _rows(
            "Time (µs),Left (V),Right (V)",
            1e6 * time,
            square + noise(time.size, 1e-3),
            0.98 * square + noise(time.size, 1e-3),
        ),
        "measurements/idle.wav": _wav(idle(4e-4), idle(6e-4), full_scale_v=0.02),
        "measurements/idle-lines.csv": _rows("Frequency (Hz),Left (dBV),Right (dBV)", lines_hz, lines_db, lines_db + 3),
        "measurements/two-tones.wav": _wav(pair + noise(count, 2e-4), pair + noise(count, 2e-4), full_scale_v=12),
        "measurements/meter-before.csv": METER.format(offset="61.0"),
        "measurements/meter.csv": METER.format(offset="14.0"),
        "recordings/before.wav": _wav(_sines(0.7, (440, 1.2)), _sines(0.7, (440, 0.6), (1320, 0.2)), full_scale_v=12),
        "recordings/after.wav": _wav(_sines(0.7, (440, 1.2)), _sines(0.7, (440, 1.2)), full_scale_v=12),
    }


def edited_timeline(after_s: float) -> str:
    """A cut of 300 s at 25 frames a second with four segments, as OpenTimelineIO writes it. `after_s`: the third's."""

    def span(start_s: float, length_s: float) -> dict[str, object]:
        rational = lambda seconds: {"OTIO_SCHEMA": "RationalTime.1", "rate": 25.0, "value": 25.0 * seconds}  # noqa: E731
        return {"OTIO_SCHEMA": "TimeRange.1", "start_time": rational(start_s), "duration": rational(length_s)}

    marks = [("opening", 0.0), ("before", 40.0), ("after", after_s), ("verdict", 200.0)]
    gap = {
        "OTIO_SCHEMA": "Gap.1",
        "name": "",
        "source_range": span(0, 300),
        "effects": [],
        "markers": [
            {"OTIO_SCHEMA": "Marker.2", "name": f"segment: {name}", "color": "RED", "marked_range": span(at_s, 0.04)}
            for name, at_s in marks
        ],
        "metadata": {},
    }
    track = {"OTIO_SCHEMA": "Track.1", "name": "V1", "kind": "Video", "children": [gap]}
    stack = {"OTIO_SCHEMA": "Stack.1", "name": "tracks", "children": [track]}
    return json.dumps({"OTIO_SCHEMA": "Timeline.1", "name": "cut", "tracks": stack}, indent=1) + "\n"


@cache
def _all_files() -> dict[str, str | bytes]:
    return {**_sweeps(), **_captures()}


def session_toml(kinds: Collection[str]) -> str:
    """session.toml with the measurements of these kinds and the ratings that they answer. A small session has neither a
    photograph, a mark nor type of its own.
    """
    tables = [f"[[rated]]{text}" for answers, text in _RATED if set(answers) & set(kinds)]
    tables += [f"[[measurement]]{text}" for kind, text in _MEASURED if kind in kinds]
    unit = UNIT.replace(PHOTO, "").replace(MARK, "") if _is_small(kinds) else UNIT
    tables += [SOUND] if "tone" in kinds else []
    return "\n".join((unit if _is_small(kinds) or "tone" in kinds else unit + TYPE, *tables))


def _is_small(kinds: Collection[str]) -> bool:
    return tuple(kinds) not in (SWEEPS, SHORT, CAPTURES)


def files(kinds: Collection[str]) -> dict[str, str | bytes]:
    """Every file of the session, by path. A contour needs a response."""
    toml = session_toml(kinds)
    table = " [card table]" if "[[rated]]" in toml else ""
    sound = " What it was. [sound chord]" if "[[sound]]" in toml else ""
    found: dict[str, str | bytes] = {
        "session.toml": toml,
        "notes.txt": NOTES.format(first=_first_card(kinds), table=table, sound=sound),
        "prices.csv": PRICES,
        "front.png": photo(60),
        "mark.png": photo(200),
        "type/plain.ttf": font("DejaVuSans.ttf"),
        "type/bold.ttf": font("DejaVuSans-Bold.ttf"),
        **_all_files(),
    }
    found = {name: content for name, content in found.items() if _is_read(name, toml)}
    if _is_small(kinds):
        return found
    return {
        **found,
        "ratings.txt": RATINGS,
        "repair.csv": REPAIR,
        "published.json": json.dumps(PUBLISHED, indent=1) + "\n",
        # filled in by a process of their own at every build, so only the session that is built most often has some
        **({"templates/comment.txt.j2": COMMENT} if tuple(kinds) == SHORT else {}),
        **({"final.txt": CUT} if "response" in kinds else {"final.otio": edited_timeline(90)}),
    }


def _is_read(name: str, toml: str) -> bool:
    return name in ("session.toml", "notes.txt") or f'"{name}"' in toml


def _first_card(kinds: Collection[str]) -> str:
    cards: dict[str, str] = {"response": "flat", "tone": "tone", "reading": "meter"}
    return next((cards[kind] for kind in cards if kind in kinds), "title")


def kinds_for(kind: str) -> Sequence[str]:
    """The kinds that a session needs to hold one."""
    return ("response", "contour") if kind == "contour" else (kind,)


@cache
def _sample_measurements() -> tuple[Measurement, ...]:
    return read(SAMPLE).session.measurements


def sample_files(kind: str) -> tuple[str, ...]:
    """The files of the sample session that are of a kind, as the program itself sees it."""
    return tuple(m.file for m in _sample_measurements() if m.kind == kind and m.file)


def write_of_sample(folder: Path, kind: str) -> Path:
    """Another session: the sample's unit and bench, and its measurements of one kind."""
    tables = re.split(r"(?m)^(?=\[)", (SAMPLE / "session.toml").read_text(encoding="utf-8"))
    files = sample_files(kind)
    kept = [t for t in tables if t.startswith(("[unit]", "[bench]")) or any(f'"{file}"' in t for file in files)]
    for file in files:
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_bytes((SAMPLE / file).read_bytes())
    (folder / "session.toml").write_text("".join(kept), encoding="utf-8")
    return folder


def write(folder: Path, kinds: Collection[str]) -> Path:
    """The session in a folder."""
    for name, content in files(kinds).items():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder


DROPPED = """
[files]
ignore = ["*.tmp"]

[[measurement]]
files = "measurements/controls/*.csv"
kind = "contour"
against = "after-flat"
setting = "as its file is called"
stage = "after"
"""
_DROPPED_AS = {
    "measurements/after/flat.csv": "measurements/flat before.csv",
    "measurements/before/flat.csv": "measurements/flat before.csv",
    "measurements/before/power.csv": "measurements/power-before.csv",
    "measurements/after/power.csv": "measurements/power.csv",
    "measurements/after/left-driven.csv": "measurements/left-driven.csv",
    "measurements/controls/bass.csv": "measurements/bass.csv",
    "measurements/controls/treble.csv": "measurements/treble.csv",
    "measurements/tone after.wav": "measurements/tone-after.wav",
    "measurements/odd.csv": "measurements/output.csv",
}


def write_dropped(folder: Path) -> Path:
    """The session in a folder, with files whose kind is only in themselves, and one that isn't clear."""
    write(folder, ("crosstalk",))
    (folder / "measurements" / "left-driven.csv").unlink()
    (folder / "measurements" / "right-driven.csv").unlink()
    for name, source in _DROPPED_AS.items():
        content = _all_files()[source]
        content = content.encode() if isinstance(content, str) else content
        # no two of them are the same
        content = content.replace(b"(dBV)", b"(dBu)") if name == "measurements/after/flat.csv" else content
        if name.startswith("measurements/controls/"):
            content = content.replace(b"Level", b"Left")
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    (folder / "measurements" / "half.tmp").write_text("being written")
    (folder / "session.toml").write_text(session_toml(()) + DROPPED, encoding="utf-8")
    return folder


STUDIO = """
[episode]
presenter = "the bench by the window"

[look]
mark = "mark.png"
"""


def write_in_studio(folder: Path) -> Path:
    """A small session below a studio.toml, which says part of it and names a file of its own."""
    write(folder, ("reading",))
    lines = (folder / "session.toml").read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(("presenter", "mark"))]
    (folder / "session.toml").write_text("".join(kept), encoding="utf-8")
    (folder.parent / "studio.toml").write_text(STUDIO, encoding="utf-8")
    (folder.parent / "mark.png").write_bytes(mark(200))
    return folder


def mark(red: int) -> bytes:
    """A mark of one colour."""
    kept = io.BytesIO()
    Image.new("RGB", (200, 200), (red, 120, 60)).save(kept, "PNG")
    return kept.getvalue()


WRITERS: dict[str, Callable[[Path], Path]] = {
    "sweeps": lambda folder: write(folder, SWEEPS),
    "short": lambda folder: write(folder, SHORT),
    "captures": lambda folder: write(folder, CAPTURES),
    "dropped": write_dropped,
    "studio": write_in_studio,
}

if __name__ == "__main__":
    WRITERS[sys.argv[1]](Path(sys.argv[2]))
