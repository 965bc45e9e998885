"""A stated model of an invented amplifier, the source of every figure in the sample session.

The unit, its maker and every figure are invented. Each channel is, in the order a signal meets it:

1. two high-pass poles and a two-pole low-pass, as `linear_gain`;
2. a static curve, as `curve`: a step at the zero crossing (what is left of crossover distortion), unequal halves of the
   output stage (even harmonics), a cubic term, and a ceiling set by the supply, which sags with the load. All but the
   ceiling grows with the current into the load and, as loop gain falls, with frequency;
3. a source impedance R + jωL (driver coil, relay, wiring). The static curve is taken at the loaded terminals, so the
   small effect of the impedance on the harmonics alone is left out;
4. white noise and mains hum; a leak from the neighbour, part resistive, part capacitive.

Before the repair the right channel is starved of bias: `step_before_v` takes the place of `step_v`.

Ahead of that chain, where a measurement goes through them: the phono stage, as `phono_gain`; and the tone controls and
filters, as `network`. The two sides of each differ by the spread of their parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LOAD_OHM = 8.0
POINTS = 2**15  # of one cycle through the static curve


@dataclass(frozen=True)
class Channel:
    """One channel of the amplifier. Volts are peak at the loaded terminals unless the name says otherwise."""

    name: str
    gain: float  # re the left channel at mid frequencies
    high_pass_hz: tuple[float, float]  # coupling and feedback capacitors
    low_pass_hz: float
    low_pass_q: float
    step_v: float  # half the width of the step at the zero crossing, bias in order
    step_before_v: float
    asymmetry: float  # the two halves of the output stage differ in gain by twice this
    cubic: float  # 1/V²
    ceiling_v: float  # where the supply would stop the output without a load
    source_ohm: float
    source_henry: float
    leak: float  # from the other channel: resistive part
    leak_1k: float  # and capacitive part at 1 kHz
    hum_v: tuple[tuple[int, float], ...]  # multiple of the mains frequency, volts r.m.s.
    phono_1k: float  # gain of the phono stage at 1 kHz
    phono_s: tuple[float, float, float]  # its time constants; 3180, 318 and 75 µs are wanted
    phono_coupling_hz: float  # and its coupling
    phono_ceiling_v: float  # what it gives at most, V r.m.s.
    spread: float  # corners of tone controls and filters re their drawn values
    offset_v: float  # at the terminals, warm
    bias_v: float  # across an emitter resistor, warm


LEFT = Channel(
    name="L", gain=1.0, high_pass_hz=(1.1, 2.3), low_pass_hz=70_000.0, low_pass_q=0.71, step_v=0.9e-3,
    step_before_v=0.9e-3, asymmetry=4.6e-4, cubic=6.0e-7, ceiling_v=33.47, source_ohm=0.147, source_henry=1.8e-6,
    leak=3.1e-4, leak_1k=4.0e-4, hum_v=((1, 80e-6), (2, 160e-6), (3, 50e-6), (4, 40e-6)),
    phono_1k=61.5, phono_s=(3180e-6 * 1.012, 318e-6 * 0.994, 75e-6 * 0.985), phono_coupling_hz=3.5,
    phono_ceiling_v=9.76, spread=1.0, offset_v=11e-3, bias_v=22.5e-3,
)  # fmt: skip
RIGHT = Channel(
    name="R", gain=0.991, high_pass_hz=(1.2, 2.5), low_pass_hz=67_000.0, low_pass_q=0.70, step_v=1.0e-3,
    step_before_v=0.203, asymmetry=5.8e-4, cubic=7.0e-7, ceiling_v=33.25, source_ohm=0.153, source_henry=1.9e-6,
    leak=3.85e-4, leak_1k=5.0e-4, hum_v=((1, 95e-6), (2, 175e-6), (3, 60e-6), (4, 40e-6)),
    phono_1k=60.9, phono_s=(3180e-6 * 0.978, 318e-6 * 1.008, 75e-6 * 1.035), phono_coupling_hz=3.8,
    phono_ceiling_v=9.72, spread=1.04, offset_v=14e-3, bias_v=22.8e-3,
)  # fmt: skip
CHANNELS = (LEFT, RIGHT)

SAG_OHM = 2.015  # of the supply, both channels driven
HARDNESS = 130.0  # of the ceiling; the higher, the sharper the knee
LOOP_HZ = 16_000.0  # where loop gain has fallen so far that the curve's errors are up by √2
NOISE_V_PER_RTHZ = 1.2e-6
MAINS_HZ = 60.0
ANALYSER_BAND_HZ = 80_000.0  # of the distortion sweeps
RATE_HZ = 48_000  # of the capture interface
BENCH_PERCENT = {"L": (0.00046, 0.00035), "R": (0.00048, 0.00033)}  # looped back at 17.9 V

# corners of the tone controls and filters as drawn, of shelves numerator first: at full up, at full down turned over
BASS_HZ = (330.0, 85.0)
TREBLE_HZ = (2400.0, 9200.0)
LOUDNESS_BASS_HZ = (190.0, 62.0)
LOUDNESS_TREBLE_HZ = (6500.0, 9800.0)
LOW_FILTER_HZ = 70.0
HIGH_FILTER_HZ, HIGH_FILTER_Q = 7000.0, 0.707

# what the bench asked of it
TONE_HZ = 999.7
TONE_PEAK_V = 8.0  # at the left terminals: 4 W into 8 Ω, 10 dB below the rated output
SPECTRUM_HZ = 341 * 48_000 / 2**14  # the analyser locks its generator to a line of its own
SPECTRUM_PEAK_V = 25.30  # 40 W into 8 Ω
SWEEP_POWER_W = 40.0
MODULATION_HZ = (60.0, 7000.0)
MODULATION_PEAK_V = (20.24, 5.06)  # 4:1 at the left terminals; together they peak as a sine of 40 W does
MULTITONE_BLOCK = 2**16  # samples at 48 kHz in which every tone has whole cycles
MULTITONE_TONES, MULTITONE_BAND_HZ = 31, (21.5, 18_000.0)
MULTITONE_TOTAL_V = 1.0  # r.m.s. of all tones at the left terminals: 125 mW into 8 Ω
MULTITONE_SEED = 31  # of the phases
SQUARE_HZ = 1000.0
SQUARE_PEAK_V = 1.0  # at the left terminals, before the corners round it: too small for the static curve to matter
SENSITIVITY_POWER_W = 40.0
AUX_GAIN = 125.0  # the left channel from aux to its open terminals, volume full up
OPEN_VOLTS = {"L": 12.708, "R": 12.594}  # the two-load reading in session.toml: open, then 8 Ω


def linear_gain(channel: Channel, frequency_hz: Array, load_ohm: float = LOAD_OHM) -> Complex:
    """Complex gain from input to loaded terminals, mid frequencies and no load = `gain`. Shape as `frequency_hz`."""
    s = 1j * np.asarray(frequency_hz, dtype=np.float64)
    high = np.prod([s / (s + pole) for pole in channel.high_pass_hz], axis=0)
    low = 1 / (1 + s / (channel.low_pass_q * channel.low_pass_hz) + (s / channel.low_pass_hz) ** 2)
    gain: Complex = channel.gain * high * low * load_ohm / (load_ohm + source_impedance(channel, frequency_hz))
    return gain


def shelf(frequency_hz: Array, numerator_hz: float, denominator_hz: float) -> Complex:
    """A one-pole shelf, 1 at high frequencies and the corners' ratio at low ones. Shape as `frequency_hz`."""
    s = 1j * np.asarray(frequency_hz, dtype=np.float64)
    gain: Complex = (s + numerator_hz) / (s + denominator_hz)
    return gain


