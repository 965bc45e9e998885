"""What the distortion kinds share: what the file's column says, and the limits that a power rating brings with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reviewkit.model.finding import Conditions
from reviewkit.model.ratings import distortion_limit
from reviewkit.model.sheet import Column
from reviewkit.signal.decibels import amplitude_of_db

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

LIMITED = ("power", "thd", "thd_plus_noise", "distortion")
ONE_PERCENT = 1.0


def figure_of(column: Column) -> str | None:
    """ "THD+N" or "THD", as the column's header says; None where it does not say."""
    words = column.header.lower().replace(" ", "").replace("_", "")
    if "thd+n" in words or "thdn" in words or "thdplusn" in words or "td+n" in words:
        return "THD+N"
    return "THD" if "thd" in words else None


def distortion_percent(column: Column) -> Array:
    """The column in percent of the signal, shape (n,): dB values are amplitudes re the signal."""
    return 100 * amplitude_of_db(column.values) if column.unit.startswith("dB") else column.values


def rated_limits(c: Conditions) -> list[float]:
    """The distortion limits (%) at which power is asked for: 1 %, and each that a power rating names."""
    named = [distortion_limit(r) for r in c.ratings if r.quantity == "power"]
    return list(dict.fromkeys([ONE_PERCENT, *(limit for limit in named if limit)]))


def above_zero(x: Array, percent: Array) -> tuple[Array, Array]:
    """The points that can stand on a logarithmic scale, both shape (m,), m ≤ n."""
    good = percent > 0
    return x[good], percent[good]
