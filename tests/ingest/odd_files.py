"""Odd measurement files, a case each: the bytes, what the session file says, and what must come out.

What is expected is worked out by hand from what the file says: SI prefixes, one percent is 10⁴ ppm and a ratio of 0.01.
That programs export such files is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations

Read = tuple[str, str, str, list[float]]  # role, channel, unit, values


@dataclass(frozen=True)
class Case:
    """Either `columns` (and `skipped`: line and reason) or `messages` is what must come out."""

    id: str
    data: bytes
    columns: tuple[Read, ...] = ()
    skipped: tuple[tuple[int, str], ...] = ()
    messages: tuple[str, ...] = ()
    told: Mapping[str, Mapping[str, str | int]] = field(default_factory=dict)


# ------------------------------------------------------------------ one response in every dress, alone and in pairs

RESPONSE: tuple[Read, ...] = (
    ("frequency", "", "Hz", [20.0, 1000.0, 20000.0]),
    ("level", "", "dBV", [-1.5, 0.25, -0.5]),
)
HEADED = "Frequency (Hz),Level (dBV)\n"
ROWS = "20,-1.5\n1000,0.25\n20000,-0.5\n"
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252")
DIALECTS = {
    "comma": (",", "."),
    "semicolon": (";", "."),
    "semicolon and decimal comma": (";", ","),
    "tab": ("\t", "."),
    "tab and decimal comma": ("\t", ","),
    "spaces": ("   ", "."),
    "spaces and decimal comma": ("   ", ","),
}
DRESSES = (
    "thousands", "exponents", "no-break spaces", "typographic minus", "preamble", "comments", "units row",
    "trailing separators", "blank lines", "header again", "falling", "carriage returns", "plus signs",
)  # fmt: skip


def dressed(dresses: tuple[str, ...], separator: str = ";", decimal: str = ".") -> str:
    """The response RESPONSE as a table that wears these dresses."""
    frequencies, levels = ["20", "1000", "20000"], ["-1.5", "0.25", "-0.5"]
    if "thousands" in dresses:
        group = "." if decimal == "," else ","
        frequencies = ["20", f"1{group}000", f"20{group}000"]
    if "exponents" in dresses:
        levels = [f"-15{'E'}-1", "2.5e-01".replace(".", decimal), "-0.05E+1".replace(".", decimal)]
        if "thousands" not in dresses:
            frequencies = ["2e1", "1E+03", "2e4"]
    else:
        levels = [level.replace(".", decimal) for level in levels]
    if "plus signs" in dresses:
        frequencies, levels[1] = [f"+{each}" for each in frequencies], f"+{levels[1]}"
    if "typographic minus" in dresses:
        levels = [level.replace("-", "\u2013", 1) if level.startswith("-") else level for level in levels]
    if "no-break spaces" in dresses:
        frequencies, levels = [f"{each}\u00a0" for each in frequencies], [f"\u00a0{each}" for each in levels]
    end = separator if "trailing separators" in dresses else ""
    rows = [f"{f}{separator}{v}{end}" for f, v in zip(frequencies, levels, strict=True)]
    if "falling" in dresses:
        rows.reverse()
    if "units row" in dresses:
        names = [f"Frequency{separator}Level{end}", f"Hz{separator}dBV{end}"]
    else:
        names = [f"Frequency (Hz){separator}Level (dBV){end}"]
    if "header again" in dresses:
        rows[2:2] = names
    if "comments" in dresses:
        rows = ["# 20 30", rows[0], "// begun again", *rows[1:], "* end"]
    if "blank lines" in dresses:
        rows = ["", rows[0], "   ", *rows[1:], "", ""]
    before = ["Bench: two", "Averages: 8", ""] if "preamble" in dresses else []
    return ("\r\n" if "carriage returns" in dresses else "\n").join([*before, *names, *rows]) + "\n"


def _same_response() -> list[Case]:
    cases = []
    for encoding in ENCODINGS:
        for name, (separator, decimal) in DIALECTS.items():
            text = dressed(("comments",), separator, decimal).replace("20 30", "20 °C")
            cases.append(Case(f"{encoding}: {name}", text.encode(encoding), RESPONSE))
    for first, second in combinations(DRESSES, 2):
        for separator, decimal in ((";", "."), ("\t", ",")):
            mark = "decimal comma" if decimal == "," else "decimal point"
            text = dressed((first, second), separator, decimal)
            cases.append(Case(f"{first}, {second}: {mark}", text.encode(), RESPONSE))
    cases.append(Case("every dress at once", dressed(DRESSES).encode(), RESPONSE))
    return cases


# ------------------------------------------------------------------ roles, channels, units

NAMES: dict[str, Read] = {  # one column over 20 and 40 Hz, in which 0.5 and 2.5 stand
    "L (V)": ("level", "L", "V", [0.5, 2.5]),
    "Right [mV]": ("level", "R", "V", [0.0005, 0.0025]),
    "Ch. R \u00b5V": ("level", "R", "V", [5e-7, 2.5e-6]),
    "left_\u03bcV": ("level", "L", "V", [5e-7, 2.5e-6]),
    "LEFT uV": ("level", "L", "V", [5e-7, 2.5e-6]),
    "Gain L (dB)": ("level", "L", "dB", [0.5, 2.5]),
    "Level R (dBr)": ("level", "R", "dBr", [0.5, 2.5]),
    "Output (dBu)": ("level", "", "dBu", [0.5, 2.5]),
    "Power (dBW)": ("level", "", "dBW", [0.5, 2.5]),
    "Level (dBm 600 \u2126)": ("level", "", "dBm", [0.5, 2.5]),
    "Left (dBFS)": ("level", "L", "dBFS", [0.5, 2.5]),
    "Power (W)": ("power", "", "W", [0.5, 2.5]),
    "Left Power, mW": ("power", "L", "W", [0.0005, 0.0025]),
    "Zout (\u03a9)": ("impedance", "", "\u03a9", [0.5, 2.5]),
    "Impedance L (ohms)": ("impedance", "L", "\u03a9", [0.5, 2.5]),
    "Output impedance [k\u2126]": ("impedance", "", "\u03a9", [500.0, 2500.0]),
    "Z right/mOhm": ("impedance", "R", "\u03a9", [0.0005, 0.0025]),
    "THD R (%)": ("distortion", "R", "%", [0.5, 2.5]),
    "THD+N Left ppm": ("distortion", "L", "%", [0.00005, 0.00025]),
    "Distortion (ratio)": ("distortion", "", "%", [50.0, 250.0]),
    "L to R (dB)": ("level", "L>R", "dB", [0.5, 2.5]),
    "Crosstalk R\u2192L [dB]": ("level", "R>L", "dB", [0.5, 2.5]),
    "left into right, dBV": ("level", "L>R", "dBV", [0.5, 2.5]),
}
SCALES: dict[str, Read] = {  # the first column, in which 0.5 and 2.5 stand
    "Frequency (kHz)": ("frequency", "", "Hz", [500.0, 2500.0]),
    "f/MHz": ("frequency", "", "Hz", [5e5, 2.5e6]),
    "Freq. [Hz]": ("frequency", "", "Hz", [0.5, 2.5]),
    "Time (s)": ("time", "", "s", [0.5, 2.5]),
    "t in ms": ("time", "", "s", [0.0005, 0.0025]),
    "TIME [\u00b5s]": ("time", "", "s", [5e-7, 2.5e-6]),
    "Time (\u03bcs)": ("time", "", "s", [5e-7, 2.5e-6]),
    "time_us": ("time", "", "s", [5e-7, 2.5e-6]),
}
TWO_HZ: Read = ("frequency", "", "Hz", [20.0, 40.0])


def _names() -> list[Case]:
    cases = [
        Case(f"name: {header}", f"Frequency (Hz);{header}\n20;0.5\n40;2.5\n".encode(), (TWO_HZ, column))
        for header, column in NAMES.items()
    ]
    level: Read = ("level", "", "V", [1.0, 2.0])
    cases += [
        Case(f"scale: {header}", f"{header};Level (V)\n0.5;1\n2.5;2\n".encode("utf-16"), (column, level))
        for header, column in SCALES.items()
    ]
    left, right = ("level", "L", "V", [1.0, 3.0]), ("level", "R", "V", [2.0, 4.0])
    for header in (
        "Left (V),Right (V)", "L (V),R (V)", "Ch1 (V),Ch2 (V)", "Channel 1 V,Channel 2 V", "ch a [V],ch b [V]",
        "Level L/V,Level R/V", "Vout left (V),Vout right (V)", "V L,V R", "CH1_V,CH2_V",
    ):  # fmt: skip
        text = f"Hz,{header}\n20,1,2\n40,3,4\n"
        cases.append(Case(f"channels: {header}", text.encode(), (TWO_HZ, left, right)))
    text = "Hz,one,two\n20,1,2\n40,3,4\n"
    told = {"columns": {"left": 2, "right": "two"}, "units": {"left": "V", "right": "V"}}
    cases.append(Case("channels: told by the session file", text.encode(), (TWO_HZ, left, right), told=told))
    return cases


# ------------------------------------------------------------------ rows left out


def _skipped() -> list[Case]:
    cases = []
    hertz = [20.0 + n for n in range(12)]
    for cell, why in (
        ("", "is blank"), ("--", 'has "--"'), ("NaN", 'has "NaN"'), ("OL", 'has "OL"'), ("inf", 'has "inf"'),
        ("-inf", 'has "-inf"'), (" ", "is blank"),
    ):  # fmt: skip
        rows = [f"{20 + n},{n}" for n in range(12)]
        rows.insert(5, f"24.5,{cell}")
        columns: tuple[Read, ...] = (
            ("frequency", "", "Hz", hertz),
            ("level", "", "dBV", [float(n) for n in range(12)]),
        )
        skipped = ((7, f"column 2 (Level (dBV)) {why}"),)
        cases.append(Case(f"no reading: {cell!r}", (HEADED + "\n".join(rows)).encode(), columns, skipped))
    spectrum = (("frequency", "", "Hz", [1.0, 2.0, 3.0]), ("level", "", "dBV", [-90.0, -91.0, -92.0]))
    text = HEADED + "0,-80\n1,-90\n2,-91\n3,-92\n"
    cases.append(Case("a spectrum's row at 0 Hz", text.encode(), spectrum, ((2, "a spectrum's row at 0 Hz"),)))
    text = HEADED + "20,-1.5\n1000,0.25\n1000,0.25\n20000,-0.5\n"
    cases.append(Case("the same row twice", text.encode(), RESPONSE, ((4, "the same as line 3"),)))
    return cases


# ------------------------------------------------------------------ refused, and the line to add


_ADD = "write under its [[measurement]] in session.toml"
_TABLE = "export the readings as a table of text"
REFUSED: dict[str, tuple[str | bytes, tuple[str, ...]]] = {
    "empty": (b"", ("m/x.csv: the file is empty; export the measurement again",)),
    "no data rows": (
        HEADED,
        (
            "m/x.csv:1: no row holds two numbers or more separated by comma, semicolon, tab or spaces (here: "
            f"\"Frequency (Hz),Level (dBV)\"); {_TABLE}",
        ),
    ),
    "binary": (
        HEADED.encode() + b"20,1\n\x01\x02,3\n",
        ("m/x.csv:3: binary content (character 1); export the readings as text",),
    ),
    "negative frequency": (
        HEADED + "-20,1\n20,1\n40,2\n",
        ("m/x.csv:2: \u221220 Hz is a negative frequency; export the positive half only",),
    ),
    "zero in a sweep": (
        HEADED + "0,1\n20,1\n200,2\n2000,3\n",
        ("m/x.csv:2: 0 Hz in a sweep; delete the row, or begin the sweep above zero",),
    ),
    "frequency goes back": (
        HEADED + "20,1\n200,1\n100,2\n2000,3\n",
        ("m/x.csv:4: frequency goes back from 200 Hz to 100 Hz; export one sweep per file",),
    ),
    "time goes back": (
        "Time (ms),V\n1,1\n3,1\n2,2\n4,3\n",
        ("m/x.csv:4: time goes back from 3 ms to 2 ms; export one sweep per file",),
    ),
    "one frequency, two values": (
        HEADED + "20,1\n40,2\n40,3\n",
        (
            "m/x.csv:4: 40 Hz is in lines 3 and 4 with different values; export one sweep per file, "
            "with all digits",
        ),
    ),
    "role and channel twice": (
        "Hz,Left (V),L (V)\n20,1,2\n40,3,4\n",
        (
            f'm/x.csv:1: "Left (V)" (column 2) and "L (V)" (column 3) are both level L; {_ADD} which to read, '
            "for example columns = { left = 2 } (header: Hz,Left (V),L (V))",
        ),
    ),
    "rows of differing length": (
        "Hz,Left (V),Right (V)\n20,1,2\n40,3\n60,5,6\n80,7,8,9\n",
        tuple(
            f"m/x.csv:{line}: this row has {count} cells where 3 are needed; give every row a cell for every column, "
            '"--" where a reading is missing'
            for line, count in ((3, 2), (5, 4))
        ),
    ),
    "a text in a cell": (
        HEADED + "20,1\n40,loud\n60,2\n",
        (
            'm/x.csv:3: "loud" in column 2 (Level (dBV)) is not a number; write the number alone, '
            'or "--" for none',
        ),
    ),
    "more than a tenth skipped": (
        HEADED + "20,1\n40,--\n60,2\n",
        (
            'm/x.csv:3: 1 of 3 rows hold no reading, more than a tenth (here: column 2 (Level (dBV)) has "--"); '
            "measure or export again, or delete a column that is not needed",
        ),
    ),
    "kHz or Hz": (
        "Frequency,Level (dBV)\n20,1\n40,2\n",
        (
            f'm/x.csv:1: no unit is given for "Frequency"; {_ADD} units = {{ frequency = "Hz" }} (or "kHz", whichever '
            "the file is in) (header: Frequency,Level (dBV))",
        ),
    ),
    "ratio or percent": (
        "Frequency (Hz),THD+N\n20,1\n40,2\n",
        (
            f'm/x.csv:1: no unit is given for "THD+N"; {_ADD} units = {{ distortion = "%" }} (or "dB", or "ratio", '
            "whichever the file is in) (header: Frequency (Hz),THD+N)",
        ),
    ),
    "dB or volts": (
        "Frequency (Hz),Left,Right\n20,1,2\n40,2,3\n",
        (
            f'm/x.csv:1: no unit is given for "Left" and "Right"; {_ADD} units = {{ left = "dBV", right = "dBV" }} '
            '(or "V", or "%" if it is distortion, whichever the file is in) (header: Frequency (Hz),Left,Right)',
        ),
    ),
    "an unknown unit": (
        "Frequency (Hz),Level (dBQ)\n20,1\n40,2\n",
        (
            f'm/x.csv:1: the unit "dBQ" of "Level (dBQ)" is not known; {_ADD} the one that the file is in, for '
            'example units = { level = "dBV" } (header: Frequency (Hz),Level (dBQ))',
        ),
    ),
    "unknown words": (
        "A1,B1\n20,1\n40,2\n",
        (
            f'm/x.csv:1: column 1 "A1" and column 2 "B1" cannot be identified from the header; {_ADD} which columns to '
            "read, for example columns = { frequency = 1, left = 2 } (header: A1,B1)",
        ),
    ),
    "no header": (
        "20,1\n40,2\n",
        (
            f"m/x.csv:1: the file has no header; {_ADD} which column is which and in what unit, for example "
            'columns = { frequency = 1, level = 2 } and units = { frequency = "Hz", level = "dBV" }',
        ),
    ),
    "1.5 or 1500": (
        "Frequency (Hz);Level (dBV)\n20;1,500\n40;2,500\n",
        (
            'm/x.csv:2: "1,500" may mean 1.500 or 1500, and no other cell tells which; export without marks between '
            "thousands, or with a decimal point",
        ),
    ),
    "1.000 beside whole numbers": (
        "Frequency (Hz);Level (dBV)\n20;-1\n500;0\n1.000;0\n20.000;-1\n",
        (
            'm/x.csv:4: "1.000" may mean 1.000 or 1000, and no other cell tells which; export without marks between '
            "thousands, or with decimals in every row",
            "m/x.csv:4: frequency goes back from 500 Hz to 1 Hz; export one sweep per file",
        ),
    ),
}  # fmt: skip


def _refused() -> list[Case]:
    return [
        Case(f"refused: {name}", text if isinstance(text, bytes) else text.encode(), messages=messages)
        for name, (text, messages) in REFUSED.items()
    ]


# ------------------------------------------------------------------ numbers that look right and are not


_UNDER = "write under its [[measurement]] in session.toml"
_THREE = "20,0.5\n1000,1.5\n20000,0.7\n"
_HZ: Read = ("frequency", "", "Hz", [20.0, 1000.0, 20000.0])


def _asked(header: str, what: str) -> Case:
    text = f"Frequency (Hz),{header}\n{_THREE}"
    message = f'm/x.csv:1: "{header}" {what} (header: Frequency (Hz),{header})'
    return Case(f"asked: {header}", text.encode(), messages=(message,))


def _not_the_output() -> list[Case]:
    peak = (
        f'is a peak or peak-to-peak value by its words, and r.m.s. by its unit; {_UNDER} units = {{ level = "Vpp" }} '
        '(or "Vp" for the peak, "V" for r.m.s., whichever the file is in)'
    )
    cases = [
        _asked(header, peak)
        for header in (
            "Vpp (V)",
            "Output peak-to-peak (V)",
            "Peak voltage (V)",
            "Out p-p (V)",
            "Level pk-pk (V)",
            "Crest voltage (V)",
        )
    ]
    cases.append(
        _asked(
            "Peak power (W)",
            f"is a peak or peak-to-peak value by its words, and r.m.s. by its unit; {_UNDER} units = "
            '{ power = "W" } if it is the average power, else export that',
        )
    )
    cases += [
        _asked(
            header,
            f"is not read as the output's {role}; if it is that, {_UNDER} columns = {{ {role} = 2 }}",
        )
        for header, role in (
            ("Generator level (V)", "level"), ("Input level (V)", "level"), ("Supply voltage (V)", "level"),
            ("Rail voltage (V)", "level"), ("Gen (dBu)", "level"), ("SINAD (dB)", "level"), ("SNR (dB)", "level"),
            ("S/N (dB)", "level"), ("IMD (%)", "distortion"), ("IM distortion (%)", "distortion"),
            ("H3 (%)", "distortion"), ("3rd harmonic (%)", "distortion"), ("Noise (%)", "distortion"),
            ("Uncertainty (%)", "distortion"), ("THD uncertainty (%)", "distortion"), ("THD limit (%)", "distortion"),
            ("In (V)", "level"), ("Vin (V)", "level"), ("Vcc (V)", "level"), ("Drive level (V)", "level"),
            ("Source (V)", "level"), ("DC voltage (V)", "level"),
            ("Reference level (dBV)", "level"), ("Level error (dB)", "level"), ("Phono input (V)", "level"),
            ("Rated power (W)", "power"), ("Mains power (W)", "power"), ("Input impedance (ohm)", "impedance"),
            ("Load (ohm)", "impedance"),
        )
    ]  # fmt: skip
    cases += [
        _asked(
            header,
            f"may be the power of both channels together; if it is that of each, {_UNDER} columns = {{ power = 2 }}, "
            "else export each channel's own",
        )
        for header in ("Total power (W)", "Power total, W", "Power sum (W)", "Power L+R (W)", "Total (W)")
    ]
    cases += [
        _asked(
            header,
            "may be relative to 1 mW in 600 ohm or to 1 mW in the load; if it is 600 ohm, "
            f'{_UNDER} units = {{ level = "dBm" }}, else export volts or watts',
        )
        for header in ("Power (dBm)", "Level (dBm)")
    ]
    for header in ("Mystery (%)", "Separation (dB)"):
        text = f"Frequency (Hz),{header}\n{_THREE}"
        message = (
            f'm/x.csv:1: column 2 "{header}" cannot be identified from the header; {_UNDER} which columns to read, for '
            f"example columns = {{ frequency = 1, left = 2 }} (header: Frequency (Hz),{header})"
        )
        cases.append(Case(f"asked: {header}", text.encode(), messages=(message,)))
    return cases


def _known_all_the_same() -> list[Case]:
    """What is read although it looks like the above: a sine's peak is √2 times its r.m.s., peak to peak twice that."""
    level: Read = ("level", "", "V", [2.0, 2.0, 2.0])
    output = "Frequency (Hz),Generator level (V),Output (V)\n20,1,2\n1000,1,2\n20000,1,2\n"
    cases = [Case("a generator's level beside the output's", output.encode(), (_HZ, level))]
    for header, told in (("Output (Vpp)", {}), ("Vpp (V)", {"units": {"level": "Vpp"}}), ("Level (V p-p)", {})):
        volts = [value * 0.125**0.5 for value in (0.5, 1.5, 0.7)]
        text = f"Frequency (Hz),{header}\n{_THREE}"
        cases.append(Case(f"peak to peak: {header}", text.encode(), (_HZ, ("level", "", "V", volts)), told=told))
    for header, read in {
        "Gain input to output (dB)": ("level", "", "dB", [0.5, 1.5, 0.7]),
        "Harmonic distortion (%)": ("distortion", "", "%", [0.5, 1.5, 0.7]),
        "Noise (dBV)": ("level", "", "dBV", [0.5, 1.5, 0.7]),
        "Level (decibel)": ("level", "", "dB", [0.5, 1.5, 0.7]),
    }.items():
        cases.append(Case(f"known: {header}", f"Frequency (Hz),{header}\n{_THREE}".encode(), (_HZ, read)))
    text = "timestamp (s),CH1 (V)\n0,1\n0.1,2\n0.2,3\n"
    time: tuple[Read, ...] = (("time", "", "s", [0.0, 0.1, 0.2]), ("level", "", "V", [1.0, 2.0, 3.0]))
    cases.append(Case("a timestamp", text.encode(), time))
    labelled = ",Frequency (Hz),Level (dBV)\nrun a,20,-1.5\nrun a,1000,0.25\nrun a,20000,-0.5\n"
    cases.append(Case("a text in the first column", labelled.encode(), RESPONSE))
    labelled = "Averages,8,2\nDate,Frequency (Hz),Level (dBV)\n1.5.2024,20,-1.5\n2/5/2024,1000,0.25\n-,20000,-0.5\n"
    cases.append(Case("a date in the first column, numbers before the header", labelled.encode(), RESPONSE))
    pairs = "Frequency (Hz),dB,Frequency (Hz),dB\n20,-60,20,-61\n1000,-70,1000,-71\n20000,-50,20000,-51\n"
    read_pairs: tuple[Read, ...] = (
        _HZ, ("distortion", "L", "dB", [-60.0, -70.0, -50.0]), ("distortion", "R", "dB", [-61.0, -71.0, -51.0]),
    )  # fmt: skip
    told = {"columns": {"left distortion": 2, "right distortion": 4}}
    cases.append(Case("distortion in pairs", pairs.encode(), read_pairs, told=told))
    return cases


