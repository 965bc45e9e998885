"""The one formatter of figures that all outputs share. What there is to write is in quantity_table.py.

Two significant digits for distortion and damping factor, three for power, volts and ohms, 0.1 dB for levels, 0.01 dB
for flatness under 1 dB, whole ohms for loads; never more digits than the uncertainty supports; a space before the unit,
a true minus (style after NIST SP 811, from memory; the digit counts are this project's own).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from reviewkit.model.digits import MINUS, fixed, float_of, prefixed, signed, significant, stepped, trimmed
from reviewkit.model.finding import Finding
from reviewkit.model.level import Level, level_of
from reviewkit.model.quantity_table import BY_METER, DISTORTION, OWN, QUANTITIES, SUBJECTS, Quantity

__all__ = ["BY_METER", "DISTORTION", "OWN", "QUANTITIES", "SUBJECTS", "Quantity"]

_VOLT_STEPS = (("V", 1.0), ("mV", 1e-3), ("µV", 1e-6))
_HERTZ_STEPS = (("MHz", 1e6), ("kHz", 1e3), ("Hz", 1.0))  # "98 MHz", not "98000 kHz"
_SECOND_STEPS = (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6), ("ns", 1e-9))
_OHM_STEPS = (("MΩ", 1e6), ("kΩ", 1e3), ("Ω", 1.0))
_PREFIXES = {
    "amperes": ("A", (("A", 1.0), ("mA", 1e-3), ("µA", 1e-6))),
    "farads": ("F", (("F", 1.0), ("mF", 1e-3), ("µF", 1e-6), ("nF", 1e-9), ("pF", 1e-12))),
    "henries": ("H", (("H", 1.0), ("mH", 1e-3), ("µH", 1e-6))),
    "metres": ("m", (("m", 1.0), ("mm", 1e-3), ("µm", 1e-6))),
    "field": ("V/m", (("V/m", 1.0), ("mV/m", 1e-3), ("µV/m", 1e-6))),
}
_FIXED_STYLES: dict[str, tuple[Callable[[float, int, float | None], str], int, str]] = {  # digits, and what follows
    "percent": (significant, 2, " %"),
    "signed-percent": (signed, 2, " %"),
    "factor": (significant, 2, ""),
    "boost": (signed, 1, " dB"),
    "slope": (fixed, 1, " dB/octave"),
    "level": (fixed, 1, ""),
    "db": (fixed, 1, " dB"),
}
_STYLE_OF_UNIT = {"V": "volts", "W": "watts", "Ω": "ohms", "Hz": "corner", "s": "seconds", "%": "percent", "dB": "db"}
_MOST_READ = 6  # digits of a figure that is as good as its meter shows
_STYLE_OF_UNIT |= dict.fromkeys(("dBf", "dB SPL", "VU"), "level")
_STYLE_OF_UNIT |= {"A": "amperes", "F": "farads", "H": "henries", "m": "metres", "V/m": "field"}


def quantity_of(finding: Finding) -> Quantity:
    """Return a finding's quantity; for a reading under a name of the user's own, one made of its name and unit."""
    known = QUANTITIES.get(finding.quantity)
    style = _STYLE_OF_UNIT.get(finding.unit, "plain")
    extent = "band" if "band" in finding.at else ""
    if known and known.any_unit:
        style = known.style if finding.unit == known.unit else style
        return replace(known, unit=finding.unit, style=style, extent=extent)
    name = finding.called or finding.quantity.replace("_", " ")
    return known or Quantity(name, finding.unit, style, extent=extent)


def claimed(finding: Finding) -> float:
    """Return the value that can be claimed of the unit: of a bound beyond the bench's floor, the floor.

    There bench and unit may have cancelled, so that less than the floor isn't a bound of what the unit does.
    """
    if not finding.bound or finding.floor is None:
        return finding.value
    worse = max if finding.bound == "at most" else min
    return worse(finding.value, finding.floor)


def worse(findings: Sequence[Finding | None]) -> Finding | None:
    """Return the worse of the channels' findings: a one-line claim never averages and never picks the better."""
    there = [f for f in findings if f is not None]
    if not there:
        return None
    quantity = quantity_of(there[0])
    size = abs if quantity.either_way else float
    return min(there, key=lambda f: (quantity.better or -1) * size(f.value))


def show(finding: Finding) -> str:
    """Return a finding as every output writes it, with its unit: "0.021 %", "−64.2 dB", "≤ 0.0010 %"."""
    value = claimed(finding)
    text = _written(finding, value)
    if not finding.bound:
        return text
    # a bound is rounded outwards: 1556 at least is "≥ 1500", never "≥ 1600"
    outwards = 1 if finding.bound == "at most" else -1
    printed, nudge = stated(text, value)
    while math.isfinite(printed) and outwards * (value - printed) > 1e-12 * abs(value):
        text = _written(finding, value + outwards * nudge)
        printed, nudge = stated(text, value)[0], 10 * nudge
    return f"{'≤' if outwards > 0 else '≥'} {text}"


