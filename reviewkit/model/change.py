"""The change that a repair made."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.model.finding import Finding
from reviewkit.model.quantities import quantity_of


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
