"""Over a hundred and thirty invented ratings of eight kinds of gear, worded as brochures of the 1970s and 80s are.

The wordings are common practice, no source; no line is of a real unit. The list was written before the program could
read most of it: the tables that one would write by hand, and the reading by meter that would answer each. What can't be
written down or judged says why.
"""

from __future__ import annotations

from dataclasses import dataclass

from brochure_lines import rated


@dataclass(frozen=True)
class Line:
    """A line, what it must be read as, and what answers it.

    Attributes
    ----------
    text
        The line of the brochure.
    tables
        The [[rated]] tables that say the same; "" if it can't be judged.
    inside, outside
        A row of a file of readings that meets each table, and one that misses it; of a nominal value without a
        tolerance only the first, which is printed next to it. A figure that only a kind of measurement gives is
        written in the same way.
    why
        Why it can't be written down or judged.
    """

    text: str
    tables: tuple[str, ...] = ()
    inside: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()
    why: str = ""


def one(text: str, table: str, inside: str, outside: str = "") -> Line:
    return Line(text, (table,), (inside,), (outside,) if outside else ())


def conditions(**named: str) -> str:
    pairs = ", ".join(f'"{name.replace("_", " ")}" = "{value}"' for name, value in named.items())
    return f"conditions = {{ {pairs} }}"


FM, AM = 'input = "FM"', 'input = "AM"'
MONO, STEREO = conditions(mode="mono"), conditions(mode="stereo")
KHZ = 'frequency = "1 kHz"'
STRONG = 'level = "65 dBf"'
AUDIO = 'band = ["20 Hz", "20 kHz"]'
WRMS, PEAK = 'weighting = "WRMS"', 'weighting = "weighted peak"'

