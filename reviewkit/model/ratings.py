"""The closed table of what a maker may rate: which finding answers it, its limit, and its conditions."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.model.gear_names import SHOWN, spelled
from reviewkit.model.quantities import QUANTITIES
from reviewkit.model.session import Rating

# How a level may differ from the rated one: not at all; only upwards, which is harder (of distortion less level is no
# easier test, because noise and crossover weigh more there); either way, more being harder.
EQUAL, UPWARD, HARD = "equal", "upward", "hard"
LOWEST_POWER_W = 0.25  # from here to the rated power a power rating holds (16 CFR 432, from memory)


@dataclass(frozen=True)
class Rule:
    """The judging of one rated name.

    `band`: the worst over 20 Hz – 20 kHz is meant if neither a frequency nor a band is named, not the figure at 1 kHz.
    """

    label: str  # as printed in a table
    findings: tuple[str, ...]  # quantities that answer it, best first
    limits: tuple[str, ...]  # which limit keys it takes
    unit: str
    margin: str  # "percent", "db" or "ratio": how the distance from the limit is written
    conditions: tuple[str, ...]
    level: str = ""  # how the level may differ; "" if it isn't a condition
    band: bool = False
    covers: tuple[str, ...] = ()  # quantities that answer nothing, and say little more if this is rated

    @property
    def is_distortion(self) -> bool:
        """Return whether it is a distortion in percent, which is the best answer to it."""
        return QUANTITIES[self.findings[0]].is_distortion

    def shows(self, quantity: str) -> bool:
        """Return whether the row of this rating leaves no need for a row of this quantity."""
        return quantity in self.findings or quantity in self.covers


_INPUT = ("load", "input", "conditions")
_LEVEL = (*_INPUT, "level")
_SPOT = (*_LEVEL, "band", "frequency")
_CROSSTALK, _SEPARATION = ("crosstalk", "crosstalk_worst"), ("separation", "separation_worst")
_DRIVEN = ("load", "input", "conditions", "channels", "mains")
_FIGURE = (*_DRIVEN, "band", "frequency", "level", "figure")
_IDLE = ("weighting", *_INPUT, "termination", "volume")
_SWEPT = ("worst_distortion", "distortion")
_RIAA = ("riaa_deviation", "riaa_deviation_high", "riaa_deviation_low")

RULES: dict[str, Rule] = {
    "power": Rule(
        "Power",
        ("power_at_limit", "power_reached", *_SWEPT, "highest_distortion", "thd"),
        ("at_least",),
        "W",
        "percent",
        _FIGURE,
        UPWARD,
        covers=("thd_plus_noise",),
    ),
    "thd": Rule("THD", (*_SWEPT, "thd", "thd_plus_noise"), ("at_most",), "%", "ratio", _FIGURE, UPWARD),
    "thd_plus_noise": Rule("THD+N", (*_SWEPT, "thd_plus_noise", "thd"), ("at_most",), "%", "ratio", _FIGURE, UPWARD),
    "distortion": Rule(
        "Distortion",
        (*_SWEPT, "thd_plus_noise", "thd"),
        ("at_most",),
        "%",
        "ratio",
        tuple(name for name in _FIGURE if name != "figure"),
        UPWARD,
    ),
    "flatness": Rule(
        "Response",
        ("flatness", "deviation_high", "deviation_low"),
        ("within",),
        "dB",
        "db",
        (*_INPUT, "band", "level", "relative_to"),
        HARD,
        band=True,
    ),
    "crosstalk": Rule("Crosstalk", (*_CROSSTALK, *_SEPARATION), ("at_most",), "dB", "db", _SPOT, EQUAL),
    "separation": Rule("Separation", (*_SEPARATION, *_CROSSTALK), ("at_least",), "dB", "db", _SPOT, EQUAL),
    "damping_factor": Rule(
        "Damping factor",
        ("damping_factor", "damping_factor_lowest"),
        ("at_least",),
        "",
        "percent",
        ("load", "conditions", "band", "frequency"),
    ),
    "source_impedance": Rule(
        "Source impedance",
        ("source_impedance",),
        ("at_most", "nominal"),
        "Ω",
        "ratio",
        ("load", "conditions", "frequency"),
        covers=("damping_factor",),
    ),
    "channel_balance": Rule(
        "Channel balance",
        ("channel_balance", "channel_balance_worst"),
        ("at_most", "within"),
        "dB",
        "db",
        (*_INPUT, "volume", "band", "frequency"),
    ),
    "gain": Rule(
        "Gain",
        ("gain",),
        ("nominal", "at_least", "at_most"),
        "dB",
        "db",
        (*_INPUT, "volume", "frequency"),
    ),
    **{
        f"{control}_control": Rule(
            f"{control.capitalize()} control",
            (f"{control}_control",),
            ("nominal", "at_least"),
            "dB",
            "db",
            ("input", "conditions", "frequency"),
        )
        for control in ("bass", "treble")
    },
    "snr": Rule(
        "Signal to noise", ("snr",), ("at_least",), "dB", "db", (*_IDLE, "noise_band", "signal", "reference"), EQUAL
    ),
    "noise": Rule("Noise", ("noise",), ("at_most",), "V", "ratio", (*_IDLE, "noise_band"), covers=("snr",)),
    "hum": Rule("Hum", ("hum",), ("at_most",), "dB", "db", ("input", "conditions")),
    "dc_offset": Rule("DC offset", ("dc_offset",), ("at_most",), "V", "ratio", ("conditions",)),
    "imd": Rule("Intermodulation", ("imd",), ("at_most",), "%", "ratio", (*_DRIVEN, "level", "tones"), UPWARD),
    "multitone_clearance": Rule(
        "Multitone clearance", ("multitone_clearance",), ("at_least",), "dB", "db", _LEVEL, UPWARD
    ),
    "riaa_deviation": Rule("Phono response", _RIAA, ("within",), "dB", "db", ("conditions", "band"), band=True),
    "hum_voltage": Rule("Hum", ("hum_voltage",), ("at_most",), "V", "ratio", (*_INPUT, "termination", "volume")),
    "corner_low": Rule("Lower corner", ("corner_low",), ("at_most",), "Hz", "ratio", (*_LEVEL, "relative_to"), HARD),
    "corner_high": Rule(
        "Upper corner", ("corner_high",), ("at_least",), "Hz", "percent", (*_LEVEL, "relative_to"), HARD
    ),
    "input_sensitivity": Rule(
        "Input sensitivity",
        ("input_sensitivity",),
        ("nominal", "at_most"),
        "V",
        "ratio",
        (*_LEVEL, "frequency"),
        EQUAL,
    ),
    "phono_overload": Rule(
        "Phono overload", ("phono_overload",), ("at_least",), "V", "percent", ("input", "conditions", "frequency")
    ),
    "rise_time": Rule("Rise time", ("rise_time",), ("at_most",), "s", "ratio", ("load", "conditions", "level"), HARD),
    "overshoot": Rule("Overshoot", ("overshoot",), ("at_most",), "%", "ratio", ("load", "conditions", "level"), EQUAL),
    "tilt": Rule("Tilt", ("tilt",), ("at_most",), "%", "ratio", ("load", "conditions", "frequency", "level"), EQUAL),
}
# of a rating under the maker's own name: all that a reading may state, each of which must be the same
_OWN = (*_IDLE, "channels", "band", "frequency", "level", "thd", "reference", "sign")
_OWN_LIMITS = ("at_most", "at_least", "within", "nominal")
DECIBELS = ("dB", "dBf", "dB SPL", "dBV", "dBu", "dBW", "dBm", "dBFS", "dBr", "VU")


def rule_of(rating: Rating) -> Rule:
    """Return the rule of a rated name; of one of the maker's own, that a reading of the same name answers it."""
    known = RULES.get(rating.quantity)
    return known or Rule(
        rating.called[:1].upper() + rating.called[1:],
        (rating.quantity,),
        _OWN_LIMITS,
        rating.unit,
        "db" if rating.unit in DECIBELS else "percent" if rating.at_least is not None else "ratio",
        _OWN,
        EQUAL,
    )


