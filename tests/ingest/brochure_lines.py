"""Sixty invented lines, worded as brochures of the 1970s and 80s word theirs, and what each must be read as.

The wordings are common practice, no source; no line is of a real unit. The answers were written down before there was a
reader: the same tables as one would write by hand, what is printed but can't be measured here, or what must be asked
because a line can be read in two ways that give different numbers.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Read:
    """What a line gives. `tables`: as session.toml would have them; `unmeasured`: name and text of what is only
    printed.
    """

    tables: str = ""
    unmeasured: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Asked:
    """What the message about a line must contain: how it was read, and what to write."""

    words: tuple[str, ...]


def rated(quantity: str, *keys: str) -> str:
    """A [[rated]] table."""
    return "\n".join(("[[rated]]", f'quantity = "{quantity}"', *keys, ""))


EIGHT, FOUR = 'load = "8 ohm"', 'load = "4 ohm"'
BOTH = 'channels = "both"'
AUDIO = 'band = ["20 Hz", "20 kHz"]'
KHZ = 'frequency = "1 kHz"'
CONTINUOUS = 'rule = "continuous"'

POWER: dict[str, Read | Asked] = {
    "Power output: 40 W per channel into 8 ohms, 20 Hz – 20 kHz, 0.05 % THD, both channels driven": Read(
        rated("power", 'at_least = "40 W"', EIGHT, AUDIO, 'thd = "0.05 %"', BOTH)
    ),
    "Continuous average power output: 45 watts per channel minimum RMS, both channels driven into 8 ohms from 20 to "
    "20,000 Hz, with no more than 0.08% total harmonic distortion": Read(
        rated("power", 'at_least = "45 W"', EIGHT, AUDIO, 'thd = "0.08 %"', BOTH, CONTINUOUS)
    ),
    "Rated Power Output (both channels driven, 1 kHz, 0.3% THD): 38W + 38W (8Ω), 50W + 50W (4Ω)": Read(
        rated("power", 'at_least = "38 W"', EIGHT, KHZ, 'thd = "0.3 %"', BOTH)
        + rated("power", 'at_least = "50 W"', FOUR, KHZ, 'thd = "0.3 %"', BOTH)
    ),
    "RMS power, both channels driven at 1kHz, 8 Ω: 2 × 30 W (THD 0.5 %)": Read(
        rated("power", 'at_least = "30 W"', EIGHT, KHZ, 'thd = "0.5 %"', BOTH, CONTINUOUS)
    ),
    "Music power (IHF) 65 watts per channel at 4 ohms": Read(
        rated("power", 'at_least = "65 W"', FOUR, 'rule = "music"')
    ),
    "Dynamic power per channel (IHF, 1 kHz): 8 ohms 60 W, 4 ohms 85 W": Read(
        rated("power", 'at_least = "60 W"', EIGHT, KHZ, 'rule = "music"')
        + rated("power", 'at_least = "85 W"', FOUR, KHZ, 'rule = "music"')
    ),
    "DIN power, 4 Ω, 1 kHz, 1 % distortion: 2 x 35 W": Read(
        rated("power", 'at_least = "35 W"', FOUR, KHZ, 'thd = "1 %"', 'rule = "DIN"')
    ),
    "Total output power: 90 W (both channels driven into 8 ohms)": Read(
        rated("power", 'at_least = "90 W"', EIGHT, BOTH, "total = true")
    ),
    # per channel or of both?
    "Music power: 120 watts (4 ohms)": Asked(("120 W", "per channel", "total")),
    # the limit of the first figure may have other conditions than the second
    "Power: 40 W + 40 W into 8 ohms, 60 W + 60 W into 4 ohms, 1 kHz, 0.1 % THD": Asked(
        ("40 W", "1 kHz", "before the first")
    ),
    # what a maximum is, each maker knows for himself
    "Maximum power output: 55 W per channel (8 ohms)": Asked(("55 W", "maximum")),
    "Power bandwidth (IHF): 5 Hz to 60 kHz, −3 dB, 0.1 % THD": Read(
        unmeasured=(("Power bandwidth (IHF)", "5 Hz to 60 kHz, −3 dB, 0.1 % THD"),)
    ),
}

DISTORTION: dict[str, Read | Asked] = {
    "Total harmonic distortion: less than 0.05% (20 Hz–20 kHz, 40 W, 8 ohms)": Read(
        rated("thd", 'at_most = "0.05 %"', AUDIO, 'power = "40 W"', EIGHT)
    ),
    "T.H.D.: 0.05 % at 1 W, 0.03 % at 20 W": Read(
        rated("thd", 'at_most = "0.05 %"', 'power = "1 W"') + rated("thd", 'at_most = "0.03 %"', 'power = "20 W"')
    ),
    "Harmonic distortion at rated output, 8 ohms: not more than 0.1 %": Read(rated("thd", 'at_most = "0.1 %"', EIGHT)),
    "THD + noise: ≤ 0.08 % at 1 kHz, 2 V output": Read(
        rated("thd plus noise", 'at_most = "0.08 %"', KHZ, 'level = "2 V"')
    ),
    # half of what? only the power rating knows
    "THD at half rated power: 0.02 %": Asked(("0.02 %", "half", "20 W")),
    "IM distortion (60 Hz : 7 kHz = 4 : 1): less than 0.05 % at rated output, 8 ohms": Read(
        rated("intermodulation", 'at_most = "0.05 %"', 'tones = ["60 Hz", "7 kHz"]', EIGHT)
    ),
    "Intermodulation distortion (SMPTE): 0.1 % max. at 40 W": Read(
        rated("intermodulation", 'at_most = "0.1 %"', 'tones = ["60 Hz", "7 kHz"]', 'power = "40 W"')
    ),
    "I.M. distortion, 70 Hz + 7 kHz, under 0.3 %": Read(
        rated("intermodulation", 'at_most = "0.3 %"', 'tones = ["70 Hz", "7 kHz"]')
    ),
    "Transient intermodulation distortion: unmeasurable": Read(
        unmeasured=(("Transient intermodulation distortion", "unmeasurable"),)
    ),
    # a name that nobody here knows
    "Klirrfaktor: 0,05 %": Asked(("Klirrfaktor", "not measured:")),
    "Harmonic distortion: 0,1 % at 1 kHz, 25 W, 8 Ohm": Read(
        rated("thd", 'at_most = "0.1 %"', KHZ, 'power = "25 W"', EIGHT)
    ),
}

RESPONSE: dict[str, Read | Asked] = {
    "Frequency response: 10 Hz to 35 kHz, +0 −1 dB": Read(
        rated("response", 'within = ["-1 dB", "+0 dB"]', 'band = ["10 Hz", "35 kHz"]')
    ),
    "Frequency response (aux) 20 - 20,000 Hz ± 0.5 dB": Read(
        rated("response", 'within = "0.5 dB"', AUDIO, 'input = "aux"')
    ),
    "Response: 15 Hz–45 kHz +0.5/−1.5dB at 1 watt": Read(
        rated("response", 'within = ["-1.5 dB", "+0.5 dB"]', 'band = ["15 Hz", "45 kHz"]', 'power = "1 W"')
    ),
    "Frequency response, tape, tuner: 20 Hz ~ 30 kHz, −1 dB, +0.2 dB": Read(
        rated("response", 'within = ["-1 dB", "+0.2 dB"]', 'band = ["20 Hz", "30 kHz"]', 'input = "tape"')
        + rated("response", 'within = ["-1 dB", "+0.2 dB"]', 'band = ["20 Hz", "30 kHz"]', 'input = "tuner"')
    ),
    "Frequency response: 5 Hz to 100 kHz (−3 dB)": Read(
        rated("corner low", 'at_most = "5 Hz"') + rated("corner high", 'at_least = "100 kHz"')
    ),
    # nothing says what it may rise to
    "Frequency response: 10 Hz to 50 kHz, −1 dB": Asked(("10 Hz", "+0 −1 dB", "±1 dB")),
    # thousand, or 35 with three decimals?
    "Frequency response: 10 to 35,000 Hz, ±1 dB": Asked(("35,000", "35 kHz")),
    "Frequency response: 20 Hz to 20 kHz": Asked(("20 kHz", "±", "not measured:")),
    "Phono RIAA deviation: 30 Hz – 15 kHz, ±0.3 dB": Read(
        rated("phono response", 'within = "0.3 dB"', 'band = ["30 Hz", "15 kHz"]')
    ),
    "RIAA equalization: +0.2 −0.5 dB from 40 Hz to 15 kHz": Read(
        rated("phono response", 'within = ["-0.5 dB", "+0.2 dB"]', 'band = ["40 Hz", "15 kHz"]')
    ),
    # two things that are measured in two ways, each with its own band
    "Frequency response: phono (RIAA) 30 Hz – 15 kHz ±0.5 dB; aux 10 Hz – 40 kHz +0.5 −1 dB": Read(
        rated("phono response", 'within = "0.5 dB"', 'band = ["30 Hz", "15 kHz"]')
        + rated("response", 'within = ["-1 dB", "+0.5 dB"]', 'band = ["10 Hz", "40 kHz"]', 'input = "aux"')
    ),
}

NOISE: dict[str, Read | Asked] = {
    "S/N (IHF-A): phono 86 dB, aux 97 dB": Read(
        rated("snr", 'at_least = "86 dB"', 'weighting = "A"', 'input = "phono"')
        + rated("snr", 'at_least = "97 dB"', 'weighting = "A"', 'input = "aux"')
    ),
    "Signal-to-noise ratio (IHF, A network, short-circuited): PHONO MM 84 dB (5 mV); MC 70 dB (0.5 mV)": Read(
        rated(
            "snr",
            'at_least = "84 dB"',
            'weighting = "A"',
            'termination = "shorted"',
            'input = "phono MM"',
            'reference = "5 mV"',
        )
        + rated(
            "snr",
            'at_least = "70 dB"',
            'weighting = "A"',
            'termination = "shorted"',
            'input = "MC"',
            'reference = "0.5 mV"',
        )
    ),
    "S/N ratio, A-weighted, re 1 W: tuner/aux/tape 82 dB": Read(
        "".join(
            rated("snr", 'at_least = "82 dB"', 'weighting = "A"', 'reference = "1 W"', f'input = "{name}"')
            for name in ("tuner", "aux", "tape")
        )
    ),
    "Hum and noise: 80 dB below rated output": Read(rated("snr", 'at_least = "80 dB"', 'reference = "rated output"')),
    "Hum & Noise (input shorted, unweighted): aux −85 dB, phono −70 dB": Read(
        rated("snr", 'at_least = "85 dB"', 'termination = "shorted"', 'input = "aux"')
        + rated("snr", 'at_least = "70 dB"', 'termination = "shorted"', 'input = "phono"')
    ),
    # which weighting, and which edition?
    "Signal to noise ratio (DIN, 50 mW): phono 58 dB, aux 62 dB": Asked(("50 mW", "DIN", "unweighted", "A-weighted")),
    "Residual noise: 0.3 mV (8 ohms, A-weighted, volume at minimum)": Read(
        rated("noise", 'at_most = "0.3 mV"', EIGHT, 'weighting = "A"', 'volume = "minimum"')
    ),
    # the 72 dB may be of the phono input alone, or of both
    "S/N: 90 dB (aux), 72 dB": Asked(("90 dB", "72 dB", "aux")),
}

INPUTS: dict[str, Read | Asked] = {
    "Input sensitivity/impedance: phono 2.5 mV/47 kΩ": Read(
        rated("input sensitivity", 'nominal = "2.5 mV"', 'input = "phono"'),
        (("Input impedance, phono", "47 kΩ"),),
    ),
    "Input sensitivity and impedance (1 kHz, for rated output): Phono 1, 2: 2.5 mV/47 kilohms; Aux, Tape: 150 mV/50 "
    "kilohms": Read(
        "".join(
            rated("input sensitivity", f'nominal = "{value}"', KHZ, f'input = "{name}"')
            for name, value in (("phono 1", "2.5 mV"), ("phono 2", "2.5 mV"), ("aux", "150 mV"), ("tape", "150 mV"))
        ),
        (
            ("Input impedance, phono 1", "47 kΩ"),
            ("Input impedance, phono 2", "47 kΩ"),
            ("Input impedance, aux", "50 kΩ"),
            ("Input impedance, tape", "50 kΩ"),
        ),
    ),
    "Phono overload: 150 mV (1 kHz, 0.1 % THD)": Read(
        rated("phono overload", 'at_least = "150 mV"', KHZ, 'thd = "0.1 %"')
    ),
    "Phono maximum input level at 1kHz: MM 200mV r.m.s., MC 12 mV": Read(
        rated("phono overload", 'at_least = "200 mV"', KHZ, 'input = "MM"')
        + rated("phono overload", 'at_least = "12 mV"', KHZ, 'input = "MC"')
    ),
    # sensitivity, and something else that is in millivolts, too
    "Phono sensitivity: 2.5 mV, overload 150 mV": Asked(("2.5 mV", "overload")),
    "Output level/impedance: rec out 150 mV/2.2 kΩ, pre out 1 V/600 Ω": Read(
        unmeasured=(("Output level/impedance", "rec out 150 mV/2.2 kΩ, pre out 1 V/600 Ω"),)
    ),
    "Channel separation (1 kHz): phono 60 dB, aux 65 dB": Read(
        rated("separation", 'at_least = "60 dB"', KHZ, 'input = "phono"')
        + rated("separation", 'at_least = "65 dB"', KHZ, 'input = "aux"')
    ),
    "Crosstalk: better than 50 dB at 1 kHz; 38 dB at 10 kHz": Read(
        rated("crosstalk", 'at_most = "-50 dB"', KHZ) + rated("crosstalk", 'at_most = "-38 dB"', 'frequency = "10 kHz"')
    ),
    "Bass: ±10 dB at 100 Hz": Read(rated("bass control", 'nominal = "10 dB"', 'frequency = "100 Hz"')),
    "Output impedance: 0.15 ohm at 1 kHz": Read(rated("source impedance", 'nominal = "0.15 ohm"', KHZ)),
    "Damping factor (8 ohms, 1 kHz): more than 60": Read(rated("damping factor", "at_least = 60", EIGHT, KHZ)),
}

PRINTED: dict[str, Read | Asked] = {
    "High filter −6 dB/oct. above 7 kHz": Read(unmeasured=(("High filter", "−6 dB/oct. above 7 kHz"),)),
    "FM usable sensitivity (mono): 1.8 µV, 10.3 dBf": Read(
        rated("usable sensitivity", 'at_most = "1.8 µV"', 'input = "FM"', 'conditions = { mode = "mono" }')
    ),
    "FM stereo separation: 45 dB at 1 kHz, 35 dB at 10 kHz": Read(
        rated("separation", 'at_least = "45 dB"', KHZ, 'input = "FM"')
        + rated("separation", 'at_least = "35 dB"', 'frequency = "10 kHz"', 'input = "FM"')
    ),
    "Slew rate: ±40 V/µs": Read(rated("slew rate", 'at_least = "40 V/µs"')),
    "Power consumption: 250 W max. (120 V, 60 Hz)": Read(rated("power consumption", 'at_most = "250 W"')),
    'Dimensions (W × H × D): 440 x 150 x 390 mm (17-3/8" x 5-7/8" x 15-3/8")': Read(
        unmeasured=(("Dimensions (W × H × D)", '440 x 150 x 390 mm (17-3/8" x 5-7/8" x 15-3/8")'),)
    ),
    "Weight ............ 11.5 kg (25 lb. 6 oz.)": Read(unmeasured=(("Weight", "11.5 kg (25 lb. 6 oz.)"),)),
}

LINES: dict[str, Read | Asked] = POWER | DISTORTION | RESPONSE | NOISE | INPUTS | PRINTED
