"""Ratings against findings: one rating gives one row, judged by one-way logic.

Passing under the same or a harder condition meets the rating, failing under the same or an easier one falls short;
the other two ways are not comparable. Nearer to the limit than the uncertainty is too close to call (simple guard
band of one expanded uncertainty, ILAC-G8:09/2019).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from reviewkit import quantities, rating_words
from reviewkit.comparison import APART, EASIER, HARDER, SAME, SWEPT, Mains, Stand, compare, overall
from reviewkit.mains import mains_of
from reviewkit.model import Finding, Rating, Run, Session, Verdict
from reviewkit.ratings import RULES

MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED = (
    "meets",
    "falls short",
    "too close to call",
    "not comparable",
    "not measured",
)
# which of several answers to one rating decides; of equal words, the finding nearest to falling short
_WEIGHT = {SHORT: 0, CLOSE: 1, MEETS: 2, INCOMPARABLE: 3}
# figures that a kind gives at several named frequencies
_SPOTS = ("crosstalk", "distortion", "channel_balance", "damping_factor", "source_impedance")
_INSIDE, _ON, _OUTSIDE = 1, 0, -1
# the needle stands clear of the notch whenever the word is not "too close to call"
_CLEAR = 0.08


@dataclass(frozen=True)
class Answer:
    """What one finding says to one rating."""

    finding: Finding
    word: str
    side: int
    room: float  # how far inside the limit, as a ratio's logarithm or in dB; more is better
    stands: tuple[Stand, ...]


def judge(session: Session, runs: Sequence[Run]) -> tuple[Verdict, ...]:
    """Every rating of the session held against the findings, in the ratings' order."""
    findings = judging(runs)
    mains = Mains(mains_of(session.unit.mains)[0], mains_of(session.bench.mains)[0])
    return tuple(_judge_one(rating, findings, mains) for rating in session.ratings)


def judging(runs: Sequence[Run]) -> list[Finding]:
    """The findings that may judge: those after the repair where something was mended, never the bench's own."""
    stages = {run.conditions.measurement.stage for run in runs}
    wanted = {"after"} if stages & {"before", "after"} else {""}
    return [f for run in runs if run.conditions.measurement.stage in wanted for f in run.findings]


def _judge_one(rating: Rating, findings: Iterable[Finding], mains: Mains) -> Verdict:
    rule = RULES[rating.quantity]
    candidates = [f for f in findings if f.quantity in rule.findings and _is_candidate(rating, f)]
    if rating.total:
        candidates = _totals(candidates)
    answers = _channels_together([_answer(rating, finding, mains) for finding in candidates])
    blank = Verdict(
        rating, rating_words.label(rating), rating_words.line(rating), rating_words.limit_text(rating), "", UNMEASURED
    )
    if not answers:
        return blank
    word = min((a.word for a in answers), key=_WEIGHT.__getitem__)
    same_word = [a for a in answers if a.word == word]
    # a power is told in watts where a sweep gives it, whichever file decided
    told = [
        a
        for a in answers
        if rating.quantity == "power"
        and a.finding.quantity != "worst_distortion"
        and not any(s.stand == APART for s in a.stands)
    ]
    if word == INCOMPARABLE:
        # the answer that differs in the fewest conditions says most
        fewest = min(sum(s.stand != SAME for s in a.stands) for a in same_word)
        same_word = [a for a in same_word if sum(s.stand != SAME for s in a.stands) == fewest]
    deciding = min(
        same_word, key=lambda a: (rule.findings.index(a.finding.quantity) if word == INCOMPARABLE else 0, a.room)
    )
    shown = min(told, key=lambda a: a.room) if told and word in (MEETS, CLOSE, INCOMPARABLE) else deciding
    used = list(dict.fromkeys([shown.finding.measurement, deciding.finding.measurement]))
    comparable = word in (MEETS, SHORT, CLOSE)
    return replace(
        blank,
        measured=_measured(rating, shown.finding, findings),
        verdict=word,
        margin=_margin(rating, shown) if comparable else "",
        why=_why(rating, deciding) if word == INCOMPARABLE else "",
        assumed=", ".join(dict.fromkeys(s.assumed for s in deciding.stands if s.assumed)),
        position=_position(rating, shown, word) if comparable else None,
        measurements=tuple(used),
        findings=_unique(shown.finding, deciding.finding),
    )