TUNER = (
    one(
        "FM usable sensitivity (mono): 10.3 dBf (1.8 µV at 300 ohms)",
        rated("usable sensitivity", 'at_most = "10.3 dBf"', FM, MONO),
        'usable sensitivity,,9.8,dBf,"FM input, mono"',
        'usable sensitivity,,14.8,dBf,"FM input, mono"',
    ),
    Line(
        "FM 50 dB quieting sensitivity: mono 14.2 dBf, stereo 37.2 dBf",
        (
            rated("50 dB quieting sensitivity", 'at_most = "14.2 dBf"', FM, MONO),
            rated("50 dB quieting sensitivity", 'at_most = "37.2 dBf"', FM, STEREO),
        ),
        (
            '50 dB quieting sensitivity,,13.5,dBf,"FM input, mono"',
            '50 dB quieting sensitivity,,36.5,dBf,"FM input, stereo"',
        ),
        (
            '50 dB quieting sensitivity,,16.5,dBf,"FM input, mono"',
            '50 dB quieting sensitivity,,41,dBf,"FM input, stereo"',
        ),
    ),
    Line(
        "Signal-to-noise ratio at 65 dBf: mono 80 dB, stereo 74 dB",
        (rated("snr", 'at_least = "80 dB"', STRONG, MONO), rated("snr", 'at_least = "74 dB"', STRONG, STEREO)),
        ('signal to noise,,81.2,dB,"65 dBf, mono"', 'signal to noise,,75.0,dB,"65 dBf, stereo"'),
        ('signal to noise,,78.1,dB,"65 dBf, mono"', 'signal to noise,,66.4,dB,"65 dBf, stereo"'),
    ),
    Line(
        "FM distortion at 65 dBf, 1 kHz: mono 0.08 %, stereo 0.1 %",
        (
            rated("distortion", 'at_most = "0.08 %"', STRONG, KHZ, FM, MONO),
            rated("distortion", 'at_most = "0.1 %"', STRONG, KHZ, FM, STEREO),
        ),
        (
            'distortion,,0.061,%,"65 dBf, 1 kHz, FM input, mono"',
            'distortion,,0.088,%,"65 dBf, 1 kHz, FM input, stereo"',
        ),
        ('distortion,,0.21,%,"65 dBf, 1 kHz, FM input, mono"', 'distortion,,0.31,%,"65 dBf, 1 kHz, FM input, stereo"'),
    ),
    one(
        "Capture ratio: 1.0 dB",
        rated("capture ratio", 'at_most = "1 dB"'),
        "capture ratio,,0.8,dB,",
        "capture ratio,,1.6,dB,",
    ),
    one(
        "Alternate channel selectivity: 85 dB (±400 kHz)",
        rated("alternate channel selectivity", 'at_least = "85 dB"', conditions(spacing="400 kHz")),
        "alternate channel selectivity,,87,dB,spacing = 400 kHz",
        "alternate channel selectivity,,71,dB,spacing = 400 kHz",
    ),
    one(
        "AM suppression: 65 dB at 65 dBf",
        rated("AM suppression", 'at_least = "65 dB"', STRONG),
        "AM suppression,,66.4,dB,65 dBf",
        "AM suppression,,58,dB,65 dBf",
    ),
    one(
        "Frequency response (50 µs de-emphasis): 30 Hz – 15 kHz, ±0.5 dB",
        rated(
            "response", 'within = "0.5 dB"', 'band = ["30 Hz", "15 kHz"]', 'conditions = { "de-emphasis" = "50 µs" }'
        ),
        'flatness,L,0.4,dB,"30 Hz – 15 kHz, de-emphasis = 50 µs"',
        'flatness,L,0.9,dB,"30 Hz – 15 kHz, de-emphasis = 50 µs"',
    ),
    one(
        "De-emphasis error (75 µs de-emphasis): within ±1 dB, 50 Hz to 15 kHz",
        rated(
            "de-emphasis deviation",
            'within = "1 dB"',
            'band = ["50 Hz", "15 kHz"]',
            'conditions = { "de-emphasis" = "75 µs" }',
        ),
        'de-emphasis deviation,L,-0.6,dB,"50 Hz – 15 kHz, de-emphasis = 75 µs"',
        'de-emphasis deviation,L,-1.8,dB,"50 Hz – 15 kHz, de-emphasis = 75 µs"',
    ),
    one(
        "Image response ratio: 90 dB (98 MHz)",
        rated("image response ratio", 'at_least = "90 dB"', 'frequency = "98 MHz"'),
        "image response ratio,,96,dB,98 MHz",
        "image response ratio,,84,dB,98 MHz",
    ),
    one(
        "IF response ratio: 100 dB at 98 MHz",
        rated("IF response ratio", 'at_least = "100 dB"', 'frequency = "98 MHz"'),
        "IF response ratio,,104,dB,98 MHz",
        "IF response ratio,,90,dB,98 MHz",
    ),
    one(
        "Spurious response ratio: 100 dB",
        rated("spurious response ratio", 'at_least = "100 dB"'),
        "spurious response ratio,,102,dB,98 MHz",
        "spurious response ratio,,95,dB,98 MHz",
    ),
    Line(
        "FM stereo separation: 50 dB at 1 kHz, 40 dB at 10 kHz",
        (
            rated("separation", 'at_least = "50 dB"', KHZ, FM),
            rated("separation", 'at_least = "40 dB"', 'frequency = "10 kHz"', FM),
        ),
        ('crosstalk,L>R,-52,dB,"1 kHz, FM input"', 'crosstalk,L>R,-43,dB,"10 kHz, FM input"'),
        ('crosstalk,L>R,-42,dB,"1 kHz, FM input"', 'crosstalk,L>R,-33,dB,"10 kHz, FM input"'),
    ),
    one(
        "FM frequency response: 30 Hz to 15 kHz, +0.2 −0.8 dB",
        rated("response", 'within = ["-0.8 dB", "+0.2 dB"]', 'band = ["30 Hz", "15 kHz"]', FM),
        'deviation low,L,-0.6,dB,"30 Hz – 15 kHz, FM input"',
        'deviation low,L,-1.4,dB,"30 Hz – 15 kHz, FM input"',
    ),
    one(
        "Subcarrier product ratio: 65 dB",
        rated("subcarrier suppression", 'at_least = "65 dB"'),
        "subcarrier product ratio,,68,dB,",
        "subcarrier product ratio,,60,dB,",
    ),
    one(
        "Muting threshold: 19.2 dBf",
        rated("muting threshold", 'nominal = "19.2 dBf"'),
        "muting threshold,,20.1,dBf,",
    ),
    one(
        "Stereo threshold: 4 µV",
        rated("stereo threshold", 'nominal = "4 µV"'),
        "stereo threshold,,5.1,µV,",
    ),
    Line("FM tuning range: 88 to 108 MHz", why="a range of a dial has no limit to compare with"),
    one(
        "AM usable sensitivity: 300 µV/m (ferrite antenna)",
        rated("usable sensitivity", 'at_most = "300 µV/m"', AM, conditions(antenna="ferrite")),
        'usable sensitivity,,250,µV/m,"AM input, antenna = ferrite"',
        'usable sensitivity,,410,µV/m,"AM input, antenna = ferrite"',
    ),
    one(
        "AM sensitivity (20 dB S+N/N): 250 µV/m",
        rated("AM sensitivity", 'at_most = "250 µV/m"', conditions(signal_to_noise="20 dB")),
        'AM sensitivity,,210,µV/m,"1 MHz, S+N/N 20 dB"',
        'AM sensitivity,,330,µV/m,"1 MHz, S+N/N 20 dB"',
    ),
    Line(
        "AM sensitivity: 300 µV/m (internal antenna), 20 µV (external antenna)",
        (
            rated("AM sensitivity", 'at_most = "300 µV/m"', conditions(antenna="internal")),
            rated("AM sensitivity", 'at_most = "20 µV"', conditions(antenna="external")),
        ),
        ("AM sensitivity,,210,µV/m,internal antenna", "AM sensitivity,,14,µV,external antenna"),
        ("AM sensitivity,,330,µV/m,internal antenna", "AM sensitivity,,31,µV,external antenna"),
    ),
    one(
        "AM selectivity: 30 dB",
        rated("selectivity", 'at_least = "30 dB"', AM),
        "selectivity,,33,dB,AM input",
        "selectivity,,24,dB,AM input",
    ),
    one(
        "AM signal-to-noise ratio: 50 dB",
        rated("snr", 'at_least = "50 dB"', AM),
        "signal to noise,,52.0,dB,AM input",
        "signal to noise,,45.5,dB,AM input",
    ),
    one(
        "AM distortion: 0.6 %",
        rated("distortion", 'at_most = "0.6 %"', AM),
        'distortion,,0.45,%,"AM input, 400 Hz"',
        'distortion,,1.1,%,"AM input, 400 Hz"',
    ),
    one(
        "Tuner output level: 0.65 V (FM, 100 % modulation)",
        rated("output level", 'nominal = "0.65 V"', FM, conditions(modulation="100 %")),
        'output level,L,0.62,V,"FM input, modulation = 100 %"',
    ),
    Line("Antenna impedance: 75 ohms unbalanced, 300 ohms balanced", why="what a socket is made for isn't a figure"),
)