def as_shown(finding: Finding) -> float:
    """Return the value that `show` states, in the finding's unit: 0.00014 dB is written "+0.00 dB", which says 0."""
    return stated(show(finding).lstrip("≤≥ "), claimed(finding))[0]


def _written(finding: Finding, value: float) -> str:
    """Return a value as its finding's quantity is written, with no digit that a meter did not show."""
    quantity = quantity_of(finding)
    # an uncertainty that begins with 3 supports its own first digit and none below
    steps = 3 * finding.step if finding.step else 0.0
    text = shown(value, quantity.style, max(finding.uncertainty or 0.0, steps) or None, finding.written)
    if quantity.style not in ("plain", "level") or not finding.unit:
        return text
    return joined(text, finding.unit)


def stated(text: str, value: float) -> tuple[float, float]:
    """Return the value that a text states, in the unit of `value`, and half of what its last digit is worth."""
    if text.endswith("/3 rpm"):  # a whole number and thirds of it are exact
        return value, 0.0
    number = text.split(" ")[0].lstrip("±").rstrip("°")
    printed = float_of(number) if number != "∞" else math.inf
    prefix = 10.0 ** round(math.log10(abs(value / printed))) if printed and value and math.isfinite(printed) else 1.0
    return printed * prefix, 0.5 * prefix * 10.0 ** -len(number.partition(".")[2])


def with_uncertainty(finding: Finding) -> str:
    """Return a finding with its expanded uncertainty to the same decimals: "43.1 ± 1.0 W"; as `show` without one.

    It is rounded up if rounding would take more than 5 % of it away (EA-4/02, 6.3, from memory).
    """
    text = show(finding)
    number, _, unit = text.partition(" ")
    if not finding.uncertainty or finding.bound or not number.lstrip("+" + MINUS).replace(".", "", 1).isdigit():
        return text
    # the unit's prefix is the one that the figure itself is written with
    factor = stated(text, finding.value)[0] / float_of(number) if float_of(number) else 1.0
    decimals = len(number.partition(".")[2])
    half = finding.uncertainty / factor
    rounded = float_of(fixed(half, decimals))
    if not rounded:  # the digits shown would hide it
        return text
    if rounded < 0.95 * half:
        rounded += 10.0**-decimals
    return f"{number} ± {fixed(rounded, decimals)} {unit}".strip()


def shown(value: float, style: str, uncertainty: float | None = None, written: str = "") -> str:
    """Return a value in one of the styles of the table, in its fixed unit.

    `uncertainty`: expanded, same unit. `written`: the unit, with its prefix, in which a reading was written.

    Raises
    ------
    KeyError
        If there is no such style.
    """
    if style in _FIXED_STYLES:
        write, digits, end = _FIXED_STYLES[style]
        return f"{write(value, digits, uncertainty)}{end}"
    if style in _PREFIXES or style == "volts":
        unit, steps = _PREFIXES.get(style, ("V", _VOLT_STEPS))
        # of a reading only the prefix that was written, if it is among them
        kept = tuple(step for step in steps if step[0] == written) or steps
        return prefixed(value, unit, kept, uncertainty)
    if style == "load":
        return load(value)
    if style == "watts":
        return prefixed(value, "W", (("W", 1.0), ("mW", 1e-3)), uncertainty)
    if style == "ohms":
        steps = tuple(step for step in _OHM_STEPS if step[0] == written) or _OHM_STEPS[-1:]
        return prefixed(value, "Ω", steps, uncertainty)
    if style == "seconds":
        return prefixed(value, "s", _SECOND_STEPS, uncertainty)
    if style == "plain":
        return significant(value, _MOST_READ if uncertainty else 3, uncertainty)
    if style == "flatness":
        return f"{signed(value, flatness_decimals(value), uncertainty)} dB"
    if style == "plus-minus":
        return f"±{fixed(abs(value), flatness_decimals(value), uncertainty)} dB"
    if style == "hertz":
        return hertz(value)
    if style == "corner":
        return corner(value, uncertainty)
    raise KeyError(style)


def flatness_decimals(value_db: float) -> int:
    """Return the decimals of a deviation: two under 1 dB, else one."""
    return 2 if abs(value_db) < 0.995 else 1


def hertz(value_hz: float, digits: int = 3) -> str:
    """Return a frequency as a condition: "20 Hz", "1 kHz", "12.5 kHz"."""
    return stepped(value_hz, _HERTZ_STEPS, digits)