def _senseless() -> list[Case]:
    none = 'write "--" where none was read'
    cases = []
    for name, text, told, message in (
        (
            "percentages that are all negative", "Frequency (Hz),THD (%)\n20,-71\n1000,-75\n2000,-80\n", {},
            '2: −71 in column 2 (THD (%)) cannot be a percentage; if it is in dB write units = { distortion = "dB" }',
        ),
        (
            "a column in % by the session file", "Frequency (Hz),Left\n20,-71\n1000,-75\n2000,-80\n",
            {"units": {"left": "%"}},
            '2: −71 in column 2 (Left) cannot be a percentage; if it is in dB write units = { left = "dB" }',
        ),
        (
            "one negative distortion", "Frequency (Hz),THD (%)\n20,0.1\n1000,-0.01\n2000,0.2\n", {},
            f"3: −0.01 in column 2 (THD (%)) cannot be a distortion; {none}",
        ),
        (
            "distortion above 0 dB", "Frequency (Hz),THD (dB)\n20,70\n1000,75\n2000,80\n", {},
            "2: 70 in column 2 (THD (dB)) is 316000 % of distortion; export it with its sign, or in %",
        ),
        (
            "no source impedance", "Frequency (Hz),Left (ohm),Right (ohm)\n20,0.1,0.1\n1000,0.1,0\n", {},
            f"3: 0 in column 3 (Right (ohm)) cannot be a source impedance; {none}, or measure again",
        ),
        (
            "a negative source impedance", "Frequency (Hz),Left (ohm),Right (ohm)\n20,-0.1,0.1\n1000,0.1,0.1\n", {},
            f"2: −0.1 in column 2 (Left (ohm)) cannot be a source impedance; {none}, or measure again",
        ),
        (
            "a negative power", "Power (W),THD (%)\n-1,0.1\n1,0.1\n2,0.1\n", {},
            f"2: −1 in column 1 (Power (W)) cannot be a power; {none}",
        ),
        (
            "one level with two distortions", "Level (V),THD (%)\n1,0.1\n2,0.2\n2,0.3\n4,1\n", {},
            "4: 2 in column 1 (Level (V)) is in lines 3 and 4 with different distortions; keep one of the rows, or "
            "export the power with all digits",
        ),
        (
            "the unit dBv, which some write for dBu", "Frequency (Hz),Level (dBv rms)\n20,1\n40,2\n", {},
            f'1: the unit "dBv rms" of "Level (dBv rms)" is not known; {_UNDER} the one that the file is in, for '
            'example units = { level = "dBV" } (header: Frequency (Hz),Level (dBv rms))',
        ),
        (
            "a scope's channel without its unit",
            "Vertical Units,V\nHorizontal Units,s\nTIME,CH1\n0,1\n1e-6,2\n2e-6,3\n", {},
            f'3: no unit is given for "TIME" and "CH1"; {_UNDER} units = {{ time = "s", level = "V" }} (or "ms", '
            "whichever the file is in) (header: TIME,CH1)",
        ),
        (
            "no row of two numbers", "hello\nworld one\n\nthis is 12\n", {},
            "4: no row holds two numbers or more separated by comma, semicolon, tab or spaces (here: "
            f'"this is 12"); {_TABLE}',
        ),
        (
            "a generator's level under distortion", "Generator level (V),THD (%)\n1,2\n2,3\n", {},
            'no column is a time, a frequency or a power; if "Generator level (V)" is the output\'s level, '
            f"{_UNDER} columns = {{ level = 1 }} (header: Generator level (V),THD (%))",
        ),
    ):  # fmt: skip
        place = "" if message[:1].isdigit() else "1: "
        cases.append(Case(f"refused: {name}", text.encode(), messages=(f"m/x.csv:{place}{message}",), told=told))
    return cases


CASES = (
    *_same_response(),
    *_names(),
    *_skipped(),
    *_refused(),
    *_not_the_output(),
    *_known_all_the_same(),
    *_senseless(),
)