def network(name: str, channel: Channel, frequency_hz: Array) -> Complex:
    """Complex gain of a tone control or filter at the setting `name`, but for a factor. Shape as `frequency_hz`."""
    reduced = np.asarray(frequency_hz, dtype=np.float64) / channel.spread
    if name in ("bass-up", "bass-down"):
        bass = shelf(reduced, *BASS_HZ)
        return bass if name == "bass-up" else 1 / bass
    if name in ("treble-up", "treble-down"):
        treble = shelf(reduced, *TREBLE_HZ)
        return treble if name == "treble-up" else 1 / treble
    if name == "loudness":
        return shelf(reduced, *LOUDNESS_BASS_HZ) * shelf(reduced, *LOUDNESS_TREBLE_HZ)
    s: Complex = np.asarray(1j * reduced, dtype=np.complex128)
    if name == "low-filter":
        one_pole: Complex = s / (s + LOW_FILTER_HZ)
        return one_pole
    if name == "high-filter":
        two_poles: Complex = 1 / (1 + s / (HIGH_FILTER_Q * HIGH_FILTER_HZ) + (s / HIGH_FILTER_HZ) ** 2)
        return two_poles
    raise KeyError(name)


def phono_gain(channel: Channel, frequency_hz: Array) -> Complex:
    """Complex gain of the phono stage, from its input to the tape output. Shape as `frequency_hz`."""

    def shape(hertz: Array) -> Complex:
        s = 2j * np.pi * hertz
        low, middle, high = channel.phono_s
        coupling = 1j * hertz / (1j * hertz + channel.phono_coupling_hz)
        gain: Complex = coupling * (1 + s * middle) / ((1 + s * low) * (1 + s * high))
        return gain

    gain: Complex = channel.phono_1k * shape(np.asarray(frequency_hz, dtype=np.float64)) / abs(shape(np.array(1000.0)))
    return gain


