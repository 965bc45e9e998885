"""Rounding by one stated rule: the digits of a written number, never more than its uncertainty supports.

Ties go to even after NIST SP 811 B.7.1 (from memory); an uncertainty has two digits if its first is 1 or 2, else one
(usual practice with the GUM).
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Context, Decimal

Steps = tuple[tuple[str, float], ...]  # units with a prefix, falling, and what each is worth
MINUS = "\u2212"
_ANY_SIZE = Context(prec=700)  # digits: a float has at most 309 before its point, and 324 zeros after it


def decimals_of(uncertainty: float | None) -> int | None:
    """Return the decimals of an expanded uncertainty: two digits of it if the first is 1 or 2, else one."""
    if not uncertainty or not math.isfinite(uncertainty):
        return None
    exponent = math.floor(math.log10(uncertainty))
    first = int(uncertainty / 10.0**exponent + 1e-9)
    return -exponent + (1 if first in (1, 2) else 0)


def fixed(value: float, decimals: int, uncertainty: float | None = None) -> str:
    """Format a number with fixed decimals, fewer if its uncertainty supports fewer; true minus, no "−0"."""
    carried = decimals_of(uncertainty)
    if carried is not None:
        decimals = min(decimals, carried)
    exact = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN, _ANY_SIZE)
    text = f"{exact:f}"
    if exact == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def signed(value: float, decimals: int, uncertainty: float | None = None) -> str:
    """Format a number like `fixed`, with "+" if it isn't negative."""
    text = fixed(value, decimals, uncertainty)
    return text if text.startswith(MINUS) else f"+{text}"


def significant(value: float, digits: int, uncertainty: float | None = None) -> str:
    """Format a number to significant digits, trailing zeros kept: 0.10, 1.4, 46, 120."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "∞"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    text = fixed(value, decimals, uncertainty)
    # rounding may carry into a new leading digit (0.0996 -> 0.100); write it with one digit less
    rounded = abs(float(text.replace(MINUS, "-")))
    if rounded and math.floor(math.log10(rounded) + 1e-12) > math.floor(math.log10(abs(value))):
        text = fixed(value, decimals - 1, uncertainty)
    return text


def prefixed(value: float, unit: str, steps: Steps, uncertainty: float | None = None) -> str:
    """Format a number to three digits with the prefix that keeps it at or above one: 43.1 W, 250 mW, 12.0 mV."""
    name, factor = _step(value, steps)
    if value == 0:
        name, factor = unit, 1.0
    return f"{significant(value / factor, 3, None if uncertainty is None else uncertainty / factor)} {name}"


def trimmed(value: float, digits: int = 3) -> str:
    """Format a number to significant digits without trailing zeros, for conditions and limits as stated."""
    text = significant(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


def stepped(value: float, steps: Steps, digits: int = 3) -> str:
    """Format a number like `trimmed`, with the prefix that keeps it at or above one: 5 W, 2.83 V, 12.5 kHz."""
    name, factor = _step(value, steps)
    return f"{trimmed(value / factor, digits)} {name}"


def _step(value: float, steps: Steps) -> tuple[str, float]:
    return next(((name, factor) for name, factor in steps if abs(value) >= factor * 0.9995), steps[-1])


def float_of(number: str) -> float:
    """Parse a number as written by `fixed`."""
    return float(number.replace(MINUS, "-").replace("+", ""))
