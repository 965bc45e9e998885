"""The change that a repair made."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from reviewkit.model.finding import Finding
from reviewkit.model.quantities import quantity_of, worse
from reviewkit.model.ratings import DECIBELS

# from which a change is what a card is about, not its verdict
_TIMES, _DECIBELS = 2.0, 3.0


@dataclass(frozen=True)
class Change:
    """The same finding before and after the repair."""

    before: Finding
    after: Finding

    @property
    def improved(self) -> bool:
        """True if the figure is better after the repair; one that has no better way improves towards zero."""
        before, after = self.before.value, self.after.value
        quantity = quantity_of(self.after)
        if quantity.either_way or not quantity.better:
            return abs(after) < abs(before)
        return (after - before) * quantity.better > 0

    @property
    def size(self) -> float:
        """Return how large it is: 1 is a factor of two, or 3 dB; 0 if it is within its uncertainty."""
        before, after = self.before, self.after
        unsure = math.hypot(before.uncertainty or 0.0, after.uncertainty or 0.0)
        if abs(before.value - after.value) <= unsure:
            return 0.0
        if after.unit in DECIBELS:
            return abs(before.value - after.value) / _DECIBELS
        if before.value <= 0 or after.value <= 0:
            return 0.0
        return abs(math.log(after.value / before.value)) / math.log(_TIMES)


def of_worse_channel(changes: Iterable[Change]) -> Change | None:
    """Return the one of the channel that was worse before, of those that are large enough to show; None if none is."""
    large = [change for change in changes if change.size >= 1]
    worst = worse([change.before for change in large])
    return next((change for change in large if change.before is worst), None)
