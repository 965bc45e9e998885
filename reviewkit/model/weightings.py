"""Weightings by name, and how a weighted figure is worded.

468 is the curve of ITU-R BS.468 read as r.m.s.; CCIR/ARM the same, 0 dB at 2 kHz, read by an average-responding meter;
DIN A and DIN B are the unweighted and the weighted curve of rumble (IEC 60098), whose tables aren't available: a figure
here is of a stand-in of type B, and neither can be compared with the other. The last two are of wow and flutter.
"""

from __future__ import annotations

WRMS, WEIGHTED_PEAK = "WRMS", "weighted peak"
CCIR_ARM = "CCIR/ARM"
CCIR_RMS = "CCIR-RMS"  # of AES17: that of CCIR/ARM, read as r.m.s.
RUMBLE_B_TYPE = "B-type stand-in"
RMS = "r.m.s."  # of jitter: which value it is
MUST_BE_STATED = (WRMS, WEIGHTED_PEAK, RMS)  # of flutter and jitter, whose figures are never meant unweighted
# spellings in small letters with spaces for hyphens
SPELLINGS: dict[str, str] = {
    "wrms": WRMS,
    "weighted rms": WRMS,
    "weighted r.m.s": WRMS,
    "weighted r.m.s.": WRMS,
    "weighted peak": WEIGHTED_PEAK,
    "rms": RMS,
    "r.m.s": RMS,
    **dict.fromkeys(("wtd peak", "w.peak", "w. peak", "w peak", "wpeak"), WEIGHTED_PEAK),
    "din peak": WEIGHTED_PEAK,
    "468": "468",
    "ccir 468": "468",
    "itu r 468": "468",
    "ccir": "468",
    "ccir/arm": CCIR_ARM,
    "ccir arm": CCIR_ARM,
    "ccir rms": CCIR_RMS,
    "aes17": CCIR_RMS,
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
    if weighting in (WEIGHTED_PEAK, RUMBLE_B_TYPE, RMS):
        return weighting
    return f"{weighting}-weighted" if weighting else "unweighted"
