"""The level of each capture: at the output as volts and watts, at the generator where the gain is known; the loads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from reviewkit.model.finding import Finding
from reviewkit.model.session import Rating
from reviewkit.plan.basis import IDLE, LINE, MAGNET_V, PAIR, Basis
from reviewkit.plan.order import Capture

LOAD_MARGIN = 2.0  # textbook practice, from memory; a wave clipped square has twice the power of its sine
PRECONDITIONING_SHARE = 0.125  # of the rated power, an hour of 1 kHz, every channel: 16 CFR 432.3(c)
_MODULATION = (0.8, 0.2)  # 4:1, of the peak; 1:1 where the tones lie close together
_DIFFERENCE = (0.5, 0.5)
_FAR_APART = 2.0


@dataclass(frozen=True)
class Level:
    """`output_v`: r.m.s. of the sine; `parts_v`: of each of two tones; `meter_v`: what a true r.m.s. meter shows of
    both together; `generator_v`: at the input, r.m.s., at 1 kHz, by the gain that `gain` tells of, of two tones both
    together; `generator_parts_v`: of each of them.
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
    """Volts out over volts in, and where that is known from: "gain" or "sensitivity" measured, or "rated"."""

    ratio: float
    known_from: str
    input: str
    measurement: str = ""


@dataclass(frozen=True)
class Load:
    """Dummy loads: one for each channel. `watts`: what each must bear, with margin."""

    ohms: float
    highest_w: float
    watts: float


@dataclass(frozen=True)
class Preconditioning:
    """The hour of power before full power, for those who choose it."""

    power_w: float
    output_v: float
    load_ohm: float


def volts(power_w: float, load_ohm: float) -> float:
    """U = √(P·R), r.m.s."""
    return math.sqrt(power_w * load_ohm)


def level(capture: Capture, known: Sequence[Gain]) -> Level:
    """What to set for a capture. Nothing is given that would rest on a load or a gain that is not stated."""
    if capture.kind == "phono":
        return Level(generator_v=MAGNET_V)
    if capture.drive == IDLE or (capture.power_w is None and capture.voltage_v is None):
        return Level()
    load = capture.setup.load_ohm
    output = capture.voltage_v
    if capture.power_w is not None and load is not None:
        output = volts(capture.power_w, load)
    if output is None:
        return Level(capture.power_w)
    parts: tuple[float, ...] = ()
    if capture.drive == PAIR:
        low, high = capture.told["tones"][0]
        shares = _MODULATION if high / low > _FAR_APART else _DIFFERENCE
        parts = tuple(share * output for share in shares)
    meter = math.hypot(*parts) if parts else None
    gain = next((g for g in known if g.input.lower() == capture.setup.input.lower()), None)
    made = Level(capture.power_w, output, parts, meter, gain=gain)
    if gain is None or capture.name == "input-sensitivity":
        return made
    # set to the sine's own level, a generator that is read in r.m.s. would give two tones a higher peak than the sine's
    each = tuple(part / gain.ratio for part in parts)
    return replace(made, generator_v=(meter or output) / gain.ratio, generator_parts_v=each)


def gains(findings: Sequence[Finding], basis: Basis) -> tuple[Gain, ...]:
    """Every gain that is known, best first: measured, from a measured input sensitivity, from the rated one."""
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
    """The output that an input sensitivity is for: the power that it names, else the rated one."""
    load = load_ohm or basis.load_ohm(Rating("input_sensitivity", "V"))
    watts = power_w or basis.rated_w(load)
    return volts(watts, load) if watts and load else None


def loads(captures: Sequence[Capture]) -> tuple[Load, ...]:
    """The dummy loads that these captures need, the highest resistance first."""
    highest: dict[float, float] = {}
    for c in captures:
        if c.setup.load_ohm is not None and c.setup.place != LINE:
            highest[c.setup.load_ohm] = max(highest.get(c.setup.load_ohm, 0.0), c.power_w or 0.0)
    return tuple(Load(ohms, watts, LOAD_MARGIN * watts) for ohms, watts in sorted(highest.items(), reverse=True))


def preconditioning(basis: Basis) -> Preconditioning | None:
    """An eighth of the rated power into its load; None where no continuous power is rated into a known load."""
    load = basis.load_ohm(Rating("power", "W"))
    watts = basis.rated_w(load)
    if watts is None or load is None:
        return None
    share = watts * PRECONDITIONING_SHARE
    return Preconditioning(share, volts(share, load), load)
