"""Levels: volts and watts at the output, volts at the generator if the gain is known; and the dummy loads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from reviewkit.model.capture_request import IDLE, MAGNET_V, PAIR, PHONO_SWEEP, TERMINALS, Basis
from reviewkit.model.finding import Finding
from reviewkit.model.gear import HEADPHONES
from reviewkit.model.session import Rating
from reviewkit.plan.order import Capture, watts_of

LOAD_MARGIN = 2.0  # textbook practice, from memory; a wave clipped square has twice the power of its sine
PRECONDITIONING_SHARE = 0.125  # of the rated power, an hour of 1 kHz, every channel: 16 CFR 432.3(c)
_MODULATION = (0.8, 0.2)  # 4:1, of the peak; 1:1 where the tones lie close together
_DIFFERENCE = (0.5, 0.5)
_FAR_APART = 2.0


@dataclass(frozen=True)
class CaptureLevel:
    """The level of a capture.

    Attributes
    ----------
    output_v
        r.m.s. of the sine.
    parts_v
        r.m.s. of each of two tones.
    meter_v
        Reading of a true r.m.s. meter, of both tones together.
    generator_v
        r.m.s. at the input at 1 kHz, derived from `gain`; of both tones together.
    generator_parts_v
        The same for each tone.
    """

    power_w: float | None = None
    output_v: float | None = None
    parts_v: tuple[float, ...] = ()
    meter_v: float | None = None
    generator_v: float | None = None
    generator_parts_v: tuple[float, ...] = ()
    gain: Gain | None = None


@dataclass(frozen=True)
class Gain:
    """Volts out over volts in.

    Attributes
    ----------
    known_from
        "gain" or "sensitivity" if measured, or "rated".
    """

    ratio: float
    known_from: str
    input: str
    measurement: str = ""


@dataclass(frozen=True)
class Load:
    """Dummy loads, one for each channel; `watts`: the power rating that each needs, with margin."""

    ohms: float
    highest_w: float
    watts: float


@dataclass(frozen=True)
class Preconditioning:
    """The hour at power before full power, for those who choose it."""

    power_w: float
    output_v: float
    load_ohm: float


def output_voltage(power_w: float, load_ohm: float) -> float:
    """Return U = √(P·R), r.m.s."""
    return math.sqrt(power_w * load_ohm)


def work_out_level(capture: Capture, known: Sequence[Gain]) -> CaptureLevel:
    """Work out the level to set for a capture, leaving out what an unstated load or gain would decide.

    Parameters
    ----------
    capture : Capture
        The capture.
    known : sequence of Gain
        The known gains, best first.

    Returns
    -------
    CaptureLevel
        The level.
    """
    if capture.drive == PHONO_SWEEP:
        return CaptureLevel(generator_v=MAGNET_V)
    if capture.drive == IDLE or capture.level is None:
        return CaptureLevel()
    power_w = watts_of(capture) or None
    output = replace(capture.level, load_ohm=capture.setup.load_ohm).volts
    if output is None:
        return CaptureLevel(power_w)
    parts: tuple[float, ...] = ()
    if capture.drive == PAIR:
        low, high = capture.wording["tones"][0]
        shares = _MODULATION if high / low > _FAR_APART else _DIFFERENCE
        parts = tuple(share * output for share in shares)
    meter = math.hypot(*parts) if parts else None
    gain = next((g for g in known if g.input.lower() == capture.setup.input.lower()), None)
    made = CaptureLevel(power_w, output, parts, meter, gain=gain)
    if gain is None or capture.name == "input-sensitivity":
        return made
    # two tones with the sine's r.m.s. level would have a higher peak than the sine
    each = tuple(part / gain.ratio for part in parts)
    return replace(made, generator_v=(meter or output) / gain.ratio, generator_parts_v=each)


def known_gains(findings: Sequence[Finding], basis: Basis) -> tuple[Gain, ...]:
    """Return every known gain: measured, then from a measured input sensitivity, then from the rated one."""
    found = [
        Gain(10 ** (f.value / 20), "gain", str(f.at.get("input", basis.input)), f.measurement)
        for f in findings
        if f.quantity == "gain"
    ]
    for f in findings:
        if f.quantity == "input_sensitivity" and f.value > 0:
            output = _driven_to(f.at.get("power"), f.at.get("load"), basis)
            if output is not None:
                name = str(f.at.get("input", basis.input))
                found.append(Gain(output / f.value, "sensitivity", name, f.measurement))
    for r in basis.ratings:
        limit = r.printed
        if r.quantity == "input_sensitivity" and limit:
            output = _driven_to(r.power_w, r.load_ohm, basis)
            if output is not None:
                found.append(Gain(output / limit, "rated", r.input or basis.input))
    return tuple(found)


def _driven_to(power_w: float | None, load_ohm: float | None, basis: Basis) -> float | None:
    """Return the output of an input sensitivity: at the power that it names, else at the rated power."""
    load = load_ohm or basis.load_ohm(Rating("input_sensitivity", "V"))
    watts = power_w or basis.rated_w(load)
    return output_voltage(watts, load) if watts and load else None


def dummy_loads(captures: Sequence[Capture]) -> tuple[Load, ...]:
    """Return the dummy loads that captures need, the highest resistance first."""
    highest: dict[float, float] = {}
    for c in captures:
        if c.setup.load_ohm is not None and c.setup.place == TERMINALS:
            highest[c.setup.load_ohm] = max(highest.get(c.setup.load_ohm, 0.0), watts_of(c))
    return tuple(Load(ohms, watts, LOAD_MARGIN * watts) for ohms, watts in sorted(highest.items(), reverse=True))


def plan_preconditioning(basis: Basis) -> Preconditioning | None:
    """Return an eighth of the rated power into its load; None if no power is rated into a known load, or headphones."""
    load = basis.load_ohm(Rating("power", "W"))
    watts = basis.rated_w(load)
    if watts is None or load is None or (basis.gear is not None and basis.gear.loads == HEADPHONES):
        return None
    share = watts * PRECONDITIONING_SHARE
    return Preconditioning(share, output_voltage(share, load), load)
