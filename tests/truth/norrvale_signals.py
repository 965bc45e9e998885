"""What a correct tool must report for the sample's captures of more than one tone, of a square wave and of nothing.

The files are made by FFT of oversampled periods. Here the same quantities come from Gauss–Legendre quadrature over two
phases, from integrals in closed form between a waveform's zero crossings, from partial fractions and from quadrature of
the A curve. The parameters are the model's. Nothing of reviewkit is imported.
"""

from __future__ import annotations

import itertools
import math
from functools import cache

import numpy as np
from norrvale_model import CHANNELS, Array, hum_v, impedance_ohm, model
from numpy.typing import NDArray
from scipy import integrate, optimize, signal  # type: ignore[import-untyped]

Complex = NDArray[np.complex128]
AUDIO_BAND_HZ = (20.0, 20_000.0)


# ------------------------------------------------------------------ intermodulation


def _terminal_v(asked_v: Array, name: str, frequency_hz: float) -> Array:
    """The static curve of the repaired unit into 8 Ω, written out once more."""
    channel = CHANNELS[name]
    scale = math.hypot(1, frequency_hz / model.LOOP_HZ)
    lost = np.where(np.abs(asked_v) < channel.step_v, asked_v, np.sign(asked_v) * channel.step_v)
    bent = asked_v + scale * (channel.asymmetry * np.abs(asked_v) - channel.cubic * asked_v**3 - lost)
    top = channel.ceiling_v / (1 + model.SAG_OHM / 8.0)
    return np.asarray(bent / np.exp(np.log1p((np.abs(bent) / top) ** model.HARDNESS) / model.HARDNESS))


@cache
def modulation_lines_v(name: str) -> dict[int, float]:
    """Peak volts at the upper tone + k times the lower one, k = −2 … 2: Fourier coefficients over the two phases.

    Over the lower tone's phase, Gauss–Legendre pieces between the corners of the curve; over the upper tone's, the
    trapezoid rule, which converges fast because what is left there is smooth and periodic.
    """
    low_v, high_v = (CHANNELS[name].gain * peak for peak in model.MODULATION_PEAK_V)
    nodes, weights = np.polynomial.legendre.leggauss(40)
    step = CHANNELS[name].step_v
    phases = np.arange(64) * 2 * math.pi / 64
    found = dict.fromkeys(range(-2, 3), 0j)
    for phase in phases.tolist():
        beside = high_v * math.sin(phase)
        corners = [math.asin(max(-1.0, min(1.0, (edge - beside) / low_v))) for edge in (-step, 0.0, step)]
        # both crests bend towards the ceiling: shorter pieces there
        edges = sorted([-math.pi / 2, -1.3, -1.0, *corners, 1.0, 1.3, math.pi / 2])
        for left, right in itertools.pairwise(edges):
            theta = (left + right) / 2 + (right - left) / 2 * nodes
            share = (right - left) / 2 * weights * _terminal_v(low_v * np.sin(theta) + beside, name, 7000.0)
            for k in found:
                # the sine runs through the same values on its way up and on its way down
                turning = np.exp(-1j * k * theta) + np.exp(-1j * k * (math.pi - theta))
                found[k] += complex(np.sum(share * turning)) / (2 * math.pi) * np.exp(-1j * phase) / phases.size
    return {k: 2 * abs(value) for k, value in found.items()}


def modulation_percent(name: str) -> dict[str, float]:
    """Intermodulation in % of the upper tone: each pair of lines added ("second", "third"), the two orders as a root of
    squares ("pairs", IEC 60268-3, from memory), or all four lines as one ("lines").
    """
    volts = modulation_lines_v(name)
    second, third = volts[1] + volts[-1], volts[2] + volts[-2]
    lines = math.hypot(volts[1], volts[-1], volts[2], volts[-2])
    sums = {"second": second, "third": third, "pairs": math.hypot(second, third), "lines": lines}
    return {which: float(100 * value / volts[0]) for which, value in sums.items()}


# ------------------------------------------------------------------ many tones


def _multitone_peak_v(name: str) -> float:
    """What is asked of each tone, V peak."""
    return float(CHANNELS[name].gain * model.MULTITONE_TOTAL_V * math.sqrt(2 / model.MULTITONE_TONES))


