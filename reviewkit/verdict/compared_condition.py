"""One condition of a finding compared with that of a rating."""

from __future__ import annotations

from dataclasses import dataclass

SAME, HARDER, EASIER, APART = "same", "harder", "easier", "apart"
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


def first_words(text: str) -> str:
    """Return a text in at most six words."""
    words = text.split()
    return text if len(words) <= MOST_WORDS else " ".join(words[: MOST_WORDS - 1]) + " …"
