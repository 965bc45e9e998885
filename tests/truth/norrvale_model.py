"""What a correct tool must report for the sample session, worked out from the model's parameters by other means.

sample_session/norrvale.py states the amplifier; the files are made from it by FFT. Here the same quantities come from
closed forms (the Fourier series of a clipped sine, of |sin| and of sin³), from scipy.signal.freqs, from Gauss–Legendre
quadrature and from root finding. Nothing of reviewkit is imported.

Definitions: distortion is harmonics over the fundamental; THD+N is everything but the fundamental over the total (IEC
60268-3, from memory); powers are r.m.s. volts squared over the load; corners are half power re 1 kHz.
"""

from __future__ import annotations

import importlib.util
import itertools
import math
import sys
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, signal  # type: ignore[import-untyped]

SAMPLE = Path(__file__).resolve().parents[2] / "sample_session"
Array = NDArray[np.float64]
ANALYSER_BAND_HZ = 80_000.0
MOST_HARMONICS = 100  # at low frequencies the rest of the band adds less than 0.1 % to a reading, mostly far less


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"sample_{name}", SAMPLE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up while it is being read
    spec.loader.exec_module(module)
    return module


model = _load("norrvale")
CHANNELS: dict[str, Any] = {channel.name: channel for channel in model.CHANNELS}


# ------------------------------------------------------------------ harmonics


def clipped_sine(order: int, limit: float) -> float:
    """Sine coefficient of clip(sin θ, ±limit), 0 < limit ≤ 1; even orders are zero. Closed form, s = asin(limit)."""
    if order % 2 == 0:
        return 0.0
    s = math.asin(limit)
    if order == 1:
        return 4 / math.pi * ((s - math.sin(s) * math.cos(s)) / 2 + limit * math.cos(s))
    rising = (math.sin((order - 1) * s) / (order - 1) - math.sin((order + 1) * s) / (order + 1)) / 2
    return 4 / math.pi * (rising + limit * math.cos(order * s) / order)


def closed_form_harmonics(name: str, stage: str, peak_v: float, frequency_hz: float, highest: int) -> Array:
    """Signed peak volts of harmonics 0 … highest into 8 Ω, well below the ceiling (odd: sine, even: cosine terms).

    The step takes clip(v, ±step) away, the unequal halves add a·|v| with |sin θ| = 2/π − 4/π Σ cos 2kθ / (4k² − 1),
    the cubic takes c·v³ away with sin³θ = (3 sin θ − sin 3θ) / 4.
    """
    channel = CHANNELS[name]
    scale = math.hypot(1, frequency_hz / model.LOOP_HZ)
    width = channel.step_before_v if stage == "before" else channel.step_v
    volts = np.zeros(highest + 1)
    for order in range(1, highest + 1):
        if order % 2:
            volts[order] = -scale * peak_v * clipped_sine(order, width / peak_v)
        else:
            volts[order] = -scale * channel.asymmetry * peak_v * 4 / math.pi / (order**2 - 1)
    volts[1] += peak_v - scale * channel.cubic * peak_v**3 * 3 / 4
    if highest >= 3:
        volts[3] += scale * channel.cubic * peak_v**3 / 4
    return volts


@cache
def _legendre() -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(80)


def _rule(edge: float) -> tuple[Array, Array]:
    """Nodes and weights over one cycle, split where the curve has corners (at `edge` beside each zero crossing)."""
    nodes, weights = _legendre()
    corners = [-edge, edge]
    for start in (0.0, math.pi):
        # the ceiling bends sharply near the crest: shorter pieces there
        corners += [start + edge + (math.pi - 2 * edge) * share for share in (0.2, 0.35, 0.5, 0.65, 0.8, 1.0)]
        corners.append(start + math.pi + edge)
    edges = sorted({round(corner, 15) for corner in corners if corner <= 2 * math.pi - edge + 1e-12})
    pairs = list(itertools.pairwise(edges))
    points = np.concatenate([(low + high) / 2 + (high - low) / 2 * nodes for low, high in pairs])
    shares = np.concatenate([(high - low) / 2 * weights for low, high in pairs])
    return points, shares