def _tones() -> tuple[Array, Array]:
    """Cycles in a block, and phases."""
    return np.array(model.multitone_bins(), dtype=np.float64), model.multitone_phases()


def _sines(turn: Array, *, slope: bool = False) -> Array:
    """The sum of sines of size 1, or its derivative, at these places in the block (0 … 1). Shape as `turn`."""
    total = np.zeros(turn.size)
    for cycle, phase in zip(*(entry.tolist() for entry in _tones()), strict=True):
        angle = 2 * math.pi * cycle * turn + phase
        total += 2 * math.pi * cycle * np.cos(angle) if slope else np.sin(angle)
    return total


@cache
def _zero_crossings() -> tuple[Array, Array]:
    """Where in a block the waveform crosses zero, by bracketing and Newton, and the sign it takes there."""
    points = 2**19
    grid = (np.arange(points) + 0.37) / points
    volts = _sines(grid)
    after = np.flatnonzero(np.sign(volts) != np.sign(np.roll(volts, 1)))
    places = grid[after] - volts[after] / (volts[after] - np.roll(volts, 1)[after]) / points
    for _ in range(3):
        places = places - _sines(places) / _sines(places, slope=True)
    order = np.argsort(places)
    return places[order], np.sign(volts[after])[order]


@cache
def _cube_lines() -> Complex:
    """Fourier coefficients of the cube of the sines over a block, by cycles."""
    points = 2**18
    lines: Complex = np.fft.rfft(_sines(np.arange(points) / points) ** 3) / points
    return lines


@cache
def _bent_lines(cycle: int) -> tuple[complex, complex]:
    """Fourier coefficients at `cycle` of |x| and of the sign of x, x the sum of sines, from its zero crossings.

    |x| is sign(x)·x; the integral of the sign times exp(2πj·k·t) follows by parts from the sign's jumps.
    """
    places, signs = _zero_crossings()
    cycles, phases = _tones()

    def of_sign(order: Array) -> Complex:
        turning = np.exp(2j * math.pi * np.multiply.outer(order, places))
        total: Complex = -2 * turning @ signs / (2j * math.pi * order)
        return total

    turn = np.exp(1j * phases)
    size = complex(np.sum((turn * of_sign(cycles - cycle) - turn.conj() * of_sign(-cycles - cycle)) / 2j))
    return size, complex(of_sign(np.array([-float(cycle)]))[0])


def multitone_product_v(name: str, cycle: int) -> float:
    """R.m.s. volts of the product at `cycle` cycles a block, where no tone is.

    What the curve adds to the tones is scale · (a·|x| − c·x³ − clip(x, ±step)). The clip is the step's sign but for a
    moment at each crossing, the step being a thousandth of the waveform. x³ holds only sums of three tones: its lines
    are exact by a transform of more points than twice its highest line.
    """
    channel, peak = CHANNELS[name], _multitone_peak_v(name)
    size, sign = _bent_lines(cycle)
    bent = channel.asymmetry * peak * size - channel.cubic * peak**3 * _cube_lines()[cycle] - channel.step_v * sign
    return math.sqrt(2) * math.hypot(1, 1000.0 / model.LOOP_HZ) * abs(bent)


def multitone_level_v(name: str) -> float:
    """R.m.s. volts of one tone; what the curve takes of it is below 0.1 %."""
    return _multitone_peak_v(name) / math.sqrt(2)


def multitone_clearance(name: str) -> tuple[float, float, float]:
    """dB from a tone down to the strongest line between the tones, how far off that may be, and where it is, Hz.

    That is hum: the strongest products are far weaker. Those beside it share its lobe and add to it or take from it, in
    a phase that is anyone's: by all of them at most.
    """
    multiple, hum_volts = max(CHANNELS[name].hum_v, key=lambda entry: entry[1])
    where = multiple * model.MAINS_HZ
    middle = round(where * model.MULTITONE_BLOCK / model.RATE_HZ)
    # a lobe of three lines to each side, as wide as the tones leave room for
    beside = sum(multitone_product_v(name, cycle) for cycle in range(middle - 3, middle + 4))
    clearance = 20 * math.log10(multitone_level_v(name) / hum_volts)
    return clearance, 20 * math.log10(1 + beside / hum_volts), where


