"""The position of a figure relative to its limit: inside, outside, or too close to call.

The limit is exact (the absolute method of ASTM E29, from memory), with a guard band of one expanded uncertainty
(ILAC-G8:09/2019, simple acceptance and rejection).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from reviewkit.model import quantities, rating_words
from reviewkit.model.finding import Finding
from reviewkit.model.ratings import DECIBELS, distortion_limit, rule_of
from reviewkit.model.session import Rating
from reviewkit.verdict import own_ratings
from reviewkit.verdict.comparison import INSIDE, ON, OUTSIDE, is_in_percent

_MOST_HIDDEN_DB, _MOST_HIDDEN = 0.05, 0.05  # a miss that rounding may hide: in dB, or as a share of the limit
_ALLOWANCE = 1e-9  # for binary rounding of decimal figures


@dataclass(frozen=True)
class Margin:
    """The distance of a value inside its limit. `amount`: in the limit's unit; `size`: ln(ratio), or dB."""

    amount: float
    size: float
    limit: float
    unit: str


@dataclass(frozen=True)
class Position:
    """A figure's side of its limit, its distance inside (ln(ratio) or dB), and whether rounding hides a miss."""

    side: int
    size: float
    rounds: bool = False


def margin(rating: Rating, finding: Finding, value: float) -> Margin:
    """Return how far inside the limit this value of the finding would be."""
    if is_in_percent(rating, finding):
        limit = distortion_limit(rating)
        assert limit is not None
        return Margin(limit - value, math.log(limit / max(value, 1e-12)), limit, "%")
    if is_opposite(rating, finding):
        value = -value
    if rating.within is not None:
        low, high = rating.within
        # one signed figure for both sides is compared with the side of its sign
        upper = (quantities.quantity_of(finding).side or value) >= 0
        amount, limit = (high - value, high) if upper else (value - low, low)
        return Margin(amount, amount, limit, rating.unit)
    if quantities.quantity_of(finding).either_way or own_ratings.size_counts(rating):
        value = abs(value)
    if rating.tolerance is not None:
        low, high = rating.tolerance
        return min(_one(rating, value, low, 1), _one(rating, value, high, -1), key=lambda each: each.amount)
    if rating.at_least is not None:
        return _one(rating, value, rating.at_least, 1)
    assert rating.at_most is not None
    return _one(rating, value, rating.at_most, -1)


def is_opposite(rating: Rating, finding: Finding) -> bool:
    """Return whether a figure has the other sign than its rating: crosstalk, where separation is rated."""
    opposite = quantities.quantity_of(finding).opposite
    return bool(opposite) and quantities.QUANTITIES[opposite].name == rating.quantity


def _one(rating: Rating, value: float, limit: float, sign: int) -> Margin:
    """Return the margin of a value that must be above (`sign` 1) or below (−1) a limit."""
    amount = sign * (value - limit)
    below = limit < 0 and value < 0
    if rule_of(rating).margin == "db" or ((limit <= 0 or value <= 0) and not below):
        return Margin(amount, amount, limit, rating.unit)
    return Margin(amount, (-sign if below else sign) * math.log(value / limit), limit, rating.unit)


def position(rating: Rating, finding: Finding) -> Position:
    """Return a figure's side of the limit, and its distance.

    No verdict contradicts the printed figure: a figure that prints as the limit is on it, which is inside if no
    uncertainty is stated. A miss too small for the limit's last printed digit can't be called one.
    """
    value = quantities.claimed(finding)
    exact, shown = margin(rating, finding, value), margin(rating, finding, quantities.as_shown(finding))
    side = _side(rating, finding, exact.amount)
    rounds = False
    if abs(shown.amount) <= _ALLOWANCE * abs(finding.value):  # 150 mV differs from 0.15 V in the last bit
        if not finding.uncertainty:
            side = INSIDE
        elif side == OUTSIDE:
            side = ON
    elif min(exact.amount, shown.amount) < 0 <= max(exact.amount, shown.amount):
        side = ON
    elif side == OUTSIDE and _is_hidden(exact):
        side, rounds = ON, True
    nearer = exact if abs(shown.amount - exact.amount) < abs(exact.amount) else shown
    return Position(side, nearer.size, rounds)


def _side(rating: Rating, finding: Finding, amount: float) -> int:
    """Compare with the guard band. Exactly on the limit with no uncertainty stated is inside."""
    if between := finding.at.get("interval"):
        # from two loads the factor's bounds are known; its ± is only of first order
        amounts = [margin(rating, finding, end).amount for end in between]
        return INSIDE if min(amounts) >= 0 else OUTSIDE if max(amounts) <= 0 else ON
    uncertainty = finding.uncertainty or 0.0
    if uncertainty == 0:
        return INSIDE if amount >= 0 else OUTSIDE
    return INSIDE if amount >= uncertainty else OUTSIDE if amount <= -uncertainty else ON


def _is_hidden(missed: Margin) -> bool:
    """Return whether the value, rounded to the limit's last printed digit, is the limit."""
    most = _MOST_HIDDEN_DB if missed.unit in DECIBELS else _MOST_HIDDEN * abs(missed.limit)
    half = rating_words.half_digit(missed.limit, missed.unit)
    return -missed.amount < half * (1 - _ALLOWANCE) and -missed.amount <= most * (1 + _ALLOWANCE)


def off_nominal(rating: Rating, finding: Finding) -> float:
    """Return how far a figure is from the nominal value: in dB, or as a share of it."""
    assert rating.nominal is not None
    value = quantities.claimed(finding)
    return value - rating.nominal if rating.unit in DECIBELS or not rating.nominal else value / rating.nominal - 1