def quadrature_harmonics(
    name: str, stage: str, peak_v: float, frequency_hz: float, load_ohm: float, highest: int
) -> Array:
    """Peak volts (magnitudes) of harmonics 0 … highest by projection on sine and cosine; good into the ceiling too."""
    channel = CHANNELS[name]
    width = channel.step_before_v if stage == "before" else channel.step_v
    theta, weight = _rule(math.asin(min(1.0, width / peak_v)))
    asked = peak_v * np.sin(theta)
    scale = math.hypot(1, frequency_hz / model.LOOP_HZ) * 8.0 / load_ohm
    lost = np.where(np.abs(asked) < width, asked, np.sign(asked) * width)
    bent = asked + scale * (channel.asymmetry * np.abs(asked) - channel.cubic * asked**3 - lost)
    top = channel.ceiling_v / (1 + model.SAG_OHM / load_ohm)
    volts = bent / np.exp(np.log1p(np.exp(model.HARDNESS * np.log(np.abs(bent) / top + 1e-300))) / model.HARDNESS)
    # e^{inθ} by repeated multiplication takes a seventh of the time of a sine and a cosine for each order
    turn, turned, magnitudes = np.exp(1j * theta), weight * volts + 0j, [0.0]
    for _ in range(highest):
        turned *= turn
        magnitudes.append(abs(turned.sum()) / math.pi)
    return np.array(magnitudes)


# ------------------------------------------------------------------ a tone


def noise_v(band_hz: float) -> float:
    """White noise over a band, V r.m.s."""
    return float(model.NOISE_V_PER_RTHZ) * math.sqrt(band_hz)


def hum_v(name: str) -> float:
    """Mains hum, V r.m.s."""
    return math.sqrt(sum(volts**2 for _, volts in CHANNELS[name].hum_v))


def tone_harmonics(name: str, stage: str, peak_v: float | None = None, highest: int = 20) -> Array:
    """Magnitudes in V r.m.s. of harmonics 0 … highest of the tone at 4 W, or of the spectrum's at `peak_v`."""
    asked = (model.TONE_PEAK_V if peak_v is None else peak_v) * CHANNELS[name].gain
    frequency = model.TONE_HZ if peak_v is None else model.SPECTRUM_HZ
    return quadrature_harmonics(name, stage, asked, frequency, 8.0, highest) / math.sqrt(2)


def tone_thd_percent(name: str, stage: str, highest: int, peak_v: float | None = None) -> float:
    """THD in % of harmonics 2 … highest re the fundamental."""
    volts = tone_harmonics(name, stage, peak_v, highest)
    return 100 * math.sqrt(float((volts[2:] ** 2).sum())) / float(volts[1])


# ------------------------------------------------------------------ response


def response_db(name: str, frequency_hz: Array) -> Array:
    """Level re 1 kHz by scipy.signal.freqs: filters, and the divider of load and source impedance."""
    channel = CHANNELS[name]
    numerator, denominator = np.array([1.0]), np.array([1.0])
    for corner in channel.high_pass_hz:
        numerator = np.polymul(numerator, [1.0, 0.0])
        denominator = np.polymul(denominator, [1.0, 2 * math.pi * corner])
    pole = 2 * math.pi * channel.low_pass_hz
    numerator = numerator * pole**2 * 8.0
    denominator = np.polymul(denominator, [1.0, pole / channel.low_pass_q, pole**2])
    denominator = np.polymul(denominator, [channel.source_henry, 8.0 + channel.source_ohm])
    asked = 2 * math.pi * np.concatenate([[1000.0], frequency_hz])
    _, gain = signal.freqs(numerator, denominator, worN=asked)
    level = 20 * np.log10(np.abs(gain))
    relative: Array = level[1:] - level[0]
    return relative


def corner_hz(name: str, low: float, high: float) -> float:
    """Where the power is half that at 1 kHz, between two frequencies."""
    half = 10 * math.log10(0.5)
    return float(optimize.brentq(lambda f: float(response_db(name, np.array([f]))[0]) - half, low, high, xtol=1e-6))


