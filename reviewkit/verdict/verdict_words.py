"""Write a verdict: what was measured, how far it clears the limit, and why it isn't comparable."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from reviewkit.model import digits, quantities, rating_words
from reviewkit.model.finding import Finding
from reviewkit.model.finding_conditions import why_bound
from reviewkit.model.level import Level, is_same, level_of
from reviewkit.model.ratings import DECIBELS, LOWEST_POWER_W, distortion_limit, rule_of
from reviewkit.model.session import Rating
from reviewkit.model.verdict import Verdict
from reviewkit.verdict import limits
from reviewkit.verdict.compared_condition import APART, EASIER, HARDER, SAME
from reviewkit.verdict.comparison import INSIDE, OUTSIDE, Answer, is_in_percent, is_swept

MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED = (
    "meets",
    "falls short",
    "too close to call",
    "not comparable",
    "not measured",
)
NO_VERDICT = ""  # a nominal value without a tolerance is only printed next to the measured one
JUDGED = (MEETS, SHORT, CLOSE)
ROUNDS = "rounds to the limit"
# the needle stays clear of the notch whenever the word is not "too close to call"
_CLEAR = 0.04
_LARGE_UNCERTAINTY = 0.03  # of a power: from here it is always shown
PAST_SCALE = 1.2
_OPPOSITE = {"at most": "at least", "at least": "at most", "": ""}


def is_below_rated(rating: Rating, finding: Finding) -> bool:
    """Return whether a distortion that answers a power was measured below the rated one."""
    had = level_of(finding.at)
    if not is_in_percent(rating, finding) or had is None or rating.at_least is None:
        return False
    above = had.decibels_above(Level(rating.at_least, "W", had.load_ohm))
    return above is not None and above < 0 and not is_same(above)


def limit(rating: Rating, finding: Finding, label: str) -> tuple[str, str, str]:
    """Return the limit that this figure was compared with, where it comes from, and its figure alone.

    Of a power answered in percent it is its distortion, of a value with a tolerance what it may be.
    """
    if not is_in_percent(rating, finding):
        text = rating_words.limit_text(rating, label)
        if rating.tolerance is None or rating.nominal is None:
            return text, "rated", text
        low, high = (rating_words.value_text(value, rating.unit) for value in rating.tolerance)
        low = low.removesuffix(f" {high.rpartition(' ')[2]}")
        return text, f"rated {rating_words.value_text(rating.nominal, rating.unit)}: within", f"{low} – {high}"
    percent = distortion_limit(rating)
    assert percent is not None
    assert rating.at_least is not None
    at = quantities.watts(rating.at_least, rating_words.AS_PRINTED)
    where = f"from {quantities.watts(LOWEST_POWER_W)} to {at}" if is_below_rated(rating, finding) else f"at {at}"
    figure = quantities.percent(percent, rating_words.AS_PRINTED)
    return f"{figure} {where}", f"rated {where}", figure


def measured(rating: Rating, finding: Finding, findings: Iterable[Finding], word: str) -> str:
    """Return the measured side of the row.

    It has the uncertainty if that decides, and the frequency if the rating is of a band and the figure of one
    frequency in it.
    """
    # the uncertainty of a damping factor is large where the factor is, so it always goes with it
    always = rating.quantity == "damping_factor" or (
        finding.unit == "W" and (finding.uncertainty or 0.0) > _LARGE_UNCERTAINTY * finding.value
    )
    show = quantities.with_uncertainty if word == CLOSE or always else quantities.show
    if rating.quantity == "power" and finding.unit == "W":
        least = "at least " if finding.quantity == "power_reached" else ""
        hz = finding.at.get("frequency") if rating.band_hz is not None else None
        return f"{least}{show(finding)}" + (f" at {quantities.hertz(hz)}" if hz is not None else "")
    if is_in_percent(rating, finding):
        level = finding.at.get("power")
        return show(finding) + (f" at {quantities.watts(level)}" if level is not None else "")
    if limits.is_opposite(rating, finding):
        floor = None if finding.floor is None else -finding.floor
        name, bound = quantities.quantity_of(finding).opposite, _OPPOSITE[finding.bound]
        return show(replace(finding, quantity=name, value=-finding.value, bound=bound, floor=floor))
    if rating.quantity == "thd" and finding.quantity == "thd_plus_noise":
        return f"{show(finding)} THD+N"
    if quantities.quantity_of(finding).side:
        # what all channels stay within
        alike = [
            f for f in findings if f.measurement == finding.measurement and f.at.get("band") == finding.at.get("band")
        ]
        highs, lows = ([f.value for f in alike if quantities.quantity_of(f).side == side] for side in (1, -1))
        if highs and lows:
            return quantities.deviation(max(highs), min(lows))
    if word == NO_VERDICT:
        return f"{show(finding)}, {_off_nominal(rating, finding)}"
    return show(finding)


def _off_nominal(rating: Rating, finding: Finding) -> str:
    off = limits.off_nominal(rating, finding)
    if rating.unit in DECIBELS or not rating.nominal:
        return quantities.joined(digits.signed(off, 1), "dB" if rating.unit in DECIBELS else rating.unit)
    percent = round(100 * off, 9)
    return f"{digits.signed(percent, 1 if abs(percent) < 0.95 else 0)} %"


def figure_with_place(rating: Rating, finding: Finding, findings: Iterable[Finding]) -> str:
    """Return a figure of a band with where it was read: "0.17 % at 20 kHz", "0.035 % at 40 W, 20 kHz"."""
    hz = finding.at.get("frequency")
    text = measured(rating, finding, findings, MEETS)
    where = f"{', ' if ' at ' in text else ' at '}{quantities.hertz(hz)}" if hz is not None else ""
    if not where and finding.at.get("band"):
        where = f" over {quantities.band(finding.at['band'])}"
    return text + where


def margin(rating: Rating, answer: Answer) -> str:
    """Return the distance from the limit, such that more is better: "+8 %", "+0.2 dB", "1.3 ×"."""
    kind = "ratio" if is_in_percent(rating, answer.finding) else rule_of(rating).margin
    if rating.tolerance is not None and kind == "ratio":
        kind = "percent"
    if rating.within is not None and rating.unit != "dB":
        size = digits.trimmed(abs(answer.room), 2) if answer.room else "0"
        return quantities.joined(f"{digits.MINUS if answer.room < 0 else '+'}{size}", rating.unit)
    if kind == "db":
        decimals = 2 if rating.within is not None and abs(answer.room) < 0.995 else 1
        return f"{digits.signed(answer.room, decimals)} dB"
    if kind == "percent":
        # rounding to nine decimals undoes the error of logarithms: 37 W of 40 W is −7.5 %, whose tie goes to even
        percent = round(100 * (math.exp(answer.room) - 1), 9)
        return f"{digits.signed(percent, 1 if abs(percent) < 0.95 else 0)} %"
    return f"{digits.significant(math.exp(answer.room), 2)} ×"


def margin_words(verdict: Verdict) -> str:
    """Return a verdict's margin in words: "by 0.14 dB", "by a factor of 1.3", "1.7 × the limit"; "" without one."""
    text = verdict.margin
    if verdict.verdict not in (MEETS, SHORT) or not text:
        return ""
    if not text.endswith("×"):
        return f"by {text.lstrip('+−')}"
    ratio = digits.float_of(text.removesuffix(" ×"))
    if verdict.verdict == MEETS or not ratio:
        return f"by a factor of {text.removesuffix(' ×')}"
    return f"{digits.significant(1 / ratio, 2)} × the limit"