def sensitivity_v(channel: Channel, source: str) -> float:
    """What the "aux" or "phono" input wants at 1 kHz for 40 W into 8 Ω, V r.m.s., volume full up."""
    at_1k = AUX_GAIN * abs(linear_gain(channel, np.array(1000.0)))
    wanted = math.sqrt(SENSITIVITY_POWER_W * LOAD_OHM) / float(at_1k)
    return wanted / channel.phono_1k if source == "phono" else wanted


def multitone_bins() -> list[int]:
    """Cycles of each tone in a block: odd, so that even-order products fall between the tones, and apart from hum."""
    wanted = np.geomspace(*MULTITONE_BAND_HZ, MULTITONE_TONES) * MULTITONE_BLOCK / RATE_HZ
    return [2 * round((cycles - 1) / 2) + 1 for cycles in wanted.tolist()]


def multitone_phases() -> Array:
    """Phase of each tone's sine at the block's start, rad. Shape (tones,)."""
    phases: Array = np.random.default_rng(MULTITONE_SEED).uniform(0, 2 * np.pi, MULTITONE_TONES)
    return phases


def looped_back(frequency_hz: Array, channel: Channel) -> Array:
    """THD+N in % of the bench looped back on itself: its noise, and what rises with frequency. Same shape."""
    flat, rising = BENCH_PERCENT[channel.name]
    percent: Array = np.hypot(flat, rising * np.asarray(frequency_hz, dtype=np.float64) / 20_000)
    return percent


def source_impedance(channel: Channel, frequency_hz: Array) -> Complex:
    """Complex source impedance in Ω: R + jωL."""
    angular = 2 * np.pi * np.asarray(frequency_hz, dtype=np.complex128)
    impedance: Complex = channel.source_ohm + 1j * angular * channel.source_henry
    return impedance


def leak(channel: Channel, frequency_hz: Array) -> Complex:
    """Complex ratio of what appears in `channel` to what drives the other one."""
    ratio: Complex = channel.leak + 1j * channel.leak_1k * np.asarray(frequency_hz, dtype=np.complex128) / 1000
    return ratio


