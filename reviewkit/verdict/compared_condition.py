"""One condition of a finding compared with that of a rating."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SAME, HARDER, EASIER, APART = "same", "harder", "easier", "apart"
SAME_SHARE = 0.005  # of a load, a power or a band's edge: exports round by as much (common practice, no source)
MOST_WORDS = 6  # on a card, about a condition that differs


@dataclass(frozen=True)
class ComparedCondition:
    """One condition compared. `why`: what differs, ready to print; `brief`: the same in six words at most; `assumed`:
    what the maker left out, as it was on the bench.
    """

    relation: str  # one of the above
    why: str = ""
    assumed: str = ""
    brief: str = ""


def differing(relation: str, rated: str, measured: str, brief: str = "") -> ComparedCondition:
    """Return a condition that differs. `brief`: what was measured in six words at most, if `measured` has more."""
    return ComparedCondition(relation, f"{rated}, {measured}", brief=brief or measured)


def not_stated(rated: str, what: str, brief: str) -> ComparedCondition:
    """Return a condition that isn't known of the figure: "the load measured with", in short "load"."""
    return differing(APART, rated, f"{what} is not stated", f"{brief} not stated")


def relation_of_bands(had: Sequence[float], rated: Sequence[float]) -> str:
    """Return what the band of a figure makes of the test: a wider one than rated is harder, a part of it easier."""
    below, above = had[0] / rated[0] - 1, rated[1] / had[1] - 1
    if max(abs(below), abs(above)) <= SAME_SHARE:
        return SAME
    return HARDER if max(below, above) <= SAME_SHARE else EASIER if min(below, above) >= -SAME_SHARE else APART


def first_words(text: str) -> str:
    """Return a text in at most six words."""
    words = text.split()
    return text if len(words) <= MOST_WORDS else " ".join(words[: MOST_WORDS - 1]) + " …"
