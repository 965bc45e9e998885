"""Every quantity that a finding may have: its name, its unit, how it is written, and which way is better."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Quantity:
    """One quantity: how it is written, which way is better, and where on a curve it is read.

    `name`: in running text and tables; `unit`: the fixed unit; `style`: the rule of `shown` that writes it; `extent`:
    "band" if it is the worst over a band, which then is a condition, "search" if it holds at whichever place has it, ""
    if it is read at one frequency or at none; `floor`: "distortion" if the bench's stated distortion is its floor,
    "own" if only the bench's own reading is, "" if it has none.
    """

    name: str
    unit: str
    style: str
    better: int = 0  # +1: more is better, -1: less is better, 0: neither
    either_way: bool = False  # a deviation: worse the further from zero, on whichever side
    extent: str = ""
    floor: str = ""

    side: int = 0  # of a tolerance with unequal sides: +1 if it is the upper one's, -1 the lower one's
    by_meter: bool = False  # a meter shows it as one number; all others are calculated from curves and waveforms
    any_unit: bool = False  # a reading of it may be in another unit: a sensitivity in microvolts
    over_power: bool = False  # read from a sweep of power, so that its own power is part of the figure
    plain: str = ""  # what viewers call it, if that isn't its name
    subject: int = 0  # its place among what an episode may be about, from 1 on; 0 if it is about something else
    opposite: str = ""  # the same figure with the other sign, under the name that a maker may rate it by

    @property
    def swept(self) -> bool:
        """Return whether it is the worst over a band."""
        return self.extent == "band"

    @property
    def plain_name(self) -> str:
        """Return what it is called by someone who measures nothing: "distortion" for THD+N."""
        return self.plain or self.name

    @property
    def is_distortion(self) -> bool:
        """Return whether it is a distortion in percent."""
        return self.floor == DISTORTION and self.unit == "%"


DISTORTION, OWN = "distortion", "own"


def _distortion(name: str, **more: Any) -> Quantity:
    """Return a distortion in percent, with what else is to be known of it."""
    return Quantity(name, "%", "percent", -1, floor=DISTORTION, **more)


QUANTITIES: dict[str, Quantity] = {
    "frequency": Quantity("frequency", "Hz", "hertz", by_meter=True),
    "level": Quantity("level", "V", "volts", by_meter=True),
    "power": Quantity("power", "W", "watts", by_meter=True),
    "gain": Quantity("gain", "dB", "db", by_meter=True),
    "thd_plus_noise": _distortion("THD+N", by_meter=True, plain="distortion", subject=1),
    "thd": _distortion("THD", by_meter=True, plain="distortion", subject=1),
    "sinad": Quantity("SINAD", "dB", "db", 1, floor=DISTORTION, by_meter=True),
    "snr": Quantity("signal to noise", "dB", "db", 1, floor=OWN, by_meter=True, subject=5),
    **{
        f"harmonic_{n}": Quantity(
            f"{n}{'nd' if n == 2 else 'rd' if n == 3 else 'th'} harmonic", "dB", "db", -1, floor=DISTORTION
        )
        for n in range(2, 10)
    },
    "harmonics_higher": Quantity("higher harmonics", "dB", "db", -1, floor=DISTORTION),
    "dynamic_range": Quantity("dynamic range", "dB", "db", 1, floor=OWN, by_meter=True),
    "hum": Quantity("hum", "dB", "db", -1, floor=OWN, by_meter=True, subject=3),
    "hum_voltage": Quantity("hum", "V", "volts", -1, floor=OWN, by_meter=True, subject=2),
    "dc_offset": Quantity("DC offset", "V", "volts", either_way=True, by_meter=True, subject=14),
    "bias": Quantity("bias", "V", "volts", either_way=True, by_meter=True),
    "deviation_high": Quantity("highest deviation", "dB", "flatness", either_way=True, extent="band", side=1),
    "deviation_low": Quantity("lowest deviation", "dB", "flatness", either_way=True, extent="band", side=-1),
    "flatness": Quantity("response", "dB", "plus-minus", -1, either_way=True, extent="band", subject=6),
    **{
        f"{name}_deviation": Quantity(
            f"{shown} deviation", "dB", "flatness", -1, either_way=True, extent="band", by_meter=True
        )
        for name, shown in (("de_emphasis", "de-emphasis"), ("equalisation", "equalisation"))
    },
    "corner_low": Quantity("lower corner", "Hz", "corner", by_meter=True),
    "corner_high": Quantity("upper corner", "Hz", "corner", by_meter=True),
    "channel_balance": Quantity("channel balance", "dB", "flatness", -1, either_way=True, by_meter=True, subject=7),
    "channel_balance_worst": Quantity(
        "channel balance", "dB", "flatness", -1, either_way=True, extent="band", subject=7
    ),
    "worst_distortion": _distortion("distortion", extent="band", subject=1),
    "distortion": _distortion("distortion", by_meter=True, subject=1),
    "power_at_limit": Quantity("power", "W", "watts", 1, over_power=True, by_meter=True, subject=13),
    "power_reached": Quantity("power", "W", "watts", 1, over_power=True),
    "lowest_distortion": _distortion(
        "lowest distortion", extent="search", over_power=True, plain="distortion", subject=1
    ),
    # between 250 mW and the rated power of a sweep of power
    "highest_distortion": _distortion(
        "highest distortion", extent="search", over_power=True, plain="distortion", subject=1
    ),
    **{
        f"{name}{end}": Quantity(
            name, "dB", "db", better, extent=extent, floor=OWN, by_meter=not end, subject=11, opposite=f"{other}{end}"
        )
        for name, other, better in (("crosstalk", "separation", -1), ("separation", "crosstalk", 1))
        for end, extent in (("", ""), ("_worst", "band"))
    },
    "source_impedance": Quantity("source impedance", "Ω", "ohms", -1, by_meter=True),
    "damping_factor": Quantity("damping factor", "", "factor", 1, by_meter=True, subject=12),
    "damping_factor_lowest": Quantity("damping factor", "", "factor", 1, extent="band"),
    "minimum_impedance": Quantity("minimum impedance", "Ω", "ohms", 1, extent="search", by_meter=True),
    "rated_impedance": Quantity("rated impedance, at most", "Ω", "load", 1),
    "peak_impedance": Quantity("impedance at the peak", "Ω", "ohms"),
    "system_resonance": Quantity("resonance", "Hz", "corner", by_meter=True),
    **{name: Quantity(name.capitalize(), "", "factor", by_meter=True) for name in ("qtc", "qts", "qms", "qes")},
    **{name: Quantity(name.replace("_", " "), "Hz", "corner") for name in ("lower_peak", "upper_peak", "tuning")},
    "speed_error": Quantity("speed error", "%", "signed-percent", -1, either_way=True, by_meter=True),
    "speed_drift": Quantity("speed drift", "%", "percent", -1, by_meter=True),
    "wow_and_flutter": Quantity("wow and flutter", "%", "percent", -1, floor=OWN, by_meter=True, subject=8),
    "unweighted_flutter": Quantity("unweighted flutter", "%", "percent", -1, floor=OWN),
    "strongest_rate": Quantity("strongest rate", "Hz", "corner"),
    "rumble": Quantity("rumble", "dB", "db", -1, floor=OWN, by_meter=True),
    "subcarrier_suppression": Quantity(
        "subcarrier suppression", "dB", "db", 1, floor=OWN, by_meter=True, plain="suppression"
    ),
    "jitter": Quantity("clock jitter", "s", "seconds", -1, floor=OWN, by_meter=True),
    "line_level": Quantity("level", "dB", "db", -1, floor=OWN),
    "strongest_other_line": Quantity("strongest other line", "dB", "db", -1, extent="search", floor=OWN),
    "azimuth_error": Quantity("azimuth error", "arcmin", "level", -1, subject=9),
    "channel_phase_difference": Quantity("phase between channels", "°", "level", -1, by_meter=True),
    "channel_delay": Quantity("delay between channels", "s", "seconds", -1),
    # under the names that makers print, see gear_names.py
    **{
        name.casefold().replace(" ", "_"): Quantity(
            name, "dBf", "level", -1, by_meter=True, any_unit=True, plain="signal needed"
        )
        for name in ("50 dB quieting sensitivity", "usable sensitivity")
    },
    "maximum_output_level": Quantity(
        "maximum output level", "dB", "boost", 1, by_meter=True, any_unit=True, plain="loudest level"
    ),
    **{
        name.replace(" ", "_"): Quantity(name, "dB", "flatness", -1, either_way=True, by_meter=True, any_unit=True)
        for name in ("linearity error", "volume tracking")
    },
    "boost_low": Quantity("boost below 1 kHz", "dB", "boost"),
    "boost_high": Quantity("boost above 1 kHz", "dB", "boost"),
    **{f"{end}_control": Quantity(f"{end} control", "dB", "db", 1, by_meter=True) for end in ("bass", "treble")},
    "band_gain": Quantity("gain of the band", "dB", "boost"),
    "centre_frequency": Quantity("centre frequency", "Hz", "corner", by_meter=True),
    "centre_frequency_accuracy": Quantity(
        "centre frequency accuracy", "%", "signed-percent", -1, either_way=True, by_meter=True
    ),
    "band_q": Quantity("Q of the band", "", "factor", by_meter=True),
    "equaliser_range": Quantity("equaliser range", "dB", "db", 1, by_meter=True),
    "slope": Quantity("slope", "dB/octave", "slope"),
    "noise": Quantity("noise", "V", "volts", -1, floor=OWN, by_meter=True, subject=4),
    "imd": _distortion("intermodulation", by_meter=True, subject=1),
    **{f"imd_{order}": _distortion(f"{order}-order intermodulation") for order in ("second", "third")},
    "imd_rss": _distortion("intermodulation, r.s.s. of the sidebands"),
    "multitone_clearance": Quantity("multitone clearance", "dB", "db", 1, extent="search", floor=OWN),
    "riaa_deviation": Quantity("phono response", "dB", "flatness", -1, either_way=True, extent="band", subject=10),
    "riaa_deviation_high": Quantity(
        "highest phono deviation", "dB", "flatness", either_way=True, extent="band", side=1
    ),
    "riaa_deviation_low": Quantity("lowest phono deviation", "dB", "flatness", either_way=True, extent="band", side=-1),
    "rise_time": Quantity("rise time", "s", "seconds", -1, by_meter=True),
    **{name: Quantity(name, "%", "percent", -1, by_meter=True) for name in ("overshoot", "tilt")},
    "input_sensitivity": Quantity("input sensitivity", "V", "volts", -1, by_meter=True),
    "phono_overload": Quantity("phono overload", "V", "volts", 1, by_meter=True),
}
SUBJECTS = tuple(sorted((name for name in QUANTITIES if QUANTITIES[name].subject), key=lambda n: QUANTITIES[n].subject))
BY_METER = tuple(name for name, quantity in QUANTITIES.items() if quantity.by_meter)