DECK = (
    one(
        "Playback equalization (3180 + 120 µs EQ): ±2 dB, 31.5 Hz to 14 kHz",
        rated(
            "equalisation deviation",
            'within = "2 dB"',
            'band = ["31.5 Hz", "14 kHz"]',
            conditions(equalisation="3180 + 120 µs"),
        ),
        'equalisation deviation,L,-1.2,dB,"31.5 Hz – 14 kHz, equalisation = 3180 + 120 µs"',
        'equalisation deviation,L,-3.2,dB,"31.5 Hz – 14 kHz, equalisation = 3180 + 120 µs"',
    ),
    one(
        "Frequency response, 120 µs EQ: 40 Hz – 12.5 kHz, ±3 dB",
        rated("response", 'within = "3 dB"', 'band = ["40 Hz", "12.5 kHz"]', conditions(equalisation="120 µs")),
        'flatness,L,2.1,dB,"40 Hz – 12.5 kHz, equalisation = 3180 + 120 µs"',
        'flatness,L,4.1,dB,"40 Hz – 12.5 kHz, equalisation = 3180 + 120 µs"',
    ),
    one(
        "Wow and flutter: 0.05 % (WRMS)",
        rated("wow and flutter", 'at_most = "0.05 %"', WRMS),
        "wow and flutter,,0.042,%,WRMS",
        "wow and flutter,,0.11,%,WRMS",
    ),
    one(
        "Wow and flutter: ±0.14 % (DIN, weighted peak)",
        rated("wow and flutter", 'at_most = "0.14 %"', PEAK),
        "wow and flutter,,0.12,%,weighted peak",
        "wow and flutter,,0.19,%,weighted peak",
    ),
    one(
        "Frequency response, metal tape: 30 Hz to 18 kHz, ±3 dB",
        rated("response", 'within = "3 dB"', 'band = ["30 Hz", "18 kHz"]', conditions(tape="metal")),
        'flatness,L,2.1,dB,"30 Hz – 18 kHz, tape = metal"',
        'flatness,L,4.2,dB,"30 Hz – 18 kHz, tape = metal"',
    ),
    Line(
        "Frequency response (−20 dB re 250 nWb/m): chrome tape 30 Hz – 17 kHz ±3 dB; normal tape 30 Hz – 15 kHz ±3 dB",
        tuple(
            rated(
                "response",
                'within = "3 dB"',
                f'band = ["30 Hz", "{top} kHz"]',
                'level = "-20 dB re 250 nWb/m"',
                conditions(tape=tape),
            )
            for tape, top in (("chrome", 17), ("normal", 15))
        ),
        tuple(
            f'flatness,L,2.5,dB,"30 Hz – {top} kHz, -20 dB re 250 nWb/m, tape = {tape}"'
            for tape, top in (("chrome", 17), ("normal", 15))
        ),
        tuple(
            f'flatness,L,5.5,dB,"30 Hz – {top} kHz, -20 dB re 250 nWb/m, tape = {tape}"'
            for tape, top in (("chrome", 17), ("normal", 15))
        ),
    ),
    Line("Frequency response at 0 dB: 30 Hz to 8 kHz ±3 dB, metal tape", why="0 dB is relative to nothing printed"),
    one(
        "S/N (A-weighted, re 3 % third harmonic distortion, metal tape, NR off): 59 dB",
        rated(
            "snr",
            'at_least = "59 dB"',
            'weighting = "A"',
            'reference = "3 % third harmonic"',
            conditions(tape="metal", noise_reduction="off"),
        ),
        'signal to noise,L,60.5,dB,"A-weighted, re 3 % third harmonic, tape = metal, noise reduction = off"',
        'signal to noise,L,55.5,dB,"A-weighted, re 3 % third harmonic, tape = metal, noise reduction = off"',
    ),
    one(
        "Signal to noise ratio with noise reduction on: 68 dB (CCIR/ARM, chrome tape)",
        rated("snr", 'at_least = "68 dB"', 'weighting = "CCIR/ARM"', conditions(noise_reduction="on", tape="chrome")),
        'signal to noise,L,70.0,dB,"CCIR/ARM, tape = chrome, noise reduction = on"',
        'signal to noise,L,63.0,dB,"CCIR/ARM, tape = chrome, noise reduction = on"',
    ),
    one(
        "Distortion: 1.0 % at 250 nWb/m, 315 Hz, chrome tape",
        rated(
            "distortion", 'at_most = "1 %"', 'level = "250 nWb/m"', 'frequency = "315 Hz"', conditions(tape="chrome")
        ),
        'distortion,L,0.8,%,"250 nWb/m, 315 Hz, tape = chrome"',
        'distortion,L,1.9,%,"250 nWb/m, 315 Hz, tape = chrome"',
    ),
    one(
        "Channel separation: 40 dB at 1 kHz",
        rated("separation", 'at_least = "40 dB"', KHZ),
        "crosstalk,L>R,-43,dB,1 kHz",
        "crosstalk,L>R,-31,dB,1 kHz",
    ),
    one(
        "Crosstalk between channels: −60 dB",
        rated("crosstalk", 'at_most = "-60 dB"'),
        "crosstalk,L>R,-63,dB,1 kHz",
        "crosstalk,L>R,-51,dB,1 kHz",
    ),
    one(
        "Erase ratio: 65 dB at 1 kHz",
        rated("erase ratio", 'at_least = "65 dB"', KHZ),
        "erase ratio,L,68,dB,1 kHz",
        "erase ratio,L,51,dB,1 kHz",
    ),
    one(
        "Bias frequency: 105 kHz",
        rated("bias frequency", 'nominal = "105 kHz"'),
        "bias frequency,,103.2,kHz,",
    ),
    Line(
        "Input sensitivity/impedance: line 60 mV/50 kΩ, mic 0.25 mV/600 Ω",
        (
            rated("input sensitivity", 'nominal = "60 mV"', 'input = "line"'),
            rated("input sensitivity", 'nominal = "0.25 mV"', 'input = "mic"'),
        ),
        ("input sensitivity,L,62,mV,line input", "input sensitivity,L,0.24,mV,mic input"),
    ),
    one(
        "Line output level: 0.58 V at 0 VU",
        rated("output level", 'nominal = "0.58 V"', 'level = "0 VU"'),
        "output level,L,0.55,V,0 VU",
    ),
    one(
        "Headphone output: 0.5 mW into 8 ohms",
        rated("headphone output", 'nominal = "0.5 mW"', 'load = "8 ohm"'),
        "headphone output,L,0.47,mW,8 ohm",
    ),
    one("Tape speed: 4.76 cm/s", rated("speed", 'nominal = "4.76 cm/s"'), "speed,,4.78,cm/s,"),
    one(
        "Speed accuracy: ±0.5 %",
        rated("speed error", 'within = "±0.5 %"'),
        "speed error,,-0.31,%,",
        "speed error,,-1.20,%,",
    ),
    one(
        "Fast winding time: less than 85 seconds with C-60 cassette",
        rated("fast winding time", 'at_most = "85 s"', conditions(cassette="C-60")),
        "fast winding time,,81,s,cassette = C-60",
        "fast winding time,,104,s,cassette = C-60",
    ),
    one(
        "Channel balance: within 1.5 dB",
        rated("channel balance", 'at_most = "1.5 dB"'),
        "channel balance,,0.9,dB,1 kHz",
        "channel balance,,2.4,dB,1 kHz",
    ),
    one(
        "Maximum output level at 315 Hz: +4 dB re 250 nWb/m, metal tape",
        rated(
            "maximum output level",
            'at_least = "4 dB"',
            'frequency = "315 Hz"',
            'reference = "250 nWb/m"',
            conditions(tape="metal"),
        ),
        'maximum output level,L,4.6,dB,"315 Hz, re 250 nWb/m, tape = metal"',
        'maximum output level,L,1.6,dB,"315 Hz, re 250 nWb/m, tape = metal"',
    ),
    one("Power consumption: 22 W", rated("power consumption", 'nominal = "22 W"'), "power consumption,,20.5,W,"),
)

