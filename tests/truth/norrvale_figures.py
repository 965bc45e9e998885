"""Every figure of the sample session that a correct tool must report, with the tolerance that the files leave.

The figures come from norrvale_model.py, norrvale_signals.py and norrvale_networks.py, beside this file. Nothing of
reviewkit is imported.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import norrvale_model as truth
import norrvale_networks as networks
import norrvale_signals as signals
import numpy as np

AUDIO_BAND_HZ = (20.0, 20_000.0)
PASS_BAND_HZ = (10.0, 35_000.0)  # the rated band of the response
TONE_LIMIT_HZ = 20_000.0


@dataclass(frozen=True)
class Truth:
    """One figure. `tolerance` is absolute, in `unit`: rounding in the file, noise, and interpolation between points."""

    measurement: str
    quantity: str
    channel: str
    value: float
    unit: str
    tolerance: float
    at: Mapping[str, float | tuple[float, float] | str | None] = field(default_factory=dict)  # None: not stated


def tone_figures(measurement: str, stage: str, peak_v: float | None = None) -> list[Truth]:
    """Figures of a captured tone, by default the 4 W one. The band is 20 Hz – 20 kHz, so harmonics reach the 20th."""
    return [figure for name in truth.CHANNELS for figure in _tone_figures(measurement, name, stage, peak_v)]


def _tone_figures(measurement: str, name: str, stage: str, peak_v: float | None) -> list[Truth]:
    volts = truth.tone_harmonics(name, stage, peak_v)
    first = float(volts[1])
    noise = math.hypot(truth.noise_v(TONE_LIMIT_HZ - 20), truth.hum_v(name))
    unwanted = math.hypot(math.sqrt(float((volts[2:] ** 2).sum())), noise)
    is_spectrum = peak_v is not None
    figures = []

    def add(quantity: str, value: float, unit: str, tolerance: float, **at: float) -> None:
        figures.append(Truth(measurement, quantity, name, value, unit, tolerance, at))

    # a spectrum's levels are written to 0.01 dB, its lines stand 3 Hz apart
    frequency = truth.model.SPECTRUM_HZ if is_spectrum else truth.model.TONE_HZ
    add("frequency", frequency, "Hz", 0.03 if is_spectrum else 0.003)
    add("level", first, "V", first * (2e-3 if is_spectrum else 1e-4))
    add("power", first**2 / 8, "W", first**2 / 8 * (4e-3 if is_spectrum else 2e-4))
    for highest in (9, 10, 20):  # the highest harmonic counted: a tool says in its conditions how many it takes
        value = truth.tone_thd_percent(name, stage, highest, peak_v)
        add("thd", value, "%", value * 0.01, highest=highest)
    value = 100 * unwanted / math.hypot(first, unwanted)
    add("thd_plus_noise", value, "%", value * 0.01)
    add("sinad", 20 * math.log10(first / unwanted), "dB", 0.1)
    add("snr", 20 * math.log10(first / noise), "dB", 0.3)
    add("hum", 20 * math.log10(truth.hum_v(name) / first), "dB", 1.0)
    for order in range(2, 10):
        level = 20 * math.log10(float(volts[order]) / first)
        # three standard deviations of the noise inside a lobe of some 10 Hz (24 Hz in the spectrum file)
        spread = 3 * truth.noise_v(24 if is_spectrum else 10) / float(volts[order])
        add(f"harmonic_{order}", level, "dB", 0.03 + 20 * math.log10(1 + spread))
    return figures


def response_figures(measurement: str = "response") -> list[Truth]:
    """Figures of the response file, over the audio band and over the rated one. Tolerance: its scatter and rounding."""
    figures = []
    for band in (AUDIO_BAND_HZ, PASS_BAND_HZ):
        frequency = np.geomspace(*band, 4001)
        levels = {name: truth.response_db(name, frequency) for name in truth.CHANNELS}
        for name, level in levels.items():
            for quantity, value in (("deviation_high", level.max()), ("deviation_low", level.min()),
                                    ("flatness", np.abs(level).max())):  # fmt: skip
                figures.append(Truth(measurement, quantity, name, float(value), "dB", 0.01, {"band": band}))
        between = truth.balance_db(1000.0) + levels["L"] - levels["R"]
        worst = float(np.abs(between).max())
        figures.append(Truth(measurement, "channel_balance_worst", "", worst, "dB", 0.012, {"band": band}))
    balance = truth.balance_db(1000.0)
    figures.append(Truth(measurement, "channel_balance", "", balance, "dB", 0.01, {"frequency": 1000.0}))
    for name in truth.CHANNELS:
        low, high = truth.corner_hz(name, 1.0, 100.0), truth.corner_hz(name, 10_000.0, 200_000.0)
        figures.append(Truth(measurement, "corner_low", name, low, "Hz", 0.01 * low))
        figures.append(Truth(measurement, "corner_high", name, high, "Hz", 0.005 * high))
    return figures


def distortion_power_figures(
    measurement: str, stage: str, load_ohm: float, limits: tuple[float, ...], rated_w: float
) -> list[Truth]:
    """Power at each limit, the lowest reading, the highest from 250 mW. Tolerance: points 1 % apart at the knee."""
    figures = []
    for name in truth.CHANNELS:
        for limit in limits:
            power = truth.power_at_limit_w(name, stage, limit, load_ohm)
            if power is not None:
                where = {"limit": limit, "load": load_ohm}
                figures.append(Truth(measurement, "power_at_limit", name, power, "W", 0.003 * power, where))
        lowest = truth.lowest_percent(name, stage, load_ohm)
        spot = truth.sweep_percent(name, stage, 1.0, load_ohm=load_ohm)
        figures.append(Truth(measurement, "distortion", name, spot, "%", 0.01 * spot, {"load": load_ohm, "power": 1.0}))
        figures.append(Truth(measurement, "lowest_distortion", name, lowest, "%", 0.01 * lowest, {"load": load_ohm}))
        at_one_percent = truth.power_at_limit_w(name, stage, 1.0, load_ohm)
        if at_one_percent is not None and at_one_percent > rated_w:
            powers = np.geomspace(0.25, rated_w, 41)
            highest = max(truth.sweep_percent(name, stage, float(watts), 1000.0, load_ohm) for watts in powers)
            where = {"load": load_ohm, "rated": rated_w}
            figures.append(Truth(measurement, "highest_distortion", name, highest, "%", 0.02 * highest, where))
    return figures


def distortion_frequency_figures(measurement: str = "distortion-40w") -> list[Truth]:
    """THD+N at 40 W: at 1 kHz and the worst over the band (it grows with frequency: at the top), with where."""
    figures = []
    for name in truth.CHANNELS:
        frequency = np.geomspace(20, 20_000, 7)
        percent = [truth.sweep_percent(name, "after", truth.model.SWEEP_POWER_W, float(hertz)) for hertz in frequency]
        at_1k = truth.sweep_percent(name, "after", truth.model.SWEEP_POWER_W)
        worst = int(np.argmax(percent))
        where = {"frequency": float(frequency[worst]), "power": 40.0}
        figures.append(Truth(measurement, "worst_distortion", name, percent[worst], "%", 0.005 * percent[worst], where))
        figures.append(
            Truth(measurement, "distortion", name, at_1k, "%", 0.005 * at_1k, {"frequency": 1000.0, "power": 40.0})
        )
    return figures


def crosstalk_figures(measurement: str = "crosstalk") -> list[Truth]:
    """At 1 kHz, at 10 kHz, and the worst, which is at the top of the sweep. Tolerance: noise and rounding.

    Given as the separation that the brochure rates.
    """
    figures = []
    for direction in ("L>R", "R>L"):
        for quantity, hertz in (("separation", 1000.0), ("separation", 10_000.0), ("separation_worst", 20_000.0)):
            apart = -truth.crosstalk_db(direction, hertz)
            figures.append(Truth(measurement, quantity, direction, apart, "dB", 0.05, {"frequency": hertz}))
    return figures


def source_impedance_figures(measurement: str = "source-impedance") -> list[Truth]:
    """Magnitude at 1 kHz, 8 Ω over it, and the lowest damping factor of the audio band (at 20 kHz)."""
    figures = []
    for name in truth.CHANNELS:
        at_1k, at_20k = abs(truth.impedance_ohm(name, 1000.0)), abs(truth.impedance_ohm(name, 20_000.0))
        where = {"frequency": 1000.0, "load": 8.0}
        # the file's scatter is 0.1 %, a standard deviation
        figures.append(Truth(measurement, "source_impedance", name, at_1k, "Ω", 0.004 * at_1k, {"frequency": 1000.0}))
        figures.append(Truth(measurement, "damping_factor", name, 8 / at_1k, "", 0.004 * 8 / at_1k, where))
        lowest, where = 8 / at_20k, {"frequency": 20_000.0, "load": 8.0}
        figures.append(Truth(measurement, "damping_factor_lowest", name, lowest, "", 0.004 * lowest, where))
    return figures


def two_load_figures(measurement: str = "two-load") -> list[Truth]:
    """From open and loaded volts: Z = R_L (V_open / V_loaded − 1), textbook. Tolerance: half a digit of each."""
    figures = []
    for name, open_v in truth.model.OPEN_VOLTS.items():
        loaded_v = open_v * abs(8.0 / (8.0 + truth.impedance_ohm(name, 1000.0)))
        ohm = 8.0 * (open_v / loaded_v - 1)
        tolerance = 8.0 * (open_v / loaded_v**2 + 1 / loaded_v) * 0.0005
        where = {"frequency": 1000.0}
        figures.append(Truth(measurement, "source_impedance", name, ohm, "Ω", tolerance, where))
        figures.append(Truth(measurement, "damping_factor", name, 8 / ohm, "", 8 / ohm**2 * tolerance, where))
    return figures


def bench_figures(measurement: str = "bench-looped") -> list[Truth]:
    """The bench alone: noise and a part that rises with frequency, as a root of squares. Tolerance: its scatter."""
    figures = []
    for name, (flat, rising) in truth.model.BENCH_PERCENT.items():
        for quantity, hertz in (("distortion", 1000.0), ("worst_distortion", 20_000.0)):
            value = math.sqrt(flat**2 + (rising * hertz / 20_000) ** 2)
            figures.append(Truth(measurement, quantity, name, value, "%", 0.005 * value, {"frequency": hertz}))
    return figures


def contour_figures() -> list[Truth]:
    """What each knob and switch does. Tolerance: the scatter of two sweeps, some of it at its largest, and rounding."""
    settings = ("bass-up", "bass-down", "treble-up", "treble-down", "loudness", "low-filter", "high-filter")
    figures = []
    for setting in settings:
        for name in truth.CHANNELS:
            for side, band in (("low", (20.0, 1000.0)), ("high", (1000.0, 20_000.0))):
                boost = networks.boost_db(setting, name, band)
                figures.append(Truth(setting, f"boost_{side}", name, boost, "dB", 0.02))
                upwards = side == "high"
                corner = networks.contour_corner_hz(setting, name, upwards)
                if corner is not None:
                    figures.append(Truth(setting, f"corner_{side}", name, corner, "Hz", 0.003 * corner))
                    slope = networks.slope_db(setting, name, corner, upwards)
                    figures.append(Truth(setting, "slope", name, slope, "dB/octave", 0.03))
    return figures


def phono_figures(measurement: str = "phono") -> list[Truth]:
    """Deviation from the record's curve, over the audio band and the one that makers rate. Tolerance: scatter."""
    figures = []
    for band in (AUDIO_BAND_HZ, (40.0, 15_000.0)):
        for name in truth.CHANNELS:
            value = networks.largest(lambda hertz, name=name: networks.phono_deviation_db(name, hertz), band)
            figures.append(Truth(measurement, "riaa_deviation", name, value, "dB", 0.01, {"band": band}))
    return figures


