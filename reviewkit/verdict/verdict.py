"""Ratings against findings: one rating gives one row, judged by one-way logic.

Passing under the same or a harder condition meets the rating, failing under the same or an easier one falls short;
the other two ways are not comparable. Nearer to the limit than the uncertainty is too close to call (simple guard
band of one expanded uncertainty, ILAC-G8:09/2019).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.model import quantities, rating_words
from reviewkit.model.finding import Finding, Run
from reviewkit.model.mains import mains_of
from reviewkit.model.ratings import RULES, rated_output_w
from reviewkit.model.session import Rating, Session
from reviewkit.model.verdict import Verdict
from reviewkit.verdict import verdict_words
from reviewkit.verdict.comparison import (
    APART,
    CLOSE,
    EASIER,
    HARDER,
    INCOMPARABLE,
    INSIDE,
    MEETS,
    ON,
    OUTSIDE,
    SAME,
    SHORT,
    UNMEASURED,
    Answer,
    Mains,
    compare,
    overall,
)
from reviewkit.verdict.input_reference import ratios_re_input

__all__ = ["CLOSE", "INCOMPARABLE", "MEETS", "SHORT", "UNMEASURED", "judge", "judging"]

# which of several answers to one rating decides; of equal words, the finding nearest to falling short
_WEIGHT = {SHORT: 0, CLOSE: 1, MEETS: 2, INCOMPARABLE: 3}


def judge(session: Session, runs: Sequence[Run]) -> tuple[Verdict, ...]:
    """Every rating of the session held against the findings, in the ratings' order."""
    findings = judging(runs)
    stereo = {"L", "R"} <= {finding.channel for finding in findings}
    mains = Mains(mains_of(session.unit.mains)[0], mains_of(session.bench.mains)[0])
    watts = rated_output_w(session.ratings, session.bench.load_ohm)
    return tuple(_judge_one(rating, findings, mains, stereo=stereo, rated_w=watts) for rating in session.ratings)


def judging(runs: Sequence[Run]) -> list[Finding]:
    """The findings that may judge: those after the repair where something was mended, never the bench's own."""
    stages = {run.conditions.measurement.stage for run in runs}
    wanted = {"after"} if stages & {"before", "after"} else {""}
    return [f for run in runs if run.conditions.measurement.stage in wanted for f in run.findings]


def _judge_one(
    rating: Rating, findings: Sequence[Finding], mains: Mains, *, stereo: bool, rated_w: float | None
) -> Verdict:
    rule = RULES[rating.quantity]
    candidates = [f for f in findings if f.quantity in rule.findings and _is_candidate(rating, f)]
    if rating.total:
        candidates = _totals(candidates)
    if rating.quantity == "snr" and rating.reference_v is not None:
        candidates = ratios_re_input(findings, rating.reference_v, rated_w) or candidates
    if rating.quantity in ("snr", "noise"):
        candidates = list(_as_usual(rating, candidates, rated_w))
    answers = _channels_together([_answer(rating, finding, mains) for finding in candidates])
    blank = Verdict(
        rating, rating_words.label(rating), rating_words.line(rating), rating_words.limit_text(rating), "", UNMEASURED
    )
    if not answers:
        return blank
    word = min((a.word for a in answers), key=_WEIGHT.__getitem__)
    same_word = [a for a in answers if a.word == word]
    alone = stereo and word == MEETS and not _both_channels(same_word)
    if alone and rating.channels == "both":
        word = INCOMPARABLE
    # where distortion over a band decides about a power, the row still tells watts, from a sweep
    told = [
        a
        for a in answers
        if rating.quantity == "power"
        and a.finding.quantity != "worst_distortion"
        and not any(s.stand == APART for s in a.stands)
        and (word != MEETS or a.side == INSIDE)
    ]
    if word == INCOMPARABLE:
        # the answer that differs in the fewest conditions says most
        fewest = min(sum(s.stand != SAME for s in a.stands) for a in same_word)
        same_word = [a for a in same_word if sum(s.stand != SAME for s in a.stands) == fewest]
    deciding = min(
        same_word,
        key=lambda a: (
            rule.findings.index(a.finding.quantity) if word == INCOMPARABLE else sum(s.stand != SAME for s in a.stands),
            # re its own 1 kHz no curve stays below zero: of "+0 dB" nothing can be left, so the other side tells
            word == MEETS and verdict_words.no_room(rating, a.finding),
            a.room,
        ),
    )
    by_band = deciding.finding.quantity == "worst_distortion" and word in (MEETS, CLOSE)
    shown = min(told, key=lambda a: a.room) if told and by_band else deciding
    only = [verdict_words.one_side(deciding.finding)] if alone and word == MEETS else []
    # more power than rated is no reason against, but the label names the rated one
    compared = zip(rule.conditions, deciding.stands, strict=True)
    more_power = word == MEETS and any(name == "power" and s.stand == HARDER for name, s in compared)
    level = [f"at {quantities.watts(deciding.finding.at['power'])}"] if more_power else []
    used = list(dict.fromkeys([shown.finding.measurement, deciding.finding.measurement]))
    comparable = word in (MEETS, SHORT, CLOSE)
    return replace(
        blank,
        limit=verdict_words.limit(rating, shown.finding),
        measured=verdict_words.measured(rating, shown.finding, findings, word),
        verdict=word,
        margin=verdict_words.margin(rating, shown) if comparable else "",
        why=verdict_words.why(rating, deciding, alone=alone) if word == INCOMPARABLE else "",
        assumed=", ".join(dict.fromkeys([*(s.assumed for s in deciding.stands if s.assumed), *level, *only])),
        position=verdict_words.position(rating, shown, word) if comparable else None,
        room=verdict_words.room(rating, shown) if comparable else None,
        measurements=tuple(used),
        findings=_unique(shown.finding, deciding.finding),
    )