TURNTABLE = (
    one(
        "Wow and flutter: 0.025 % WRMS (JIS)",
        rated("wow and flutter", 'at_most = "0.025 %"', WRMS),
        "wow and flutter,,0.022,%,WRMS",
        "wow and flutter,,0.051,%,WRMS",
    ),
    one(
        "Wow & flutter: less than ±0.04 % (DIN 45 507)",
        rated("wow and flutter", 'at_most = "0.04 %"', PEAK),
        "wow and flutter,,0.035,%,weighted peak",
        "wow and flutter,,0.08,%,weighted peak",
    ),
    one(
        "Rumble: better than −73 dB (DIN B)",
        rated("rumble", 'at_most = "-73 dB"', 'weighting = "DIN B"'),
        "rumble,,-75.1,dB,DIN B",
        "rumble,,-66.0,dB,DIN B",
    ),
    one(
        "Rumble: 52 dB (DIN-A)",
        rated("rumble", 'at_most = "-52 dB"', 'weighting = "DIN A"'),
        "rumble,,-54,dB,DIN A",
        "rumble,,-44,dB,DIN A",
    ),
    one(
        "S/N: 78 dB (DIN-B)",
        rated("snr", 'at_least = "78 dB"', 'weighting = "DIN B"'),
        "signal to noise,,79.5,dB,DIN B",
        "signal to noise,,71.0,dB,DIN B",
    ),
    Line(
        "Speeds: 33 1/3 and 45 rpm",
        (
            rated("speed", 'nominal = "33 1/3 rpm"'),
            rated("speed", 'nominal = "45 rpm"'),
        ),
        ("speed,,33.41,rpm,", "speed,,45.06,rpm,"),
    ),
    one(
        "Speed deviation: within ±0.002 %",
        rated("speed error", 'within = "±0.002 %"'),
        "speed error,,0.0011,%,",
        "speed error,,0.013,%,",
    ),
    one(
        "Pitch control range: ±6 %",
        rated("pitch control range", 'at_least = "6 %"'),
        "pitch control range,,6.4,%,",
        "pitch control range,,4.1,%,",
    ),
    Line("Starting torque: 1.6 kg·cm", why="no bench here has a torque meter, and its unit is none of the table"),
    one(
        "Start-up time: 0.7 s to 33 1/3 rpm",
        rated("start-up time", 'at_most = "0.7 s"', conditions(speed="33 1/3 rpm")),
        "start-up time,,0.61,s,speed = 33 1/3 rpm",
        "start-up time,,1.4,s,speed = 33 1/3 rpm",
    ),
    one(
        "Tracking error angle: +1.6° −0.9°",
        rated("tracking error", 'within = ["-0.9°", "+1.6°"]'),
        "tracking error,,1.2,°,",
        "tracking error,,-1.8,°,",
    ),
    one(
        "Effective arm length: 237 mm",
        rated("effective arm length", 'nominal = "237 mm"'),
        "effective arm length,,236,mm,",
    ),
    Line("Tracking force adjustment: 0 to 3 g", why="a range of a control has no limit to compare with"),
    one(
        "Effective mass: 15 g",
        rated("effective mass", 'nominal = "15 g"'),
        "effective mass,,16,g,",
    ),
)