def error_scale(frequency_hz: float, load_ohm: float) -> float:
    """How much larger the curve's errors are than at low frequency into 8 Ω."""
    return math.hypot(1, frequency_hz / LOOP_HZ) * LOAD_OHM / load_ohm


def ceiling(channel: Channel, load_ohm: float) -> float:
    """Where the supply stops the output under this load, V peak."""
    return channel.ceiling_v * load_ohm / (load_ohm + SAG_OHM)


def step(channel: Channel, stage: str) -> float:
    """Half the width of the step at the zero crossing, V."""
    return channel.step_before_v if stage == "before" else channel.step_v


def curve(asked_v: Array, channel: Channel, stage: str, frequency_hz: float, load_ohm: float) -> Array:
    """The static curve: terminal voltage for the voltage asked of it. Same shape."""
    width = step(channel, stage)
    error = -np.clip(asked_v, -width, width) + channel.asymmetry * np.abs(asked_v) - channel.cubic * asked_v**3
    bent = asked_v + error_scale(frequency_hz, load_ohm) * error
    # below half the ceiling the divisor is 1 to the last bit; raising smaller numbers would only cost time
    reached = np.maximum(np.abs(bent) / ceiling(channel, load_ohm), 0.5)
    held: Array = bent / (1 + reached**HARDNESS) ** (1 / HARDNESS)
    return held


def harmonics(channel: Channel, stage: str, peak_v: float, frequency_hz: float, load_ohm: float = LOAD_OHM) -> Complex:
    """Peak phasors of a sine after the curve, index = harmonic (0: left out, the bench is AC-coupled).

    A component is the real part of phasor · exp(2πj n f t).
    """
    cycle = peak_v * np.sin(2 * np.pi * np.arange(POINTS) / POINTS)
    phasors: Complex = 2 * np.fft.rfft(curve(cycle, channel, stage, frequency_hz, load_ohm)) / POINTS
    phasors[0] = 0
    return phasors


def noise_and_hum_v(channel: Channel, band_hz: float) -> float:
    """Noise and hum up to `band_hz`, V r.m.s."""
    return math.hypot(NOISE_V_PER_RTHZ * math.sqrt(band_hz), *(volts for _, volts in channel.hum_v))


def reading(channel: Channel, stage: str, power_w: float, frequency_hz: float, load_ohm: float = LOAD_OHM) -> float:
    """THD+N in % at this output power, as an analyser reads it: everything but the fundamental over the total."""
    highest = int(ANALYSER_BAND_HZ // frequency_hz)
    top = ceiling(channel, load_ohm)

    def squares_at(asked_v: float) -> Array:
        squares: Array = np.abs(harmonics(channel, stage, asked_v, frequency_hz, load_ohm)[: highest + 1]) ** 2 / 2
        return squares

    # the bench turns its level until the wanted power stands at the terminals: secant steps on a slope that is never
    # taken steeper than below the ceiling, where power goes as the square of the voltage
    peak_v, slope = math.sqrt(2 * power_w * load_ohm), 2.0
    squares = squares_at(peak_v)
    for _ in range(40):
        missing = math.log(power_w * load_ohm / squares.sum())
        if abs(missing) < 1e-9:
            break
        turned_v = min(peak_v * math.exp(missing / slope), 2 * top)
        power_before = squares.sum()
        squares = squares_at(turned_v)
        slope = min(2.0, math.log(squares.sum() / power_before) / math.log(turned_v / peak_v))
        peak_v = turned_v
    else:
        raise ArithmeticError(f"{power_w} W into {load_ohm} Ω: no level found that gives it")
    unwanted = squares[2:].sum() + noise_and_hum_v(channel, ANALYSER_BAND_HZ) ** 2
    return 100 * math.sqrt(unwanted / (squares[1] + unwanted))