def balance_db(frequency_hz: float) -> float:
    """Left over right at a frequency where the filters do nothing (1 kHz: less than 0.0001 dB)."""
    ratio = [CHANNELS[n].gain * 8.0 / abs(8.0 + impedance_ohm(n, frequency_hz)) for n in ("L", "R")]
    return 20 * math.log10(ratio[0] / ratio[1])


# ------------------------------------------------------------------ distortion sweeps


def sweep_reading(
    name: str, stage: str, peak_v: float, frequency_hz: float = 1000.0, load_ohm: float = 8.0
) -> tuple[float, float]:
    """Output power in W and THD+N in % for a drive, harmonics and noise up to 80 kHz."""
    highest = min(int(ANALYSER_BAND_HZ // frequency_hz), MOST_HARMONICS)
    squares = quadrature_harmonics(name, stage, peak_v, frequency_hz, load_ohm, highest) ** 2
    total = float(squares.sum()) / 2
    unwanted = float(squares[2:].sum()) / 2 + noise_v(ANALYSER_BAND_HZ) ** 2 + hum_v(name) ** 2
    return total / load_ohm, 100 * math.sqrt(unwanted / (float(squares[1]) / 2 + unwanted))


def sweep_percent(name: str, stage: str, power_w: float, frequency_hz: float = 1000.0, load_ohm: float = 8.0) -> float:
    """THD+N in % at an output power."""
    middle = math.sqrt(2 * power_w * load_ohm)

    def surplus_w(peak_v: float) -> float:
        return sweep_reading(name, stage, peak_v, frequency_hz, load_ohm)[0] - power_w

    peak_v = optimize.brentq(surplus_w, 0.9 * middle, 1.6 * middle, xtol=1e-10)
    return sweep_reading(name, stage, float(peak_v), frequency_hz, load_ohm)[1]


@cache
def _drive_sweep(name: str, stage: str, load_ohm: float) -> tuple[tuple[float, float], ...]:
    """(drive in V peak, THD+N in %) at 1 kHz from a tenth of the ceiling to just above it."""
    top = CHANNELS[name].ceiling_v / (1 + model.SAG_OHM / load_ohm)
    asked = np.geomspace(0.1 * top, 1.1 * top, 60).tolist()
    return tuple((volts, sweep_reading(name, stage, volts, 1000.0, load_ohm)[1]) for volts in asked)


def lowest_percent(name: str, stage: str, load_ohm: float = 8.0) -> float:
    """The least THD+N at 1 kHz at any power."""
    sweep = _drive_sweep(name, stage, load_ohm)
    lowest = min(range(len(sweep)), key=lambda index: sweep[index][1])
    found = optimize.minimize_scalar(
        lambda volts: sweep_reading(name, stage, volts, 1000.0, load_ohm)[1],
        bounds=(sweep[lowest - 1][0], sweep[lowest + 1][0]), method="bounded",
    )  # fmt: skip
    return float(found.fun)


def power_at_limit_w(name: str, stage: str, limit_percent: float, load_ohm: float = 8.0) -> float | None:
    """Where THD+N at 1 kHz rises through a limit above the sweep's minimum; None where it is never below it."""
    sweep = _drive_sweep(name, stage, load_ohm)
    lowest = min(range(len(sweep)), key=lambda index: sweep[index][1])
    if lowest_percent(name, stage, load_ohm) >= limit_percent:
        return None
    crossing = optimize.brentq(
        lambda volts: sweep_reading(name, stage, volts, 1000.0, load_ohm)[1] - limit_percent,
        sweep[lowest][0], sweep[-1][0],
    )  # fmt: skip
    return sweep_reading(name, stage, float(crossing), 1000.0, load_ohm)[0]


# ------------------------------------------------------------------ crosstalk and source impedance


def crosstalk_db(direction: str, frequency_hz: float) -> float:
    """Level in the undriven channel over the driven one: a resistive and a capacitive path in quadrature."""
    quiet = CHANNELS[direction[-1]]
    return 10 * math.log10(quiet.leak**2 + (quiet.leak_1k * frequency_hz / 1000) ** 2)


def impedance_ohm(name: str, frequency_hz: float) -> complex:
    """Source impedance R + jωL in Ω."""
    channel = CHANNELS[name]
    return complex(channel.source_ohm, 2 * math.pi * frequency_hz * channel.source_henry)