def _channels_together(answers: Sequence[Answer]) -> list[Answer]:
    """A rating is met by all channels of a measurement or not at all: where one does not compare, none meets."""
    groups: dict[tuple[object, ...], list[Answer]] = {}
    for answer in answers:
        f = answer.finding
        quantity = "power" if f.quantity in ("power_at_limit", "power_reached") else f.quantity
        # the channels' own frequency estimates and worst points differ; spots that a kind names do not
        spot = round(f.at["frequency"]) if quantity in _SPOTS and "frequency" in f.at else None
        groups.setdefault((f.measurement, quantity, f.at.get("limit"), tuple(f.at.get("band", ())), spot), []).append(
            answer
        )
    together = []
    for group in groups.values():
        doubtful = any(answer.word == INCOMPARABLE for answer in group)
        together += [replace(a, word=INCOMPARABLE) if doubtful and a.word == MEETS else a for a in group]
    return together


def _unique(*findings: Finding) -> tuple[Finding, ...]:
    kept: list[Finding] = []
    for finding in findings:
        if not any(finding is other for other in kept):
            kept.append(finding)
    return tuple(kept)


def _is_candidate(rating: Rating, finding: Finding) -> bool:
    """Of the figures that could answer, those computed for this rating's limit."""
    if rating.quantity == "power":
        limit = rating.thd_percent or rating.thd_plus_noise_percent
        if finding.quantity == "worst_distortion":
            return limit is not None
        # where the maker names no distortion, 1 % is taken (common practice, no source)
        return bool(finding.at.get("limit") == (limit or 1.0))
    if rating.quantity == "snr":
        # the S/N of a tone's capture is re that tone; a maker's is of the idle output, re a stated power
        return "reference" in finding.at
    if rating.quantity == "flatness" and rating.within is not None:
        # unequal limits are held against the two deviations, equal ones against the larger of them
        return (finding.quantity == "flatness") == (-rating.within[0] == rating.within[1])
    return True


def _totals(findings: Sequence[Finding]) -> list[Finding]:
    """A rating in total, summed over the channels: both must have been driven and measured in one file."""
    sums = []
    for left in findings:
        if (
            left.channel == "L"
            and left.quantity in ("power_at_limit", "power_reached")
            and left.at.get("channels") == "both"
        ):
            for right in findings:
                if right.channel == "R" and (right.measurement, right.quantity) == (left.measurement, left.quantity):
                    uncertainty = (left.uncertainty or 0) + (right.uncertainty or 0)  # one meter: fully correlated
                    sums.append(
                        replace(left, channel="both", value=left.value + right.value, uncertainty=uncertainty or None)
                    )
    return sums


def _answer(rating: Rating, finding: Finding, mains: Mains) -> Answer:
    stands = tuple(compare(rating, finding, mains))
    stand = overall(list(stands))
    side, room = _held_against(rating, finding)
    word = INCOMPARABLE
    if side == _INSIDE and stand in (SAME, HARDER):
        word = MEETS
    elif side == _OUTSIDE and stand in (SAME, EASIER) and _can_deny(rating, finding):
        word = SHORT
    elif side == _ON and stand == SAME:
        word = CLOSE
    return Answer(finding, word, side, room, stands)


def _can_deny(rating: Rating, finding: Finding) -> bool:
    """A sweep that stopped early cannot, nor a figure at the bench's floor, nor continuous power a music rating."""
    music = rating.quantity == "power" and rating.rule.lower() == "music"
    return finding.quantity != "power_reached" and not finding.bound and not music


def _held_against(rating: Rating, finding: Finding) -> tuple[int, float]:
    """On which side of the limit a figure lies, and how far: ln(ratio) for ratios and amounts, dB for levels."""
    value, uncertainty = finding.value, finding.uncertainty or 0.0
    if finding.quantity == "worst_distortion" and rating.quantity == "power":
        limit = rating.thd_percent or rating.thd_plus_noise_percent
        assert limit is not None
        return _side(limit - value, uncertainty), math.log(limit / max(value, 1e-12))
    if rating.within is not None:
        low, high = rating.within
        if finding.quantity == "deviation_high":
            room = high - value
        elif finding.quantity == "deviation_low":
            room = value - low
        else:
            room = min(high, -low) - abs(value)
        return _side(room, uncertainty), room
    if finding.quantity.startswith("crosstalk") and rating.quantity == "separation":
        value = -value
    if finding.quantity.startswith("channel_balance"):
        value = abs(value)
    limit = rating.at_least if rating.at_least is not None else rating.at_most
    assert limit is not None
    room = value - limit if rating.at_least is not None else limit - value
    side = _side(room, uncertainty)
    if RULES[rating.quantity].margin == "db" or limit <= 0 or value <= 0:
        return side, room
    ratio = value / limit if rating.at_least is not None else limit / value
    return side, math.log(ratio)