CARTRIDGE = (
    one(
        "Output voltage: 3.5 mV (1 kHz, 5 cm/s)",
        rated("output voltage", 'nominal = "3.5 mV"', KHZ, 'level = "5 cm/s"'),
        'output voltage,L,3.8,mV,"1 kHz, 5 cm/s"',
    ),
    one(
        "Output: 0.3 mV at 1 kHz, 3.54 cm/s peak",
        rated("output voltage", 'nominal = "0.3 mV"', KHZ, 'level = "3.54 cm/s"', conditions(velocity="peak")),
        'output voltage,L,0.28,mV,"1 kHz, 3.54 cm/s, velocity = peak"',
    ),
    one(
        "Channel balance: within 1 dB at 1 kHz",
        rated("channel balance", 'at_most = "1 dB"', KHZ),
        "channel balance,,-0.6,dB,1 kHz",
        "channel balance,,-1.9,dB,1 kHz",
    ),
    Line(
        "Channel separation: 28 dB at 1 kHz, 20 dB at 10 kHz",
        (
            rated("separation", 'at_least = "28 dB"', KHZ),
            rated("separation", 'at_least = "20 dB"', 'frequency = "10 kHz"'),
        ),
        ("crosstalk,L>R,-30,dB,1 kHz", "crosstalk,L>R,-22,dB,10 kHz"),
        ("crosstalk,L>R,-21,dB,1 kHz", "crosstalk,L>R,-14,dB,10 kHz"),
    ),
    one(
        "Frequency response: 20 Hz – 20 kHz ±1.5 dB",
        rated("response", 'within = "1.5 dB"', AUDIO),
        "flatness,L,1.1,dB,20 Hz – 20 kHz",
        "flatness,L,2.8,dB,20 Hz – 20 kHz",
    ),
    one(
        "Tracking force: 1.25 g ±0.25 g",
        rated("tracking force", 'nominal = "1.25 g"', 'tolerance = "±0.25 g"'),
        "tracking force,,1.31,g,",
        "tracking force,,1.92,g,",
    ),
    one(
        "Tracking force: 12.5 mN",
        rated("tracking force", 'nominal = "12.5 mN"'),
        "tracking force,,13.1,mN,",
    ),
    Line("Recommended load: 47 kohms", why="what the other side should have is advice, not a figure of the unit"),
    one(
        "Internal impedance: 2.7 kohms at 1 kHz",
        rated("internal impedance", 'nominal = "2.7 kohm"', KHZ),
        "internal impedance,L,2.6,kohm,1 kHz",
    ),
    one("Inductance: 450 mH", rated("inductance", 'nominal = "450 mH"'), "inductance,L,462,mH,"),
    one("DC resistance: 610 ohms", rated("DC resistance", 'nominal = "610 ohm"'), "DC resistance,L,598,ohm,"),
    one(
        "Compliance: 20 × 10⁻⁶ cm/dyne (10 Hz)",
        rated("compliance", 'nominal = "20 µm/mN"', 'frequency = "10 Hz"'),
        "compliance,,18,µm/mN,10 Hz",
    ),
    one(
        "Vertical tracking angle: 20°",
        rated("vertical tracking angle", 'nominal = "20°"'),
        "vertical tracking angle,,22,°,",
    ),
    one(
        "Trackability at 300 Hz: 80 µm, 1.5 g",
        rated("trackability", 'at_least = "80 µm"', 'frequency = "300 Hz"', conditions(tracking_force="1.5 g")),
        'trackability,L,90,µm,"300 Hz, tracking force = 1.5 g"',
        'trackability,L,60,µm,"300 Hz, tracking force = 1.5 g"',
    ),
)

