"""The change that a repair made."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.model import quantities
from reviewkit.model.finding import Finding


@dataclass(frozen=True)
class Change:
    """The same finding before and after the repair."""

    before: Finding
    after: Finding

    @property
    def improved(self) -> bool:
        """Return whether the repair made it better; True for what is neither better nor worse."""
        return quantities.worse((self.before, self.after)) is self.before