def room(rating: Rating, answer: Answer) -> float:
    """Return how far inside the limit, on the needle's scale without its ends: 1 at a factor of two or 6 dB."""
    if rating.within is not None:
        # distance inside as a share of the tolerance: none used is off the scale, twice the tolerance is its left end
        reach = _reach(rating, answer.finding)
        ratio = reach / max(reach - answer.room, 1e-9)
        return math.log2(ratio) if ratio > 0 else -2.0
    return answer.room / (6.0 if rule_of(rating).margin == "db" else math.log(2))


def position(rating: Rating, answer: Answer, word: str) -> float:
    """Return where the needle points: −1 … 1, or just past that if it is off the scale."""
    if word == CLOSE:
        return 0.0
    sign = 1.0 if word == MEETS else -1.0
    return sign * min(PAST_SCALE, max(_CLEAR, sign * room(rating, answer)))


def no_room(rating: Rating, finding: Finding) -> bool:
    """Return whether this side of a tolerance allows nothing at all."""
    side = quantities.quantity_of(finding).side
    return rating.within is not None and side != 0 and rating.within[side > 0] == 0


def _reach(rating: Rating, finding: Finding) -> float:
    """Return what the tolerance allows on the side that a figure leans to, dB; if that is nothing, all of it."""
    assert rating.within is not None
    low, high = rating.within
    upper = (quantities.quantity_of(finding).side or finding.value) >= 0
    return (high if upper else -low) or high - low