def modulation_figures(measurement: str = "intermodulation") -> list[Truth]:
    """60 Hz + 7 kHz. Tolerance: levels to 0.01 dB, and noise 50 dB under the weakest line."""
    names = {"pairs": "imd", "second": "imd_second", "third": "imd_third", "lines": "imd_rss"}
    return [
        Truth(measurement, names[which], name, value, "%", 0.004 * value, {"power": 40.0 * channel.gain**2})
        for name, channel in truth.CHANNELS.items()
        for which, value in signals.modulation_percent(name).items()
    ]


def multitone_figures(measurement: str = "multitone") -> list[Truth]:
    """A tone over the strongest line that is none: hum. Tolerance: what distortion puts into its lobe."""
    figures = []
    for name in truth.CHANNELS:
        clearance, doubt, where = signals.multitone_clearance(name)
        at = {"frequency": where}
        figures.append(Truth(measurement, "multitone_clearance", name, clearance, "dB", doubt + 0.05, at))
    return figures


def square_figures(measurement: str = "square-1khz") -> list[Truth]:
    """Tolerance: of the edge, points half a microsecond apart; of the flat part, noise of 0.2 mV on a height of one
    volt and some two thousand points to a fit, 0.0014 % a standard deviation.
    """
    units = {"rise_time": "s", "overshoot": "%", "tilt": "%"}
    figures = []
    for name in truth.CHANNELS:
        for quantity, value in signals.square_figures(name).items():
            tolerance = {"rise_time": 0.005 * value, "overshoot": 0.03, "tilt": 0.01}[quantity]
            figures.append(Truth(measurement, quantity, name, value, units[quantity], tolerance))
    return figures


