"""published.json: which figures viewers were given."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

FILE_NAME = "published.json"


@dataclass(frozen=True)
class Published:
    """What viewers have been told. `figures`: what -> the figure, with its verdict where it has one; `corrected`: what ->
    the figure first published, for those that a later publication has put right.
    """

    figures: Mapping[str, str]
    corrected: Mapping[str, str] = field(default_factory=dict)