def one_side(finding: Finding) -> str:
    """Return that only one channel or direction was measured, and which."""
    channel = finding.channel.replace(">", " → ")
    return f"only {channel} measured" if channel else "only one channel measured"


def _reasons(rating: Rating, answer: Answer, *, alone: bool) -> list[tuple[str, str]]:
    """Return why an answer isn't comparable, each reason in full and in six words at most.

    The obstacle comes first: an easier condition if the rating was met, a harder one if it was missed.
    """
    in_the_way = (EASIER, APART) if answer.side == INSIDE else (HARDER, APART)
    differing = sorted((s for s in answer.compared if s.relation != SAME), key=lambda s: s.relation not in in_the_way)
    reasons = [(s.why, s.brief) for s in differing if s.why]
    if answer.finding.unread:
        reasons.append((answer.finding.unread, "part of its band not read"))
    if alone:
        reasons.append((f"rated for both channels, {one_side(answer.finding)}", one_side(answer.finding)))
    if answer.finding.bound:
        because = why_bound(answer.finding)
        reasons.append((f"the figure is a bound, {because}", because))
    if rating.rule.lower() == "music" and answer.side == OUTSIDE:
        reasons.append(("continuous power cannot deny a music rating", "measured continuous"))
    if answer.finding.quantity == "power_reached" and answer.side == OUTSIDE:
        reasons.append(("the sweep stops before the limit is reached", "the sweep stops early"))
    if rating.typical and answer.side == OUTSIDE:
        reasons.append(("printed as typical, which promises nothing", "a typical value promises nothing"))
    return reasons


def brief(rating: Rating, answer: Answer, *, alone: bool = False) -> str:
    """Return which condition differs, in at most six words for a card."""
    return next((short for _, short in _reasons(rating, answer, alone=alone) if short), "")


def why(rating: Rating, answer: Answer, *, alone: bool = False) -> str:
    """Return which conditions differ, and what the measurement does show. `alone`: only one channel answers."""
    shows = _shows(rating, answer)
    reasons = [reason for reason, _ in _reasons(rating, answer, alone=alone)]
    return "; ".join([*reasons, *([shows] if shows else [])])


def _shows(rating: Rating, answer: Answer) -> str:
    f = answer.finding
    swept = f.at.get("band") if is_swept(f) else None
    eased = [s for s in answer.compared if s.relation == EASIER]
    if answer.side == INSIDE and swept and rating.band_hz and eased:
        return f"holds over the part measured, {quantities.band(swept)}"
    if rating.quantity == "power" and f.quantity == "power_at_limit" and f.at.get("frequency"):
        return f"at {quantities.hertz(f.at['frequency'])} it gives {quantities.show(f)}"
    if answer.side == INSIDE and eased:
        return "holds under what was measured"
    if answer.side == OUTSIDE and any(s.relation == HARDER for s in answer.compared):
        return "does not hold there, which the rating does not promise"
    return ""