LOUDSPEAKER = (
    one(
        "Sensitivity: 89 dB SPL (1 W, 1 m)",
        rated("sensitivity", 'nominal = "89 dB SPL"', 'power = "1 W"', conditions(distance="1 m")),
        'sensitivity,,88.2,dB SPL,"1 W, distance = 1 m"',
    ),
    one(
        "Sensitivity: 91 dB/W/m",
        rated("sensitivity", 'nominal = "91 dB SPL"', 'power = "1 W"', conditions(distance="1 m")),
        'sensitivity,,90.1,dB SPL,"1 W, distance = 1 m"',
    ),
    one("Nominal impedance: 8 ohms", rated("impedance", 'nominal = "8 ohm"'), "impedance,,7.2,ohm,"),
    one(
        "Minimum impedance: 6.4 ohms at 120 Hz",
        rated("minimum impedance", 'at_least = "6.4 ohm"', 'frequency = "120 Hz"'),
        "minimum impedance,,6.6,ohm,120 Hz",
        "minimum impedance,,4.9,ohm,120 Hz",
    ),
    one(
        "Frequency response: 45 Hz – 20 kHz ±3 dB",
        rated("response", 'within = "3 dB"', 'band = ["45 Hz", "20 kHz"]'),
        "flatness,L,2.6,dB,45 Hz – 20 kHz",
        "flatness,L,4.9,dB,45 Hz – 20 kHz",
    ),
    one(
        "Crossover frequency: 2.5 kHz",
        rated("crossover frequency", 'nominal = "2.5 kHz"'),
        "crossover frequency,,2.62,kHz,",
    ),
    one(
        "System resonance: 42 Hz",
        rated("system resonance", 'nominal = "42 Hz"'),
        "system resonance,L,44.5,Hz,",
    ),
    one("Qtc: 0.7", rated("Qtc", "nominal = 0.7"), "Qtc,L,0.74,,"),
    Line("Power handling: 100 W continuous programme", why="to find out would mean to destroy it"),
    one(
        "Harmonic distortion: less than 1 % at 90 dB SPL, 100 Hz – 10 kHz",
        rated("thd", 'at_most = "1 %"', 'level = "90 dB SPL"', 'band = ["100 Hz", "10 kHz"]'),
        'worst distortion,L,0.8,%,"90 dB SPL, 100 Hz – 10 kHz"',
        'worst distortion,L,2.8,%,"90 dB SPL, 100 Hz – 10 kHz"',
    ),
    one(
        "Pair matching: within ±1 dB, 100 Hz – 10 kHz",
        rated("pair matching", 'within = "1 dB"', 'band = ["100 Hz", "10 kHz"]'),
        "pair matching,,-0.7,dB,100 Hz – 10 kHz",
        "pair matching,,1.9,dB,100 Hz – 10 kHz",
    ),
    Line("Dispersion: −6 dB at 60° horizontally", why="two figures that hold together, neither of which is the limit"),
    one(
        "Maximum sound pressure level: 105 dB SPL",
        rated("maximum sound pressure level", 'at_least = "105 dB SPL"'),
        "maximum sound pressure level,,106.2,dB SPL,",
        "maximum sound pressure level,,98,dB SPL,",
    ),
)

PLAYER = (
    one(
        "Frequency response: 4 Hz – 20 kHz ±0.5 dB",
        rated("response", 'within = "0.5 dB"', 'band = ["4 Hz", "20 kHz"]'),
        "flatness,L,0.31,dB,4 Hz – 20 kHz",
        "flatness,L,0.92,dB,4 Hz – 20 kHz",
    ),
    one(
        "Total harmonic distortion: 0.0025 % at 1 kHz, 0 dBFS",
        rated("thd", 'at_most = "0.0025 %"', KHZ, 'level = "0 dBFS"'),
        'THD,L,0.0021,%,"1 kHz, 0 dBFS"',
        'THD,L,0.0061,%,"1 kHz, 0 dBFS"',
    ),
    Line("Total harmonic distortion: 0.003 % (1 kHz, 0 dB)", why="0 dB is relative to nothing printed"),
    one(
        "Dynamic range: 98 dB (EIAJ)",
        rated("dynamic range", 'at_least = "98 dB"', conditions(method="EIAJ")),
        "dynamic range,L,99.2,dB,method = EIAJ",
        "dynamic range,L,94.4,dB,method = EIAJ",
    ),
    one(
        "Signal-to-noise ratio: 105 dB (A-weighted, re 0 dBFS)",
        rated("snr", 'at_least = "105 dB"', 'weighting = "A"', 'reference = "0 dBFS"'),
        'signal to noise,L,107.0,dB,"A-weighted, re 0 dBFS"',
        'signal to noise,L,98.0,dB,"A-weighted, re 0 dBFS"',
    ),
    one(
        "Channel separation: 100 dB (1 kHz)",
        rated("separation", 'at_least = "100 dB"', KHZ),
        "crosstalk,L>R,-104,dB,1 kHz",
        "crosstalk,L>R,-88,dB,1 kHz",
    ),
    one(
        "Dynamic range (CCIR-RMS): more than 92 dB",
        rated("dynamic range", 'at_least = "92 dB"', 'weighting = "CCIR-RMS"'),
        'dynamic range,L,92.6,dB,"CCIR-RMS, -60 dBFS"',
        'dynamic range,L,90.1,dB,"CCIR-RMS, -60 dBFS"',
    ),
    one(
        "Line output level: 2 V (0 dBFS)",
        rated("output level", 'nominal = "2 V"', 'level = "0 dBFS"'),
        "output level,L,2.08,V,0 dBFS",
    ),
    one(
        "Output impedance: 200 ohms",
        rated("source impedance", 'nominal = "200 ohm"'),
        "source impedance,L,212,ohm,1 kHz",
    ),
    Line("Wow and flutter: below measurable limit (quartz precision)", why="has no figure"),
    one(
        "Channel phase difference: less than 2° at 20 kHz",
        rated("channel phase difference", 'at_most = "2°"', 'frequency = "20 kHz"'),
        "channel phase difference,,1.2,°,20 kHz",
        "channel phase difference,,80,°,20 kHz",
    ),
    one(
        "Linearity error: within ±0.5 dB at −80 dBFS",
        rated("linearity error", 'within = "0.5 dB"', 'level = "-80 dBFS"'),
        "linearity error,L,-0.3,dB,-80 dBFS",
        "linearity error,L,-2.1,dB,-80 dBFS",
    ),
    one(
        "De-emphasis deviation: within ±0.3 dB, 1 kHz to 16 kHz",
        rated("de-emphasis deviation", 'within = "0.3 dB"', 'band = ["1 kHz", "16 kHz"]'),
        "de-emphasis deviation,L,-0.21,dB,1 kHz – 16 kHz",
        "de-emphasis deviation,L,-0.8,dB,1 kHz – 16 kHz",
    ),
    one(
        "Headphone output: 30 mW into 32 ohms",
        rated("headphone output", 'nominal = "30 mW"', 'load = "32 ohm"'),
        "headphone output,L,28.4,mW,32 ohm",
    ),
    one("Jitter: less than 2 ns", rated("jitter", 'at_most = "2 ns"'), "jitter,,1.1,ns,", "jitter,,6.2,ns,"),
    one(
        "Pitch accuracy: ±0.003 %",
        rated("pitch accuracy", 'within = "±0.003 %"'),
        "pitch accuracy,,0.0021,%,",
        "pitch accuracy,,0.008,%,",
    ),
    one("Access time: 1.5 s", rated("access time", 'at_most = "1.5 s"'), "access time,,1.3,s,", "access time,,2.9,s,"),
)