# ------------------------------------------------------------------ a square wave


def _square_terms(name: str) -> tuple[Complex, Complex]:
    """Residues and poles of the amplifier's step response, for a square of the bench's size: partial fractions."""
    channel = CHANNELS[name]
    numerator, denominator = np.array([1.0]), np.array([1.0])
    for corner in channel.high_pass_hz:
        numerator = np.polymul(numerator, [1.0, 0.0])
        denominator = np.polymul(denominator, [1.0, 2 * math.pi * corner])
    pole = 2 * math.pi * channel.low_pass_hz
    numerator = numerator * pole**2 * 8.0 * channel.gain
    denominator = np.polymul(denominator, [1.0, pole / channel.low_pass_q, pole**2])
    denominator = np.polymul(denominator, [channel.source_henry, 8.0 + channel.source_ohm])
    # the two zeros at s = 0 take the step's own pole there
    residues, poles, _ = signal.residue(numerator[:-1], denominator)
    return residues, poles


def square_v(name: str, seconds: Array, *, flat_alone: bool = False) -> Array:
    """Volts during the high half, `seconds` after the edge, of a square that has run for ever. Shape as `seconds`.

    Each pole's share of all edges so far is a geometric series: 2V·k·exp(p·t) / (1 + exp(p·T)), T half a period.
    `flat_alone`: only the slow poles' share, which is the flat part carried on to the edge.
    """
    residues, poles = _square_terms(name)
    left = CHANNELS["L"]
    at_1k = left.gain * 8.0 / abs(8.0 + impedance_ohm("L", 1000.0))
    # the level was set on the left channel; at 1 kHz its filters do less than the sixth decimal
    high_v = model.SQUARE_PEAK_V / at_1k
    half = 0.5 / model.SQUARE_HZ
    terms = residues * 2 * high_v / (1 + np.exp(poles * half))
    if flat_alone:
        terms = np.where(np.abs(poles) < 2 * math.pi * 100, terms, 0)
    volts: Array = np.real(np.exp(np.multiply.outer(seconds, poles)) @ terms)
    return volts


def square_figures(name: str) -> dict[str, float]:
    """Rise time in s from 10 to 90 % of the step between the flat parts carried on to the edge; overshoot over the flat
    part in % of the step; tilt in % of the flat part's height at its beginning (IEEE Std 181 terms, from memory).
    """
    half = 0.5 / model.SQUARE_HZ
    start, end = square_v(name, np.array([0.0, half]), flat_alone=True).tolist()
    base, step = -end, start + end
    seconds = np.linspace(0, 30e-6, 30_001)
    above = square_v(name, seconds) - square_v(name, seconds, flat_alone=True)

    def passes(share: float) -> float:
        def over(at: float) -> float:
            return float(square_v(name, np.array([at]))[0]) - base - share * step

        return float(optimize.brentq(over, 0, 8e-6, xtol=1e-15))

    return {
        "rise_time": passes(0.9) - passes(0.1),
        "overshoot": 100 * float(above.max()) / step,
        "tilt": 100 * (start - end) / start,
    }


# ------------------------------------------------------------------ nothing


def a_weight(frequency_hz: float) -> float:
    """The A curve as a ratio (IEC 61672-1, analytic form, from memory), 1 at 1 kHz."""

    def bare(f: float) -> float:
        squares = [(f**2 + corner**2) for corner in (20.598997, 107.65265, 737.86223, 12_194.217)]
        return 12_194.217**2 * f**4 / (squares[0] * math.sqrt(squares[1] * squares[2]) * squares[3])

    return bare(frequency_hz) / bare(1000.0)


def idle_v(name: str, *, weighted: bool) -> float:
    """Noise and hum of the idle output over 20 Hz – 20 kHz, V r.m.s."""
    density = float(model.NOISE_V_PER_RTHZ)
    low, high = AUDIO_BAND_HZ
    if not weighted:
        return math.hypot(density * math.sqrt(high - low), hum_v(name))
    power, _ = integrate.quad(lambda f: a_weight(f) ** 2, low, high, limit=200)
    hum = sum((volts * a_weight(multiple * model.MAINS_HZ)) ** 2 for multiple, volts in CHANNELS[name].hum_v)
    return math.sqrt(density**2 * power + hum)
