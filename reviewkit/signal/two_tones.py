"""Two tones played together: which convention they belong to, their products, and how those are added up.

Modulation method: 60 Hz + 7 kHz (SMPTE RP 120) or 250 Hz + 8 kHz (DIN 45403), 4:1. Twin tone: 19 + 20 kHz, 1:1. Which
products count, and what they are relative to, follows IEC 60268-3, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from reviewkit.model import quantities
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.tone_lines import Line, Lines, NoTones, Product, clear_of, least_spacing, product_at

MODULATION, DIFFERENCE = "modulation", "difference"
RATIO_DB = {MODULATION: 20 * np.log10(4), DIFFERENCE: 0.0}
MOST_OFF_RATIO_DB = 1.5  # more than a flat amplifier changes the pair's ratio
SCALLOPING_DB = 3.93  # most that a tone between two lines loses, if the window isn't known (Harris 1978)
LEAST_APART = 8.0  # the upper tone over the lower one, modulation
MOST_APART = 1.6  # the same, difference: 8 kHz + 11.95 kHz is the widest pair in use
FEWEST_CYCLES = 10


@dataclass(frozen=True)
class Pair:
    """Two tones, their convention, and the level that products are relative to (r.m.s.)."""

    low: Line
    high: Line
    convention: str

    @property
    def reference(self) -> float:
        """Return the upper tone, or the sum of both (IEC 60268-3, from memory)."""
        return self.high.level if self.convention == MODULATION else self.low.level + self.high.level

    @property
    def tones(self) -> list[float]:
        """Return both frequencies in Hz, the lower first."""
        return [self.low.frequency_hz, self.high.frequency_hz]

    def places(self, order: int) -> list[float]:
        """Return the frequencies of the products of second or third order that count, Hz."""
        low, high = self.tones
        if self.convention == MODULATION:
            return [high - (order - 1) * low, high + (order - 1) * low]
        return [high - low] if order == 2 else [2 * low - high, 2 * high - low]


def pair_of(lines: Lines, tones: Sequence[Line]) -> Pair:
    """Return the two tones of a spectrum.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    tones : Sequence[Line]
        Its strong tones.

    Returns
    -------
    Pair
        The tones with their convention.

    Raises
    ------
    NoTones
        If they aren't a convention's pair.
    """
    found = sorted(tones, key=lambda line: line.level, reverse=True)
    if len(found) < 2:
        one = quantities.hertz(found[0].frequency_hz)
        raise NoTones(
            f"one tone can be made out, {one}; intermodulation needs two: a low one needs more lines or a longer record"
        )
    if len(found) > 2 and found[2].level > 0.5 * found[1].level:
        raise NoTones(f"it holds {len(found)} strong tones; intermodulation needs two, or is it a multitone?")
    low, high = sorted(found[:2], key=lambda line: line.frequency_hz)
    ratio_db, apart = db_of_amplitude(low.level / high.level), high.frequency_hz / low.frequency_hz
    most_off_db = MOST_OFF_RATIO_DB + (SCALLOPING_DB if lines.spread is None else 0.0)
    if abs(ratio_db - RATIO_DB[MODULATION]) <= most_off_db and apart >= LEAST_APART:
        return Pair(low, high, MODULATION)
    if abs(ratio_db) <= most_off_db and apart <= MOST_APART:
        return Pair(low, high, DIFFERENCE)
    raise NoTones(
        f"it holds {quantities.tones((low.frequency_hz, high.frequency_hz))} at {low.level / high.level:.2f}:1, which "
        "is neither a low tone four times as strong as a high one (60 Hz + 7 kHz, 250 Hz + 8 kHz) nor two equal tones "
        "close together (19 kHz + 20 kHz); set the generator so, or is it another kind?"
    )


def spacing(lines: Lines, pair: Pair) -> float:
    """Return the smallest distance between neighbours among 0 Hz, tones and products, in lines."""
    places = [0.0, *pair.tones, *pair.places(2), *pair.places(3)]
    return min(abs(a - b) for a, b in combinations(places, 2)) / lines.line_hz


def check_pair(lines: Lines, tones: Sequence[Line]) -> None:
    """Raise NoTones if two tones can't be read as a convention's pair.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    tones : Sequence[Line]
        Its strong tones.

    Raises
    ------
    NoTones
        If they aren't a convention's pair, or if they and their products are too close in these lines.
    """
    apart = spacing(lines, pair_of(lines, tones))
    if lines.cleared and apart < FEWEST_CYCLES:
        raise NoTones(
            f"the record holds {apart:.1f} cycles of the distance between its tones and products; at least "
            f"{FEWEST_CYCLES} are needed; capture a longer record"
        )
    if apart < least_spacing(lines):
        raise NoTones("its tones and their products overlap; export a spectrum with more lines")


def products_of(lines: Lines, pair: Pair) -> dict[int, list[Product]]:
    """Return the products that count, by order.

    Parameters
    ----------
    lines : Lines
        The spectrum.
    pair : Pair
        The two tones.

    Returns
    -------
    dict[int, list[Product]]
        Order -> products.

    Raises
    ------
    NoTones
        If one lies outside the data.
    """
    highest = max(pair.places(3))
    if highest + (lines.half + 1) * lines.line_hz > lines.frequency_hz[-1]:
        raise NoTones(f"the product at {quantities.hertz(highest)} lies outside the data; capture at a higher rate")
    places = [lines.place(f) for f in (*pair.places(2), *pair.places(3))]
    tones = (pair.low, pair.high)
    free = clear_of(lines, [lines.place(0.0), *places]) & clear_of(lines, [t.place for t in tones], beyond=lines.half)
    return {order: [product_at(lines, f, tones, free) for f in pair.places(order)] for order in (2, 3)}


@dataclass(frozen=True)
class Ratio:
    """A figure as a ratio. `least`: without the products that don't stand out; `value`: with each of those as high as
    it can be; `most`: with every product as high as it can be.
    """

    value: float
    uncertainty: float
    least: float
    most: float


def added(products: Sequence[Product], reference: float) -> Ratio:
    """Return the products added as amplitudes."""
    distinct = [p for p in products if p.is_distinct]
    return Ratio(
        sum(p.level if p.is_distinct else p.most for p in products) / reference,
        float(np.sqrt(sum(p.uncertainty**2 for p in distinct))) / reference,
        sum(p.level for p in distinct) / reference,
        sum(p.most for p in products) / reference,
    )


def root_sum_square(parts: Sequence[Ratio]) -> Ratio:
    """Return the r.m.s. sum of several figures."""
    value, least, most = (float(np.sqrt(sum(getattr(p, f) ** 2 for p in parts))) for f in ("value", "least", "most"))
    uncertainty = float(np.sqrt(sum((p.value * p.uncertainty) ** 2 for p in parts))) / value if value else 0.0
    return Ratio(value, uncertainty, least, most)
