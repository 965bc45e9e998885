"""The closed table of rated names: the findings that answer each, the form of its limit, its conditions.

For each condition the table states how measured and rated must compare. `equal`: the same, or the two don't compare.
`hard`: measured at least as hard as rated meets it, measured at most as hard denies it. `covered`: the measured band
must cover the rated one to meet it, or lie within it to deny it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from reviewkit.model.session import Rating

EQUAL, HARD, COVERED = "equal", "hard", "covered"


@dataclass(frozen=True)
class Rule:
    """The rule by which one rated name is judged."""

    label: str  # as printed in a table
    findings: tuple[str, ...]  # quantities that answer it, best first
    limits: tuple[str, ...]  # which limit keys it takes
    unit: str
    margin: str  # "percent", "db" or "ratio": how the distance from the limit is said
    conditions: dict[str, str]


_SHARED = {"load": EQUAL, "input": EQUAL, "channels": HARD, "mains": HARD}
_DISTORTION = {**_SHARED, "band": COVERED, "frequency": EQUAL, "power": HARD, "figure": HARD}

RULES: dict[str, Rule] = {
    "power": Rule(
        "Power", ("power_at_limit", "power_reached", "worst_distortion"), ("at_least",), "W", "percent", _DISTORTION
    ),
    "thd": Rule(
        "THD", ("worst_distortion", "distortion", "thd", "thd_plus_noise"), ("at_most",), "%", "ratio", _DISTORTION
    ),
    "thd_plus_noise": Rule(
        "THD+N", ("worst_distortion", "distortion", "thd_plus_noise", "thd"), ("at_most",), "%", "ratio", _DISTORTION
    ),
    "distortion": Rule(
        "Distortion",
        ("worst_distortion", "distortion", "thd_plus_noise", "thd"),
        ("at_most",),
        "%",
        "ratio",
        {k: v for k, v in _DISTORTION.items() if k != "figure"},
    ),
    "flatness": Rule(
        "Response",
        ("flatness", "deviation_high", "deviation_low"),
        ("within",),
        "dB",
        "db",
        {"load": EQUAL, "input": EQUAL, "band": COVERED, "power": HARD},
    ),
    "crosstalk": Rule(
        "Crosstalk",
        ("crosstalk", "crosstalk_worst"),
        ("at_most",),
        "dB",
        "db",
        {"input": EQUAL, "band": COVERED, "frequency": EQUAL},
    ),
    "separation": Rule(
        "Separation",
        ("crosstalk", "crosstalk_worst"),
        ("at_least",),
        "dB",
        "db",
        {"input": EQUAL, "band": COVERED, "frequency": EQUAL},
    ),
    "damping_factor": Rule(
        "Damping factor",
        ("damping_factor", "damping_factor_lowest"),
        ("at_least",),
        "",
        "percent",
        {"load": EQUAL, "band": COVERED, "frequency": EQUAL},
    ),
    "source_impedance": Rule(
        "Source impedance", ("source_impedance",), ("at_most",), "Ω", "ratio", {"frequency": EQUAL}
    ),
    "channel_balance": Rule(
        "Channel balance",
        ("channel_balance", "channel_balance_worst"),
        ("at_most", "within"),
        "dB",
        "db",
        {"input": EQUAL, "band": COVERED, "frequency": EQUAL},
    ),
    "gain": Rule(
        "Gain", ("gain",), ("at_least", "at_most"), "dB", "db", {"load": EQUAL, "input": EQUAL, "frequency": EQUAL}
    ),
    "snr": Rule(
        "Signal to noise", ("snr",), ("at_least",), "dB", "db", {"weighting": EQUAL, "reference": EQUAL, "input": EQUAL}
    ),
    "noise": Rule("Noise", ("noise",), ("at_most",), "V", "ratio", {"weighting": EQUAL, "input": EQUAL}),
    "hum": Rule("Hum", ("hum",), ("at_most",), "dB", "db", {"input": EQUAL}),
    "dc_offset": Rule("DC offset", ("dc_offset",), ("at_most",), "V", "ratio", {}),
    "imd": Rule("Intermodulation", ("imd",), ("at_most",), "%", "ratio", {**_SHARED, "power": HARD, "tones": EQUAL}),
    "multitone_clearance": Rule(
        "Multitone clearance", ("multitone_clearance",), ("at_least",), "dB", "db", {"load": EQUAL, "input": EQUAL}
    ),
    "riaa_deviation": Rule("Phono response", ("riaa_deviation",), ("within",), "dB", "db", {"band": COVERED}),
    "hum_voltage": Rule("Hum", ("hum_voltage",), ("at_most",), "V", "ratio", {"input": EQUAL}),
    "corner_low": Rule("Lower corner", ("corner_low",), ("at_most",), "Hz", "ratio", {"input": EQUAL}),
    "corner_high": Rule("Upper corner", ("corner_high",), ("at_least",), "Hz", "percent", {"input": EQUAL}),
    "input_sensitivity": Rule(
        "Input sensitivity", ("input_sensitivity",), ("at_most",), "V", "ratio", {"input": EQUAL}
    ),
    "phono_overload": Rule("Phono overload", ("phono_overload",), ("at_least",), "V", "percent", {"frequency": EQUAL}),
    "rise_time": Rule("Rise time", ("rise_time",), ("at_most",), "s", "ratio", {"load": EQUAL}),
    "overshoot": Rule("Overshoot", ("overshoot",), ("at_most",), "%", "ratio", {"load": EQUAL}),
    "tilt": Rule("Tilt", ("tilt",), ("at_most",), "%", "ratio", {"load": EQUAL, "frequency": EQUAL}),
}


def rated_output_w(ratings: Iterable[Rating], load_ohm: float | None) -> float | None:
    """Return the first continuous power per channel rated into a load, W; an unstated load fits any."""
    for rating in ratings:
        fits = rating.load_ohm is None or load_ohm is None or rating.load_ohm == load_ohm
        if rating.quantity == "power" and fits and not rating.total and rating.rule.lower() != "music":
            return rating.at_least
    return None


TRADE_WORDS = {
    "response": "flatness",
    "frequency_response": "flatness",
    "intermodulation": "imd",
    "signal_to_noise": "snr",
    "s/n": "snr",
    "phono_response": "riaa_deviation",
    "riaa": "riaa_deviation",
    "riaa_response": "riaa_deviation",
    "intermodulation_distortion": "imd",
    "im_distortion": "imd",
    "im": "imd",
    "continuous_power": "power",
    "output_power": "power",
    "power_output": "power",
    "thd+n": "thd_plus_noise",
    "channel_separation": "separation",
    "total_harmonic_distortion": "thd",
    "output_impedance": "source_impedance",
    "phono_riaa": "riaa_deviation",
    "riaa_accuracy": "riaa_deviation",
    "riaa_equalisation": "riaa_deviation",
    "riaa_equalization": "riaa_deviation",
}
# what a maker calls a power of another rule: it is a power, and the rule makes the difference
POWER_WORDS = {
    "music_power": "music",
    "dynamic_power": "music",
    "peak_music_power": "music",
    "short_term_power": "music",
    "din_power": "DIN",
    "din_music_power": "music",
    "rms_power": "continuous",
}


def plain_name(words: str) -> str:
    """Return a maker's words as a name: "Damping factor" → "damping_factor"."""
    return "_".join(words.strip().lower().replace("-", "_").split())


def rated_name(words: str) -> str | None:
    """Return the rated name of a maker's words ("damping factor" → "damping_factor"), or None."""
    name = plain_name(words)
    name = TRADE_WORDS.get(name, name)
    return name if name in RULES else None
