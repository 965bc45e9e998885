"""The shared parts of the distortion kinds: what the file's column is, and the limits that a power rating brings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from reviewkit.model import unstated_conditions
from reviewkit.model.finding import Conditions, Finding
from reviewkit.model.sheet import Column
from reviewkit.signal.decibels import amplitude_of_db

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

LIMITED = ("power", "thd", "thd_plus_noise", "distortion")
ONE_PERCENT = 1.0
MOSTLY = 0.8  # of a distortion's power: from here it is "mostly" one harmonic
_DIES_AWAY_DB = 30.0  # from the strongest odd harmonic to the highest: from here they die away (a judgement)


def figure_of(column: Column) -> str | None:
    """Return "THD+N" or "THD" as named in the column's header; None if it names neither."""
    words = column.header.lower().replace(" ", "").replace("_", "")
    if "thd+n" in words or "thdn" in words or "thdplusn" in words:
        return "THD+N"
    return "THD" if "thd" in words else None


def distortion_percent(column: Column) -> Array:
    """Return the column in percent of the signal.

    Parameters
    ----------
    column : Column
        In percent, or in dB of amplitudes relative to the signal.

    Returns
    -------
    Array
        Shape (n,).
    """
    return 100 * amplitude_of_db(column.values) if column.unit.startswith("dB") else column.values


def rated_limits(c: Conditions) -> list[float]:
    """Return the distortion limits (%) at which power is read: 1 %, and that of each power rating."""
    rated = [unstated_conditions.distortion_percent(r) for r in c.ratings if r.quantity == "power"]
    return list(dict.fromkeys([ONE_PERCENT, *rated]))


def above_zero(x: Array, percent: Array) -> tuple[Array, Array]:
    """Return the points that have a place on a logarithmic scale.

    Parameters
    ----------
    x : Array
        Shape (n,).
    percent : Array
        Shape (n,).

    Returns
    -------
    tuple[Array, Array]
        Both shape (m,), m ≤ n.
    """
    good = percent > 0
    return x[good], percent[good]


def share_of(harmonics: Iterable[Finding], distortion: Finding) -> float:
    """Return the share of a distortion's power that some of its harmonics have."""
    return float(sum(10 ** (f.value / 10) for f in harmonics) / (distortion.value / 100) ** 2)


def are_odd(levels: Mapping[int, Finding], distortion: Finding) -> bool:
    """Return whether odd harmonics make up the distortion, and the highest is not far below the strongest."""
    odd = {n: f for n, f in levels.items() if n % 2}
    if len(odd) < 3 or share_of(odd.values(), distortion) < MOSTLY:
        return False
    return max(f.value for f in odd.values()) - odd[max(odd)].value <= _DIES_AWAY_DB
