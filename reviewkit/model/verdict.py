"""A rating compared with what was measured."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.model.finding import Finding
from reviewkit.model.session import Rating


@dataclass(frozen=True)
class Verdict:
    """One rating compared with what was measured."""

    rating: Rating
    label: str  # "Power into 8 Ω"
    rated: str  # the rating as one line with its conditions
    limit: str  # the limit alone: "40 W"; "0.05 % at 40 W" where a power was answered in percent
    measured: str  # "" where not measured
    verdict: str  # meets, falls short, too close to call, not comparable, not measured
    margin: str = ""
    why: str = ""
    assumed: str = ""  # conditions the maker left out, as the bench had them
    position: float | None = None  # the needle: -1 … 1, 0 on the limit; None: no pointer
    measurements: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    room: float | None = None  # `position` before it is limited to the scale