PREAMPLIFIER = (
    one(
        "Maximum output (1 kHz, 0.1 % THD): 10 V",
        rated("maximum output", 'at_least = "10 V"', KHZ, 'thd = "0.1 %"'),
        'maximum output,L,11.2,V,"1 kHz, 0.1 % THD"',
        'maximum output,L,8.2,V,"1 kHz, 0.1 % THD"',
    ),
    Line(
        "Output level: pre out 1 V, tape out 150 mV",
        (
            rated("output level", 'nominal = "1 V"', conditions(output="pre out")),
            rated("output level", 'nominal = "150 mV"', conditions(output="tape out")),
        ),
        ("output level,L,1.04,V,output = pre out", "output level,L,148,mV,output = tape out"),
    ),
    one(
        "THD: 0.005 % at 2 V, 20 Hz – 20 kHz",
        rated("thd", 'at_most = "0.005 %"', 'level = "2 V"', AUDIO),
        'worst distortion,L,0.004,%,"2 V, 20 Hz – 20 kHz"',
        'worst distortion,L,0.009,%,"2 V, 20 Hz – 20 kHz"',
    ),
    one(
        "Phono S/N (MM, A-weighted): 88 dB re 5 mV input",
        rated("snr", 'at_least = "88 dB"', 'weighting = "A"', 'reference = "5 mV"', 'input = "phono MM"'),
        'signal to noise,L,89.5,dB,"A-weighted, re 5 mV input, phono MM input"',
        'signal to noise,L,81.0,dB,"A-weighted, re 5 mV input, phono MM input"',
    ),
    one(
        "S/N (line): 105 dB re 2 V output, A-weighted",
        rated("snr", 'at_least = "105 dB"', 'weighting = "A"', 'reference = "2 V output"', 'input = "line"'),
        'signal to noise,L,107.0,dB,"A-weighted, re 2 V output, line input"',
        'signal to noise,L,101.0,dB,"A-weighted, re 2 V output, line input"',
    ),
    Line(
        "Phono overload (1 kHz): MM 230 mV, MC 12 mV",
        (
            rated("phono overload", 'at_least = "230 mV"', KHZ, 'input = "MM"'),
            rated("phono overload", 'at_least = "12 mV"', KHZ, 'input = "MC"'),
        ),
        ('phono overload,L,241,mV,"1 kHz, MM input"', 'phono overload,L,13.4,mV,"1 kHz, MC input"'),
        ('phono overload,L,181,mV,"1 kHz, MM input"', 'phono overload,L,9.1,mV,"1 kHz, MC input"'),
    ),
    one(
        "RIAA deviation: ±0.2 dB, 20 Hz – 20 kHz",
        rated("phono response", 'within = "0.2 dB"', AUDIO),
        "riaa deviation,L,0.15,dB,20 Hz – 20 kHz",
        "riaa deviation,L,0.55,dB,20 Hz – 20 kHz",
    ),
    Line(
        "Gain: line 20 dB, phono MM 40 dB",
        (
            rated("gain", 'nominal = "20 dB"', 'input = "line"'),
            rated("gain", 'nominal = "40 dB"', 'input = "phono MM"'),
        ),
        ('gain,L,20.4,dB,"line input, 1 kHz"', 'gain,L,39.6,dB,"phono MM input, 1 kHz"'),
    ),
    Line(
        "Tone controls: bass ±10 dB at 100 Hz, treble ±10 dB at 10 kHz",
        (
            rated("bass control", 'nominal = "10 dB"', 'frequency = "100 Hz"'),
            rated("treble control", 'nominal = "10 dB"', 'frequency = "10 kHz"'),
        ),
        ("bass control,L,9.6,dB,100 Hz", "treble control,L,10.2,dB,10 kHz"),
    ),
    one(
        "Equaliser range: ±12 dB",
        rated("equaliser range", 'at_least = "12 dB"'),
        "equaliser range,L,12.4,dB,",
        "equaliser range,L,10.1,dB,",
    ),
    one(
        "Boost/cut: ±10 dB at 1 kHz",
        rated("equaliser range", 'at_least = "10 dB"', KHZ),
        "equaliser range,L,10.4,dB,1 kHz",
        "equaliser range,L,8.1,dB,1 kHz",
    ),
    Line(
        "Center frequencies: 60 Hz, 1 kHz, 10 kHz",
        (
            rated("centre frequency", 'nominal = "60 Hz"'),
            rated("centre frequency", 'nominal = "1 kHz"'),
            rated("centre frequency", 'nominal = "10 kHz"'),
        ),
        ("centre frequency,L,61.2,Hz,", "centre frequency,L,1031,Hz,", "centre frequency,L,9.8,kHz,"),
    ),
    one("Filter Q: 1.4", rated("band Q", "nominal = 1.4"), "band Q,L,1.3,,"),
    one(
        "Centre frequency accuracy: within ±5 %",
        rated("centre frequency accuracy", 'within = "±5 %"'),
        "centre frequency accuracy,L,-3.1,%,",
        "centre frequency accuracy,L,-8.4,%,",
    ),
    one(
        "Input impedance: 47 kohms",
        rated("input impedance", 'nominal = "47 kohm"'),
        "input impedance,L,46.2,kohm,",
    ),
    one(
        "Volume tracking: within ±1 dB",
        rated("volume tracking", 'within = "1 dB"'),
        "volume tracking,,0.6,dB,",
        "volume tracking,,-2.2,dB,",
    ),
    one(
        "Headphone output power: 200 mW into 32 ohms at 1 % THD",
        rated("headphone output", 'nominal = "200 mW"', 'load = "32 ohm"', 'thd = "1 %"'),
        'headphone output,L,188,mW,"32 ohm, 1 % THD"',
    ),
    one(
        "Channel separation at 10 kHz: 60 dB",
        rated("separation", 'at_least = "60 dB"', 'frequency = "10 kHz"'),
        "crosstalk,L>R,-63,dB,10 kHz",
        "crosstalk,L>R,-51,dB,10 kHz",
    ),
    Line("Subsonic filter: 18 Hz, −12 dB/oct", why="two figures that hold together: a filter's curve shows both"),
    one(
        "Slew rate: 40 V/µs",
        rated("slew rate", 'at_least = "40 V/µs"'),
        "slew rate,L,43,V/µs,",
        "slew rate,L,31,V/µs,",
    ),
    one(
        "Hum and noise (volume at minimum): 60 µV",
        rated("noise", 'at_most = "60 µV"', 'volume = "minimum"'),
        "noise,L,48,µV,volume at minimum",
        "noise,L,130,µV,volume at minimum",
    ),
)

