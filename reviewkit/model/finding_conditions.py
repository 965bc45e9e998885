"""The conditions of a finding, in words."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model import named_conditions, quantities
from reviewkit.model.finding import Finding
from reviewkit.model.level import reference_level
from reviewkit.model.weightings import weighted

# how a figure was found that is only a bound
TEST_RECORD, HIDDEN = "from a test record", "as noise"
NOT_THIRD_ALONE, WITHOUT_NOISE, SWEEP_ENDS = "all harmonics", "without noise", "sweep ends"
DRIVEN = {"both": "both channels driven", "one": "one channel driven"}


def conditions_of(f: Finding) -> str:
    """Return the conditions of a figure: "1 kHz, 5 W into 8 Ω, 20 Hz – 20 kHz, aux"."""
    at = f.at
    parts = [
        str(at.get("line", "")),
        quantities.hertz(at["frequency"]) if "frequency" in at and f.quantity != "frequency" else "",
        quantities.conditions(at if f.unit != "W" else {"load": at.get("load")}),
        quantities.band(at["band"]) if "band" in at else "",
        f"at {quantities.percent(at['limit'])}" if "limit" in at else "",
        f"re {reference}" if (reference := reference_of(f)) else "",
        f"with {quantities.tones(at['tones'])}" if "tones" in at else "",
        str(at.get("method", "")),
        f"relative to {relative_words(to_hz)}" if (to_hz := at.get("relative_to")) else "",
        "with the 1976 amendment" if at.get("amendment") else "",
        str(at.get("figure", "")),
        f"{at['harmonics']} harmonics" if "harmonics" in at else "",
        without(at["without"]) if at.get("without") else "",
        weighted(at["weighting"]) if "weighting" in at else "",
        str(at.get("input", "")),
        f"input {at['termination']}" if "termination" in at else "",
        f"volume {at['volume']}" if "volume" in at else "",
        f"from {at['swept']}" if "swept" in at else "",
        DRIVEN.get(str(at.get("channels", "")), ""),
        *named_conditions.in_words(at.get("conditions", {}).items()),
        str(at.get("setting", "")),
        f"{f.stage} the repair" if f.stage in ("before", "after") else "",
        why_bound(f) if f.bound else "",
        f.unread,
    ]
    return ", ".join(part for part in parts if part)


def relative_words(to_hz: float | Sequence[float]) -> str:
    """Return what a response is relative to: "315 Hz", or "the mean of 300 Hz – 3 kHz"."""
    ends = [to_hz] if isinstance(to_hz, float) else list(to_hz)
    return quantities.hertz(ends[0]) if len(ends) == 1 else f"the mean of {quantities.band(ends)}"


def reference_of(f: Finding) -> str:
    """Return what a ratio is relative to: "40 W", "5 mV at the input", "2 V", "250 nWb/m"; "" if that isn't stated."""
    if "reference" in f.at:
        return quantities.watts(f.at["reference"])
    if "reference_input" in f.at:
        return f"{quantities.volts(f.at['reference_input'])} at the input"
    level = reference_level(f.at)
    return quantities.level_text(level) if level else ""


def without(lines_hz: Sequence[float]) -> str:
    """Return which lines were left out: "without 19 kHz and 38 kHz"."""
    *most, last = [quantities.hertz(hz, 5) for hz in lines_hz]
    return f"without {' and '.join(filter(None, (', '.join(most), last)))}"


def why_bound(f: Finding) -> str:
    """Return why a figure is only a bound, in at most five words: a card has them, too."""
    if f.at.get("limited_by") == "noise" and f.floor is None:
        return "products hidden in noise"
    reasons = {
        "two loads": "all that the meter resolves",
        TEST_RECORD: "record's own included",
        HIDDEN: "no line above the noise",
        NOT_THIRD_ALONE: "third harmonic not separated",
        WITHOUT_NOISE: "of harmonics alone, without noise",
        SWEEP_ENDS: "the sweep ends there",
    }
    return reasons.get(str(f.at.get("method", "")), "at the bench's floor")