def _side(room: float, uncertainty: float) -> int:
    """Exactly on the limit with no uncertainty stated is inside."""
    if uncertainty == 0:
        return _INSIDE if room >= 0 else _OUTSIDE
    return _INSIDE if room >= uncertainty else _OUTSIDE if room <= -uncertainty else _ON


def _measured(rating: Rating, finding: Finding, findings: Iterable[Finding]) -> str:
    """The measured side of the row."""
    if finding.quantity == "power_reached":
        return f"at least {quantities.show(finding)}"
    if rating.quantity == "power" and finding.quantity == "worst_distortion":
        return f"{quantities.show(finding)} at {quantities.watts(float(finding.at['power']))}"
    if rating.quantity == "separation":
        return quantities.show(replace(finding, value=-finding.value))
    if rating.quantity == "thd" and finding.quantity == "thd_plus_noise":
        return f"{quantities.show(finding)} THD+N"
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
    return quantities.show(finding)


def _margin(rating: Rating, answer: Answer) -> str:
    """Distance from the limit, such that more is better: "+8 %", "+0.2 dB", "1.3 ×"."""
    kind = RULES[rating.quantity].margin
    if rating.quantity == "power" and answer.finding.quantity == "worst_distortion":
        kind = "ratio"
    if kind == "db":
        decimals = 2 if rating.within is not None and abs(answer.room) < 0.995 else 1
        return f"{quantities.signed(answer.room, decimals)} dB"
    if kind == "percent":
        percent = 100 * (math.exp(answer.room) - 1)
        return f"{quantities.signed(percent, 1 if abs(percent) < 0.95 else 0)} %"
    return f"{quantities.significant(math.exp(answer.room), 2)} ×"


def _position(rating: Rating, answer: Answer, word: str) -> float:
    """Where the needle points, −1 … 1: half-scale at a factor of two, or at 3 dB for levels."""
    if word == CLOSE:
        return 0.0
    if rating.within is not None:
        low, high = rating.within
        reach = {"deviation_high": high, "deviation_low": -low}.get(answer.finding.quantity, min(high, -low))
        # how far inside, as a share of the tolerance: nothing used is off the scale, twice the tolerance is half of it
        ratio = reach / max(reach - answer.room, 1e-9)
        place = 0.5 * math.log2(ratio) if ratio > 0 else -1.0
    elif RULES[rating.quantity].margin == "db":
        place = 0.5 * answer.room / 3
    else:
        place = 0.5 * answer.room / math.log(2)
    sign = 1.0 if word == MEETS else -1.0
    return sign * min(1.0, max(_CLEAR, sign * place))


def _why(rating: Rating, answer: Answer) -> str:
    """Which condition differs, and what the measurement does show."""
    reasons = [s.why for s in answer.stands if s.stand != SAME and s.why]
    if answer.finding.bound:
        reasons.append("the figure stands at the bench's own floor")
    if answer.finding.quantity == "power_reached" and answer.side == _OUTSIDE:
        reasons.append("the sweep stops before the limit is reached")
    shows = _shows(rating, answer)
    return "; ".join([*reasons, *([shows] if shows else [])])


def _shows(rating: Rating, answer: Answer) -> str:
    f = answer.finding
    swept = f.at.get("band") if f.quantity in SWEPT else None
    eased = [s for s in answer.stands if s.stand == EASIER]
    if answer.side == _INSIDE and swept and rating.band_hz and eased:
        return f"holds over the part measured, {quantities.band((swept[0], swept[1]))}"
    if rating.quantity == "power" and f.quantity == "power_at_limit" and f.at.get("frequency"):
        return f"at {quantities.hertz(f.at['frequency'])} it gives {quantities.show(f)}"
    if answer.side == _INSIDE and eased:
        return "holds under what was measured"
    if answer.side == _OUTSIDE and any(s.stand == HARDER for s in answer.stands):
        return "does not hold there, which the rating does not promise"
    return ""