def corner(value_hz: float, uncertainty: float | None = None) -> str:
    """Return a measured frequency to three digits, zeros kept."""
    return prefixed(value_hz, "Hz", _HERTZ_STEPS, uncertainty)


def watts(value_w: float, digits: int = 3) -> str:
    """Return a power as a condition or limit: "5 W", "250 mW"."""
    return f"{trimmed(value_w, digits)} W" if value_w >= 0.9995 else f"{trimmed(value_w * 1000, digits)} mW"


def volts(value_v: float, digits: int = 3) -> str:
    """Return a voltage as a condition: "2.83 V", "150 mV", "80 µV"."""
    return stepped(value_v, _VOLT_STEPS, digits)


def seconds(value_s: float, digits: int = 3) -> str:
    """Return a time as a limit: "2 µs", "0.5 s"."""
    return stepped(value_s, _SECOND_STEPS, digits)


def limit(value: float, unit: str, digits: int = 3) -> str:
    """Return a limit in any unit, with the prefix that keeps it at or above one: "47 kΩ", "19.2 dBf", "20°"."""
    for base, steps in (*_PREFIXES.values(), ("Ω", _OHM_STEPS)):
        if unit == base and value:
            return stepped(value, steps, digits)
    if unit == "rpm" and (thirds := round(3 * value)) % 3 and math.isclose(thirds / 3, value, rel_tol=1e-9):
        return f"{thirds // 3} {thirds % 3}/3 rpm"
    return joined(trimmed(value, digits), unit)


def load(value_ohm: float) -> str:
    """Return a load: "8 Ω", "10 kΩ"; "open" without one."""
    if math.isinf(value_ohm):
        return "open"
    return f"{trimmed(value_ohm)} Ω" if value_ohm < 1000 else f"{trimmed(value_ohm / 1000)} kΩ"


def percent(value_percent: float, digits: int = 3) -> str:
    """Return a limit in percent as stated: "0.05 %", "1 %"."""
    return f"{trimmed(value_percent, digits)} %"


def band(band_hz: Sequence[float]) -> str:
    """Return a band: "20 Hz – 20 kHz"."""
    return f"{hertz(band_hz[0])} – {hertz(band_hz[1])}"


def tones(tones_hz: Sequence[float]) -> str:
    """Format two tones played together: "60 Hz + 7 kHz"."""
    return f"{hertz(tones_hz[0])} + {hertz(tones_hz[1])}"


def deviation(high_db: float, low_db: float) -> str:
    """Return a response's two extremes as one reading: "−0.28 to +0.00 dB"."""

    def one(value: float, sign: str) -> str:
        text = fixed(abs(value), flatness_decimals(value))
        return f"{sign if float(text) == 0 else ('+' if value > 0 else MINUS)}{text}"

    return f"{one(low_db, MINUS)} to {one(high_db, '+')} dB"


def limit_within(low: float, high: float, unit: str = "dB") -> str:
    """Return a maker's tolerance: "±0.5 dB", or "−1 to +0 dB" where the sides differ."""
    if -low == high:
        return joined(f"±{trimmed(high)}", unit)
    return joined(f"{MINUS}{trimmed(-low)} to +{trimmed(high)}", unit)


def joined(number: str, unit: str) -> str:
    """Return a number with its unit: a space before it, but none before °."""
    return f"{number}{'' if unit in ('°', '') else ' '}{unit}"


def level_text(level: Level) -> str:
    """Return a level as a condition: "40 W", "2 V", "−60 dBFS", "−20 dB re 250 nWb/m"."""
    if level.unit == "W":
        return watts(level.value)
    if level.unit == "V":
        return volts(level.value)
    if level.unit == "%":
        return f"{trimmed(level.value)} % {level.reference}"
    return f"{trimmed(level.value)} {level.unit}" + (f" re {level.reference}" if level.reference else "")


def conditions(at: Mapping[str, Any]) -> str:
    """Return the level and load of a finding, as they travel with it: "5 W into 8 Ω", "2 V with no load"."""
    parts = []
    if (power := at.get("power")) is not None:
        parts.append(watts(float(power)))
    elif (level := at.get("voltage")) is not None:
        parts.append(volts(float(level)))
    elif (found := level_of(at)) is not None:
        parts.append(level_text(found))
    if (ohms := at.get("load")) is not None:
        into = load(float(ohms))
        parts.append(into if not parts else "with no load" if math.isinf(float(ohms)) else f"into {into}")
    return " ".join(parts)


def number(finding: Finding) -> str:
    """Return a figure without its unit, for columns with the unit in their header."""
    text = show(finding)
    return text.rsplit(" ", 1)[0] if finding.unit and text.endswith(finding.unit) else text