def limits_of(name: str) -> tuple[str, ...]:
    """Return which limit keys a rated name takes."""
    return RULES[name].limits if name in RULES else _OWN_LIMITS


def distortion_limit(rating: Rating) -> float | None:
    """Return the distortion that a power is rated at, %; None if the maker names none."""
    return rating.thd_percent or rating.thd_plus_noise_percent


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
    "stereo_separation": "separation",
    "crosstalk_between_channels": "crosstalk",
    "hum_level": "hum",
    "bass": "bass_control",
    "treble": "treble_control",
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
    """Return a maker's words as a name: "Damping factor" -> "damping_factor"."""
    return "_".join(words.strip().lower().replace("-", "_").split())


def spaced(name: str) -> str:
    """Return a name in words: "damping_factor" -> "damping factor"."""
    return name.replace("_", " ")


def own_name(words: str) -> str:
    """Return a name that no rule has as it is compared: "Wow & flutter" -> "wow_and_flutter"."""
    return spelled(SHOWN.get(spelled(words), words)).replace(" ", "_")


def rated_name(words: str) -> str | None:
    """Return the rated name that a maker's word stands for ("damping factor" -> "damping_factor"), or None."""
    name = plain_name(words)
    name = TRADE_WORDS.get(name, name)
    return name if name in RULES else None
