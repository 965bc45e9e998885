"""The change that a repair made."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.model.finding import Finding


@dataclass(frozen=True)
class Change:
    """The same finding before and after the repair."""

    before: Finding
    after: Finding
