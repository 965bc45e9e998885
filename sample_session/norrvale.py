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


LEFT = Channel(
    name="L", gain=1.0, high_pass_hz=(1.1, 2.3), low_pass_hz=70_000.0, low_pass_q=0.71, step_v=0.9e-3,
    step_before_v=0.9e-3, asymmetry=4.6e-4, cubic=6.0e-7, ceiling_v=33.47, source_ohm=0.147, source_henry=1.8e-6,
    leak=3.1e-4, leak_1k=4.0e-4, hum_v=((1, 80e-6), (2, 160e-6), (3, 50e-6), (4, 40e-6)),
)  # fmt: skip
RIGHT = Channel(
    name="R", gain=0.991, high_pass_hz=(1.2, 2.5), low_pass_hz=67_000.0, low_pass_q=0.70, step_v=1.0e-3,
    step_before_v=0.203, asymmetry=5.8e-4, cubic=7.0e-7, ceiling_v=33.25, source_ohm=0.153, source_henry=1.9e-6,
    leak=3.85e-4, leak_1k=5.0e-4, hum_v=((1, 95e-6), (2, 175e-6), (3, 60e-6), (4, 40e-6)),
)  # fmt: skip
CHANNELS = (LEFT, RIGHT)

SAG_OHM = 2.015  # of the supply, both channels driven
HARDNESS = 130.0  # of the ceiling; the higher, the sharper the knee
LOOP_HZ = 16_000.0  # where loop gain has fallen so far that the curve's errors are up by √2
NOISE_V_PER_RTHZ = 1.2e-6
MAINS_HZ = 60.0
ANALYSER_BAND_HZ = 80_000.0  # of the distortion sweeps

# what the bench asked of it
TONE_HZ = 999.7
TONE_PEAK_V = 8.975  # at the left terminals: 5 W into 8 Ω
SPECTRUM_HZ = 341 * 48_000 / 2**14  # the analyser locks its generator to a line of its own
SPECTRUM_PEAK_V = 25.30  # 40 W into 8 Ω
SWEEP_POWER_W = 40.0
OPEN_VOLTS = {"L": 12.708, "R": 12.594}  # the two-load reading in session.toml: open, then 8 Ω


def linear_gain(channel: Channel, frequency_hz: Array, load_ohm: float = LOAD_OHM) -> Complex:
    """Complex gain from input to loaded terminals, mid frequencies and no load = `gain`. Shape as `frequency_hz`."""
    s = 1j * np.asarray(frequency_hz, dtype=np.float64)
    high = np.prod([s / (s + pole) for pole in channel.high_pass_hz], axis=0)
    low = 1 / (1 + s / (channel.low_pass_q * channel.low_pass_hz) + (s / channel.low_pass_hz) ** 2)
    gain: Complex = channel.gain * high * low * load_ohm / (load_ohm + source_impedance(channel, frequency_hz))
    return gain


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