VALVES = (
    one(
        "Power output: 35 W per channel into 8 ohms at 1 % THD, 1 kHz",
        rated("power", 'at_least = "35 W"', 'load = "8 ohm"', 'thd = "1 %"', KHZ),
        'power,L,37.2,W,"1 % THD, 8 ohm, 1 kHz"',
        'power,L,31.0,W,"1 % THD, 8 ohm, 1 kHz"',
    ),
    one(
        "Damping factor: 12 at 1 kHz (8 ohm tap)",
        rated("damping factor", "at_least = 12", KHZ, conditions(tap="8 ohm")),
        'damping factor,L,14,,"1 kHz, tap = 8 ohm"',
        'damping factor,L,9,,"1 kHz, tap = 8 ohm"',
    ),
    one(
        "B+ voltage: 440 V ±5 %",
        rated("B+ voltage", 'nominal = "440 V"', 'tolerance = "±5 %"'),
        "B+ voltage,,431,V,",
        "B+ voltage,,391,V,",
    ),
    one("Bias current: 50 mA per valve", rated("bias current", 'nominal = "50 mA"'), "bias current,L,47,mA,"),
    one("Bias voltage: −48 V", rated("bias voltage", 'nominal = "-48 V"'), "bias voltage,L,-46.5,V,"),
    one(
        "Heater voltage: 6.3 V ±0.3 V",
        rated("heater voltage", 'nominal = "6.3 V"', 'tolerance = "±0.3 V"'),
        "heater voltage,,6.4,V,",
        "heater voltage,,5.6,V,",
    ),
    one("Hum level: −80 dB", rated("hum", 'at_most = "-80 dB"'), "hum,L,-84.0,dB,", "hum,L,-71.0,dB,"),
    one(
        "Input sensitivity: 0.7 V for rated output",
        rated("input sensitivity", 'nominal = "0.7 V"'),
        "input sensitivity,L,0.68,V,1 kHz",
    ),
    one(
        "Frequency response: 10 Hz – 60 kHz, +0 −1 dB at 1 W",
        rated("response", 'within = ["-1 dB", "+0 dB"]', 'band = ["10 Hz", "60 kHz"]', 'power = "1 W"'),
        'deviation low,L,-0.7,dB,"10 Hz – 60 kHz, 1 W"',
        'deviation low,L,-1.7,dB,"10 Hz – 60 kHz, 1 W"',
    ),
    one(
        "Intermodulation: 1 % at 35 W (60 Hz : 7 kHz = 4 : 1)",
        rated("intermodulation", 'at_most = "1 %"', 'power = "35 W"', 'tones = ["60 Hz", "7 kHz"]'),
        'intermodulation,L,0.8,%,"35 W, 60 Hz + 7 kHz"',
        'intermodulation,L,1.8,%,"35 W, 60 Hz + 7 kHz"',
    ),
    Line("Power bandwidth: 20 Hz – 35 kHz (−3 dB)", why="two corners at half power, which no reading gives"),
    one(
        "Residual noise: 0.5 mV (input shorted)",
        rated("noise", 'at_most = "0.5 mV"', 'termination = "shorted"'),
        "noise,L,0.41,mV,input shorted",
        "noise,L,0.91,mV,input shorted",
    ),
)

GEAR: dict[str, tuple[Line, ...]] = {
    "FM tuner": TUNER,
    "cassette deck": DECK,
    "turntable": TURNTABLE,
    "cartridge": CARTRIDGE,
    "loudspeaker": LOUDSPEAKER,
    "CD player": PLAYER,
    "preamplifier": PREAMPLIFIER,
    "valve amplifier": VALVES,
}
