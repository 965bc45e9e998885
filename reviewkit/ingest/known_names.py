"""Names of figures that someone writes: the radio in front of one, a misspelling of a known name, or the user's own."""

from __future__ import annotations

from difflib import get_close_matches

from reviewkit.model.gear_names import SHOWN, spelled
from reviewkit.model.quantities import BY_METER, QUANTITIES
from reviewkit.model.ratings import RULES, TRADE_WORDS, rated_name
from reviewkit.model.unstated_conditions import RADIO

LONGEST_NAME = 60
# how similar a name must be to a known one to be a misspelling of it: a transposed pair in a long word, a letter too
# many; "rail voltage" and "B+ voltage" aren't "hum voltage"
_ALIKE = 0.85
_MEASURED = tuple(sorted({spelled(each) for each in (*BY_METER, *QUANTITIES, *RULES, *TRADE_WORDS)}))
_KNOWN = {name: frozenset(name) for name in sorted({*_MEASURED, *SHOWN})}  # with their letters


def of_radio(words: str) -> tuple[str, str]:
    """Return the half of a receiver that a known name begins with, and the name without it: FM, "capture ratio".

    Of any other name, "" and the name itself: of AM suppression, which is a figure of FM.
    """
    half, _, rest = " ".join(words.replace("_", " ").split()).partition(" ")
    half = half.upper()
    if half not in RADIO:
        return "", words
    if spelled(words) in SHOWN:
        return "FM" if half == "FM" else "", words
    return (half, rest) if spelled(rest) in SHOWN or rated_name(rest) else ("", words)


def misspelled(words: str) -> str | None:
    """Return the known name that this one is a misspelling of: nearly the same, or its letters in another order."""
    name = spelled(words)
    # a known name with words before or after it is one of the user's own
    if name in SHOWN or any(f" {each} " in f" {name} " for each in _MEASURED):
        return None
    # the others are too short, too long or of too many other letters to be that similar
    own, length = frozenset(name), len(name)
    near = [
        each
        for each, letters in _KNOWN.items()
        if 2 * min(len(each), length) >= _ALIKE * (len(each) + length)
        and len(letters ^ own) <= (1 - _ALIKE) * (len(each) + length)
    ]
    swapped = next((each for each in near if sorted(each) == sorted(name)), None)
    return swapped or next(iter(get_close_matches(name, near, n=1, cutoff=_ALIKE)), None)
