"""The figures that were published, as recorded in published.json."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

FILE_NAME = "published.json"


@dataclass(frozen=True)
class Published:
    """The figures given to viewers.

    Attributes
    ----------
    figures
        By subject, each with its verdict if it has one.
    corrected
        The figures first published, for those that a later publication corrected.
    """

    figures: Mapping[str, str]
    corrected: Mapping[str, str] = field(default_factory=dict)