def noise_figures(measurement: str = "idle") -> list[Truth]:
    """Idle noise in volts, and re 40 W and 1 W into 8 Ω. Tolerance: a record of 2.5 s of white noise over 10 kHz and
    more tells its r.m.s. to 0.32 % (1 / 2√(BT)); four times that.
    """
    spread = 0.013
    figures = []
    for name in truth.CHANNELS:
        hum = truth.hum_v(name)
        figures.append(Truth(measurement, "hum_voltage", name, hum, "V", 0.01 * hum))
        for weighting in (None, "A"):
            volts = signals.idle_v(name, weighted=weighting == "A")
            at = {"weighting": weighting, "band": AUDIO_BAND_HZ}
            figures.append(Truth(measurement, "noise", name, volts, "V", spread * volts, at))
            for reference in (40.0, 1.0):
                ratio = 20 * math.log10(math.sqrt(reference * 8) / volts)
                tolerance = 20 * math.log10(1 + spread)
                figures.append(Truth(measurement, "snr", name, ratio, "dB", tolerance, {**at, "reference": reference}))
    return figures


def reading_figures(measurement: str = "readings") -> list[Truth]:
    """What follows from the model: the rest a reading states. Tolerance: half of the last digit written."""
    figures = []
    at_1k = np.array([1000.0])
    for name, channel in truth.CHANNELS.items():
        divided = 8.0 / abs(8.0 + truth.impedance_ohm(name, float(at_1k[0])))
        aux = math.sqrt(40.0 * 8.0) / (truth.model.AUX_GAIN * channel.gain * divided)
        for quantity, value, digit, at in (
            ("dc_offset", channel.offset_v, 1e-4, {}),
            ("bias", channel.bias_v, 1e-4, {}),
            ("input_sensitivity", aux, 1e-4, {"input": "aux", "frequency": 1000.0, "power": 40.0}),
            ("input_sensitivity", aux / channel.phono_1k, 1e-6, {"input": "phono", "frequency": 1000.0}),
            ("phono_overload", channel.phono_ceiling_v / channel.phono_1k, 1e-4, {"frequency": 1000.0}),
            ("hum_voltage", truth.hum_v(name), 1e-6, {"input": "aux"}),
        ):
            figures.append(Truth(measurement, quantity, name, value, "V", 0.51 * digit, at))
    return figures


@cache
def figures() -> tuple[Truth, ...]:
    """Every figure of the sample session."""
    return (
        *tone_figures("tone-before", "before"),
        *tone_figures("tone-after", "after"),
        *tone_figures("spectrum-40w", "after", truth.model.SPECTRUM_PEAK_V),
        *response_figures(),
        *distortion_frequency_figures(),
        *bench_figures(),
        *distortion_power_figures("power-8ohm-before", "before", 8.0, (1.0, 0.05), 40.0),
        *distortion_power_figures("power-8ohm", "after", 8.0, (1.0, 0.05), 40.0),
        *distortion_power_figures("power-4ohm", "after", 4.0, (1.0, 0.1), 60.0),
        *crosstalk_figures(),
        *source_impedance_figures(),
        *two_load_figures(),
        *contour_figures(),
        *phono_figures(),
        *modulation_figures(),
        *multitone_figures(),
        *square_figures(),
        *noise_figures(),
        *reading_figures(),
    )
