"""A price then and now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class IndexTable:
    """A consumer price index by year; `short`: months averaged, for years with fewer than twelve."""

    source: str
    by_year: Mapping[int, float]
    short: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class PriceLine:
    """A price then and now. `now` is unrounded; `line` is the sentence that every output prints."""

    paid: float
    currency: str
    from_year: int
    to_year: int
    factor: float
    now: float
    paid_shown: str
    now_shown: str
    line: str
    fair_shown: str = ""