def _channels_together(answers: Sequence[Answer]) -> list[Answer]:
    """A rating is met by every channel or not at all: while one is in doubt everywhere, none meets or nearly does. The
    answers that would be the better channel's alone are left out, so that the row tells of the one in doubt.
    """
    known = {_part(a) for a in answers if a.word != INCOMPARABLE}
    doubtful = {_part(a) for a in answers} - known
    # a file that names no channels speaks for itself, not for the left or right of another
    named = {bool(channel) for channel, _ in doubtful}
    return [a for a in answers if a.word not in (MEETS, CLOSE) or bool(a.finding.channel) not in named]


def _both_channels(answers: Sequence[Answer]) -> bool:
    """Whether both channels, or both directions, are among these answers."""
    seen = {answer.finding.channel for answer in answers}
    return "both" in seen or {"L", "R"} <= seen or {"L>R", "R>L"} <= seen


def _part(answer: Answer) -> tuple[str, str]:
    """What must hold each for itself: every channel, and of unequal limits every side."""
    f = answer.finding
    return f.channel, f.quantity if f.quantity in ("deviation_high", "deviation_low") else ""


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
        return "reference" in finding.at or "reference_input" in finding.at
    if rating.quantity == "flatness" and rating.within is not None:
        # unequal limits are held against the two deviations, equal ones against the larger of them
        return (finding.quantity == "flatness") == (-rating.within[0] == rating.within[1])
    return True


def _as_usual(rating: Rating, findings: Sequence[Finding], rated_w: float | None) -> Sequence[Finding]:
    """Of one noise told in several ways, what a maker means who names neither weighting nor reference: unweighted, and
    re the rated output (IEC 60268-3, from memory). Where the bench has nothing of the kind, what it has.
    """
    if not rating.weighting:
        findings = [f for f in findings if "weighting" not in f.at] or findings
    if not rating.reference and rated_w:
        findings = [f for f in findings if f.at.get("reference") == rated_w] or findings
    return findings


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
    if side == INSIDE and stand in (SAME, HARDER):
        word = MEETS
    elif side == OUTSIDE and stand in (SAME, EASIER) and _can_deny(rating, finding):
        word = SHORT
    elif side == ON and stand == SAME:
        word = CLOSE
    if finding.unread and word in (MEETS, CLOSE):
        word = INCOMPARABLE
    return Answer(finding, word, side, room, stands)


def _can_deny(rating: Rating, finding: Finding) -> bool:
    """A sweep that stopped early cannot, nor a figure at the bench's floor, nor continuous power a music rating."""
    music = rating.quantity == "power" and rating.rule.lower() == "music"
    return finding.quantity != "power_reached" and not finding.bound and not music


def _held_against(rating: Rating, finding: Finding) -> tuple[int, float]:
    """On which side of the limit a figure lies, and how far: ln(ratio) for ratios and amounts, dB for levels.

    No verdict contradicts the figure that is printed beside it. Where rounding moves that across the limit or onto it,
    so near is nothing that the row could show: exactly on it with no uncertainty stated is inside, as ever; else the
    last digit cannot tell.
    """
    room, far = _room(rating, finding, quantities.told(finding))
    as_shown, far_as_shown = _room(rating, finding, quantities.as_shown(finding))
    side = _side(room, finding.uncertainty or 0.0)
    if abs(as_shown) <= 1e-9 * abs(finding.value):  # as 150 mV is 0.15 V but for the last bit
        if not finding.uncertainty:
            side = INSIDE
        elif side == OUTSIDE:
            side = ON
    elif room * as_shown < 0:
        side = ON
    return side, far if abs(as_shown - room) < abs(room) else far_as_shown


def _room(rating: Rating, finding: Finding, value: float) -> tuple[float, float]:
    """How far inside the limit this value of the finding would be: in the limit's unit, and as ln(ratio) or dB."""
    if finding.quantity == "worst_distortion" and rating.quantity == "power":
        limit = rating.thd_percent or rating.thd_plus_noise_percent
        assert limit is not None
        return limit - value, math.log(limit / max(value, 1e-12))
    if rating.within is not None:
        low, high = rating.within
        if finding.quantity == "deviation_high":
            room = high - value
        elif finding.quantity == "deviation_low":
            room = value - low
        else:
            # one figure for both sides, with its sign: held against the side that it leans to
            room = high - value if value >= 0 else value - low
        return room, room
    if finding.quantity.startswith("crosstalk") and rating.quantity == "separation":
        value = -value
    if finding.quantity.startswith("channel_balance") or finding.quantity == "dc_offset":
        value = abs(value)
    limit = rating.at_least if rating.at_least is not None else rating.at_most
    assert limit is not None
    room = value - limit if rating.at_least is not None else limit - value
    if RULES[rating.quantity].margin == "db" or limit <= 0 or value <= 0:
        return room, room
    ratio = value / limit if rating.at_least is not None else limit / value
    return room, math.log(ratio)


def _side(room: float, uncertainty: float) -> int:
    """Exactly on the limit with no uncertainty stated is inside."""
    if uncertainty == 0:
        return INSIDE if room >= 0 else OUTSIDE
    return INSIDE if room >= uncertainty else OUTSIDE if room <= -uncertainty else ON
