"""A verdict in words: what was measured, by how much it clears the limit, and why it does not compare."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from reviewkit.model import digits, quantities, rating_words
from reviewkit.model.finding import Finding
from reviewkit.model.finding_conditions import why_bound
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Rating
from reviewkit.verdict.comparison import APART, CLOSE, EASIER, HARDER, INSIDE, MEETS, OUTSIDE, SAME, SWEPT, Answer

# the needle stands clear of the notch whenever the word is not "too close to call"
_CLEAR = 0.08


def limit(rating: Rating, finding: Finding) -> str:
    """The limit that this figure was held against: of a power answered in percent, the distortion it is rated at."""
    if rating.quantity == "power" and finding.quantity == "worst_distortion":
        percent = rating.thd_percent or rating.thd_plus_noise_percent
        assert percent is not None
        assert rating.at_least is not None
        at = quantities.watts(rating.at_least, rating_words.AS_PRINTED)
        return f"{quantities.percent(percent, rating_words.AS_PRINTED)} at {at}"
    return rating_words.limit_text(rating)


def measured(rating: Rating, finding: Finding, findings: Iterable[Finding], word: str) -> str:
    """The measured side of the row; with its uncertainty where that decides, and where it was read if the rating is
    of a band and the figure of one frequency in it.
    """
    show = quantities.with_uncertainty if word == CLOSE else quantities.show
    if finding.quantity in ("power_at_limit", "power_reached") and rating.quantity == "power":
        least = "at least " if finding.quantity == "power_reached" else ""
        hz = finding.at.get("frequency") if rating.band_hz is not None else None
        return f"{least}{show(finding)}" + (f" at {quantities.hertz(hz)}" if hz is not None else "")
    if rating.quantity == "power" and finding.quantity == "worst_distortion":
        level = finding.at.get("power")
        return show(finding) + (f" at {quantities.watts(level)}" if level is not None else "")
    if rating.quantity == "separation":
        return show(replace(finding, value=-finding.value))
    if rating.quantity == "thd" and finding.quantity == "thd_plus_noise":
        return f"{show(finding)} THD+N"
    if finding.quantity in ("deviation_high", "deviation_low"):
        pair = {
            f.quantity: f
            for f in findings
            if f.quantity in ("deviation_high", "deviation_low")
            and f.channel == finding.channel
            and f.measurement == finding.measurement
            and f.at.get("band") == finding.at.get("band")
        }
        return quantities.deviation(pair["deviation_high"].value, pair["deviation_low"].value)
    return show(finding)


def margin(rating: Rating, answer: Answer) -> str:
    """Distance from the limit, such that more is better: "+8 %", "+0.2 dB", "1.3 ×"."""
    kind = RULES[rating.quantity].margin
    if rating.quantity == "power" and answer.finding.quantity == "worst_distortion":
        kind = "ratio"
    if kind == "db":
        decimals = 2 if rating.within is not None and abs(answer.room) < 0.995 else 1
        return f"{digits.signed(answer.room, decimals)} dB"
    if kind == "percent":
        # the ninth decimal forgives the way there through logarithms: 37 W of 40 W is −7.5 %, whose tie goes to even
        percent = round(100 * (math.exp(answer.room) - 1), 9)
        return f"{digits.signed(percent, 1 if abs(percent) < 0.95 else 0)} %"
    return f"{digits.significant(math.exp(answer.room), 2)} ×"


def room(rating: Rating, answer: Answer) -> float:
    """How far inside the limit, on the needle's scale but beyond its ends too: half at a factor of two, or at 3 dB."""
    if rating.within is not None:
        # how far inside, as a share of the tolerance: nothing used is off the scale, twice the tolerance is half of it
        reach = _reach(rating, answer.finding)
        ratio = reach / max(reach - answer.room, 1e-9)
        return 0.5 * math.log2(ratio) if ratio > 0 else -1.0
    if RULES[rating.quantity].margin == "db":
        return 0.5 * answer.room / 3
    return 0.5 * answer.room / math.log(2)


def position(rating: Rating, answer: Answer, word: str) -> float:
    """Where the needle points, −1 … 1."""
    if word == CLOSE:
        return 0.0
    sign = 1.0 if word == MEETS else -1.0
    return sign * min(1.0, max(_CLEAR, sign * room(rating, answer)))


def no_room(rating: Rating, finding: Finding) -> bool:
    """Whether this side of a tolerance allows nothing at all."""
    side = {"deviation_high": 1, "deviation_low": 0}.get(finding.quantity)
    return rating.within is not None and side is not None and rating.within[side] == 0


def _reach(rating: Rating, finding: Finding) -> float:
    """What the tolerance allows on the side that a figure is held against, dB; where that is nothing, all of it."""
    assert rating.within is not None
    low, high = rating.within
    upper = {"deviation_high": True, "deviation_low": False}.get(finding.quantity, finding.value >= 0)
    return (high if upper else -low) or high - low


def one_side(finding: Finding) -> str:
    """That only one channel or direction was measured, and which."""
    channel = finding.channel.replace(">", " → ")
    return f"only {channel} measured" if channel else "only one channel measured"


def why(rating: Rating, answer: Answer, *, alone: bool = False) -> str:
    """Which condition differs, and what the measurement does show. `alone`: only one channel answers.

    What stands in the way comes first: an easier condition where the rating was met, a harder one where it was missed.
    """
    in_the_way = (EASIER, APART) if answer.side == INSIDE else (HARDER, APART)
    differing = sorted((s for s in answer.stands if s.stand != SAME), key=lambda s: s.stand not in in_the_way)
    reasons = [s.why for s in differing if s.why]
    if answer.finding.unread:
        reasons.append(answer.finding.unread)
    if alone:
        reasons.append(f"rated for both channels, {one_side(answer.finding)}")
    if answer.finding.bound:
        reasons.append(f"the figure is a bound, {why_bound(answer.finding)}")
    if rating.rule.lower() == "music" and answer.side == OUTSIDE:
        reasons.append("continuous power cannot deny a music rating")
    if answer.finding.quantity == "power_reached" and answer.side == OUTSIDE:
        reasons.append("the sweep stops before the limit is reached")
    shows = _shows(rating, answer)
    return "; ".join([*reasons, *([shows] if shows else [])])


def _shows(rating: Rating, answer: Answer) -> str:
    f = answer.finding
    swept = f.at.get("band") if f.quantity in SWEPT else None
    eased = [s for s in answer.stands if s.stand == EASIER]
    if answer.side == INSIDE and swept and rating.band_hz and eased:
        return f"holds over the part measured, {quantities.band((swept[0], swept[1]))}"
    if rating.quantity == "power" and f.quantity == "power_at_limit" and f.at.get("frequency"):
        return f"at {quantities.hertz(f.at['frequency'])} it gives {quantities.show(f)}"
    if answer.side == INSIDE and eased:
        return "holds under what was measured"
    if answer.side == OUTSIDE and any(s.stand == HARDER for s in answer.stands):
        return "does not hold there, which the rating does not promise"
    return ""
