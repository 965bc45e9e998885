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
    verdict: str  # one of five, or "": a nominal value is not judged
    margin: str = ""
    why: str = ""
    assumed: str = ""  # conditions the maker left out, as the bench had them
    position: float | None = None  # the needle: -1 … 1, 0 on the limit, beyond for past the scale; None: no pointer
    measurements: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    room: float | None = None  # `position` without the ends of its scale, and as near to 0 as it is
    brief: str = ""  # of what is not comparable: which condition differs, in six words at most
    limit_source: str = "rated"  # on a card, above the limit's figure: where it comes from, "rated 8 Ω: lowest allowed"
    limit_figure: str = ""  # the limit's figure, where `limit` says more than that
    remark: str = ""  # what else the row says: the figure at another frequency, what was not checked

    @property
    def shown_limit(self) -> str:
        """Return the limit's figure alone, as it is next to the measured one: "6.4 Ω"."""
        return self.limit_figure or self.limit
