"""Weightings by name, and how a weighted figure is worded.

468 is the curve of ITU-R BS.468 read as r.m.s.; CCIR/ARM the same, 0 dB at 2 kHz, read by an average-responding meter;
DIN A and DIN B are the unweighted and the weighted curve of rumble (IEC 60098); the last two are of wow and flutter.
"""

from __future__ import annotations

WRMS, WEIGHTED_PEAK = "WRMS", "weighted peak"
# spellings in small letters with spaces for hyphens
SPELLINGS: dict[str, str] = {
    "wrms": WRMS,
    "weighted rms": WRMS,
    "weighted r.m.s": WRMS,
    "weighted r.m.s.": WRMS,
    "weighted peak": WEIGHTED_PEAK,
    "wtd peak": WEIGHTED_PEAK,
    "din peak": WEIGHTED_PEAK,
    "468": "468",
    "ccir 468": "468",
    "itu r 468": "468",
    "ccir": "468",
    "ccir/arm": "CCIR/ARM",
    "ccir arm": "CCIR/ARM",
    "din a": "DIN A",
    "din b": "DIN B",
}
# under which noise, or flutter, of every usual kind reads lower (common practice, no source)
FLATTERING = ("A", "C", "DIN B", WRMS, WEIGHTED_PEAK)


def weighting_of(word: str) -> str:
    """Return a weighting's name; a single letter is a capital, so that "a" and "A" are the same filter."""
    if len(word) == 1:
        return word.upper()
    return SPELLINGS.get(" ".join(word.casefold().replace("-", " ").split()), word)


def weighted(weighting: str) -> str:
    """Return how a figure is weighted: "A-weighted", "468-weighted", "weighted r.m.s.", "unweighted"."""
    if weighting == WRMS:
        return "weighted r.m.s."
    return "unweighted" if not weighting else weighting if weighting == WEIGHTED_PEAK else f"{weighting}-weighted"
