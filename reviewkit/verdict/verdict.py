"""Compare ratings with findings: one rating gives one row, judged by one-way logic.

Passing under the same or a harder condition meets the rating, failing under the same or an easier one falls short;
the other two ways are not comparable. Nearer to the limit than the uncertainty is too close to call.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from reviewkit.model import quantities, rating_words, unstated_conditions
from reviewkit.model.finding import Finding, Run
from reviewkit.model.level import FULL_SCALE
from reviewkit.model.mains import mains_of
from reviewkit.model.ratings import LOWEST_POWER_W, distortion_limit, rule_of
from reviewkit.model.session import Rating, Session
from reviewkit.model.verdict import Verdict
from reviewkit.verdict import limits, own_ratings, rated_inputs, verdict_words
from reviewkit.verdict.compared_condition import APART, EASIER, HARDER, SAME
from reviewkit.verdict.comparison import (
    INSIDE,
    ON,
    OUTSIDE,
    Answer,
    Mains,
    compare,
    is_in_percent,
    is_swept,
    overall,
)
from reviewkit.verdict.input_reference import (
    OUTPUT_LEVELS,
    is_relative_to,
    output_levels,
    ratios_re_input,
    ratios_re_level,
)
from reviewkit.verdict.verdict_words import CLOSE, INCOMPARABLE, JUDGED, MEETS, NO_VERDICT, SHORT, UNMEASURED

__all__ = ["CLOSE", "INCOMPARABLE", "JUDGED", "MEETS", "NO_VERDICT", "SHORT", "UNMEASURED", "judge", "judging"]

REFERENCES = ("reference", "reference_input", "reference_level")
# which of several answers to one rating decides; of equal verdicts, the finding nearest to falling short
_WEIGHT = {SHORT: 0, CLOSE: 1, MEETS: 2, NO_VERDICT: 3, INCOMPARABLE: 4}


def judge(session: Session, runs: Sequence[Run]) -> tuple[Verdict, ...]:
    """Compare every rating of the session with the findings, in the ratings' order."""
    findings = judging(runs)
    bench = _SharedConditions(
        findings,
        session.ratings,
        Mains(mains_of(session.unit.mains)[0], mains_of(session.bench.mains)[0]),
        {"L", "R"} <= {finding.channel for finding in findings},
        unstated_conditions.rated_output_w(session.ratings, session.bench.load_ohm),
        rated_inputs.inputs_of(session.bench, session.unit.gear),
        player="player" in session.unit.type,
    )
    named = rating_words.labels(session.ratings)
    return tuple(_judge_as_meant(rating, text, bench) for rating, text in zip(session.ratings, named, strict=True))


def judging(runs: Sequence[Run]) -> list[Finding]:
    """Return the findings that may judge: those after the repair if something was repaired, never the bench's own."""
    stages = {run.conditions.measurement.stage for run in runs}
    wanted = {"after"} if stages & {"before", "after"} else {""}
    return [f for run in runs if run.conditions.measurement.stage in wanted for f in run.findings]


@dataclass(frozen=True)
class _SharedConditions:
    """The conditions common to all ratings. `stereo`: both channels were measured; `rated_w`: the rated output;
    `player`: whether the unit is a player, whose ratios are relative to full scale.
    """

    findings: Sequence[Finding]
    ratings: Sequence[Rating]
    mains: Mains
    stereo: bool
    rated_w: float | None
    inputs: rated_inputs.UnitInputs
    player: bool = False


def _judge_as_meant(rating: Rating, label: str, bench: _SharedConditions) -> Verdict:
    """Judge a rating by the limit that it means, and print both."""
    meant = own_ratings.as_judged(rating, bench.findings)
    verdict = _judge_one(meant, label, bench)
    if meant is rating:
        return verdict
    least = f"at least {rating_words.limit_text(meant)}"
    return replace(
        verdict,
        rating=rating,
        rated=f"{rating_words.line(rating)}: {least}",
        limit=least,
        limit_source=f"rated {rating_words.limit_text(rating)}: lowest allowed",
        limit_figure=rating_words.limit_text(meant),
    )


def _judge_one(rating: Rating, label: str, bench: _SharedConditions) -> Verdict:
    rule, findings = rule_of(rating), bench.findings
    all_answers = [_answer(rating, finding, bench) for finding in _candidates(rating, bench)]
    answers = _channels_together(all_answers)
    blank = Verdict(rating, label, rating_words.line(rating), rating_words.limit_text(rating, label), "", UNMEASURED)
    if not answers:
        return replace(blank, remark=_why_unanswered(rating, bench))
    word = min((a.word for a in answers), key=_WEIGHT.__getitem__)
    same_word = [a for a in answers if a.word == word]
    whole = bool(rating.called) and any(not a.finding.channel for a in same_word)  # of the unit, not of a channel
    alone = bench.stereo and word == MEETS and not whole and not _both_channels(same_word)
    if alone and rating.channels == "both":
        word = INCOMPARABLE
    deciding = _deciding(rating, word, same_word)
    shown = _shown(rating, word, deciding, answers)
    only = [verdict_words.one_side(deciding.finding)] if alone and word == MEETS else []
    # a higher level than rated doesn't rule it out, but the label names the rated one
    compared = zip(rule.conditions, deciding.compared, strict=True)
    more_level = word == MEETS and any(name == "level" and s.relation == HARDER for name, s in compared)
    harder = [f"at {quantities.conditions({**deciding.finding.at, 'load': None})}"] if more_level else []
    if word == MEETS and is_swept(deciding.finding) and rating.band_hz is None and not rule.band:
        harder.append(f"over {quantities.band(deciding.finding.at['band'])}")
    used = list(dict.fromkeys([shown.finding.measurement, deciding.finding.measurement]))
    comparable = word in JUDGED
    limit, limit_source, limit_figure = verdict_words.limit(rating, shown.finding, label)
    return replace(
        blank,
        limit=limit,
        limit_source=limit_source,
        limit_figure=limit_figure,
        measured=verdict_words.measured(rating, shown.finding, findings, word),
        verdict=word,
        margin=verdict_words.margin(rating, shown) if comparable else "",
        why=verdict_words.why(rating, deciding, alone=alone) if word == INCOMPARABLE else "",
        brief=verdict_words.brief(rating, deciding, alone=alone) if word == INCOMPARABLE else "",
        remark="; ".join(_remarks(rating, word, deciding, shown, all_answers, findings)),
        assumed=", ".join(dict.fromkeys([*(s.assumed for s in deciding.compared if s.assumed), *harder, *only])),
        position=verdict_words.position(rating, shown, word) if comparable else None,
        room=verdict_words.room(rating, shown) if comparable else None,
        measurements=tuple(used),
        findings=(shown.finding,) if shown is deciding else (shown.finding, deciding.finding),
    )


def _candidates(rating: Rating, bench: _SharedConditions) -> list[Finding]:
    """Return the findings that could answer a rating, a power with what the mains leave uncertain."""
    findings = rated_inputs.of_rated_input(rating, bench.findings, bench.inputs)
    candidates = [f for f in findings if _is_candidate(rating, f)]
    if rating.quantity in OUTPUT_LEVELS:
        candidates += output_levels(rating, findings)
    if rating.called:
        candidates = own_ratings.of_nearest(rating, own_ratings.in_rated_unit(rating, candidates), bench.ratings)
    if rating.quantity in ("source_impedance", "damping_factor"):
        candidates = own_ratings.of_tap(rating, candidates)
    if rating.total:
        candidates = _totals(candidates)
    if rating.quantity == "snr" and rating.reference_v is not None:
        candidates = ratios_re_input(findings, rating.reference_v, bench.rated_w) or candidates
    if rating.quantity == "snr" and (level := rating.reference_level) is not None:
        candidates = (
            [f for f in candidates if is_relative_to(f, level)] or ratios_re_level(findings, level) or candidates
        )
    if rating.quantity == "snr" and not rating.reference and bench.player:
        known = any(is_relative_to(f, FULL_SCALE) for f in candidates)
        candidates += [] if known else ratios_re_level(findings, FULL_SCALE)
    if "input" in rule_of(rating).conditions and not rating.input:
        candidates = rated_inputs.of_usual_input(candidates, bench.inputs)
    if rating.quantity in ("snr", "noise"):
        candidates = list(unstated_conditions.as_meant(rating, candidates, bench.rated_w))
    return [_at_rated_mains(f, bench.mains) if rating.quantity == "power" else f for f in candidates]


def _why_unanswered(rating: Rating, bench: _SharedConditions) -> str:
    """Return that only another input was measured, or that a reading of the rated name is in another unit, or that one
    has nearly its name; "" if none of these.
    """
    candidates = [f for f in bench.findings if _is_candidate(rating, f)]
    if candidates and not rated_inputs.of_rated_input(rating, candidates, bench.inputs):
        return rated_inputs.only_measured(candidates)
    if not rating.called:
        return ""
    other = next((f.unit for f in bench.findings if f.quantity == rating.quantity), None)
    if other is not None:
        which = ": at which impedance?" if {other, rating.unit} == {"dBf", "V"} else ""
        return f"read in {other or 'no unit'}, rated in {rating.unit or 'none'}{which}"
    near = own_ratings.nearly(rating, bench.findings, bench.ratings)
    return f'a reading is called "{near}": give both one name if it is the same' if near else ""


def _at_rated_mains(finding: Finding, mains: Mains) -> Finding:
    """Widen a power's uncertainty by 2·ΔV/V: mains within two percent of the rated ones count as those."""
    if finding.unit != "W" or not mains.off or not mains.near:
        return finding
    return replace(finding, uncertainty=(finding.uncertainty or 0.0) + 2 * abs(mains.off) * finding.value)


def _differing(answer: Answer) -> int:
    return sum(s.relation != SAME for s in answer.compared)


def _deciding(rating: Rating, word: str, same_word: Sequence[Answer]) -> Answer:
    """Return the answer that decides the verdict: the one nearest to falling short under the most alike conditions."""
    order = rule_of(rating).findings
    if word == INCOMPARABLE:
        # the answer that differs in the fewest conditions is the most telling
        fewest = min(_differing(a) for a in same_word)
        same_word = [a for a in same_word if _differing(a) == fewest]
    return min(
        same_word,
        key=lambda a: (
            order.index(a.finding.quantity) if word == INCOMPARABLE else _differing(a),
            # relative to its own 1 kHz no curve stays below zero: "+0 dB" leaves no room, so the other side decides
            word == MEETS and verdict_words.no_room(rating, a.finding),
            a.room,
        ),
    )


def _shown(rating: Rating, word: str, deciding: Answer, answers: Sequence[Answer]) -> Answer:
    """Return the answer that the row prints: of a power that distortion over a band decides, the watts of a sweep."""
    if not is_in_percent(rating, deciding.finding) or word not in (MEETS, CLOSE):
        return deciding
    in_watts = [
        a
        for a in answers
        if not is_in_percent(rating, a.finding)
        and not any(s.relation == APART for s in a.compared)
        and (word != MEETS or a.side == INSIDE)
    ]
    return min(in_watts, key=lambda a: a.room, default=deciding)


def _remarks(
    rating: Rating,
    word: str,
    deciding: Answer,
    shown: Answer,
    answers: Sequence[Answer],
    findings: Sequence[Finding],
) -> list[str]:
    """Return what a row adds to its verdict."""
    remarks = []
    if shown is not deciding:
        remarks.append(verdict_words.figure_with_place(rating, deciding.finding, findings))
    if word == CLOSE and deciding.rounds:
        remarks.append(verdict_words.ROUNDS)
    if word == MEETS and rating.frequency_hz is None and rating.band_hz is None and not is_swept(deciding.finding):
        worse = [
            a for a in answers if is_swept(a.finding) and a.side == OUTSIDE and overall(list(a.compared)) == HARDER
        ]
        if worse:
            worst = min(worse, key=lambda a: a.room)
            remarks.append(verdict_words.figure_with_place(rating, worst.finding, findings))
    if rating.quantity == "power" and word == MEETS and distortion_limit(rating) is not None:
        remarks.append(_low_power(rating, answers))
    if rating.quantity == "power" and word == SHORT and verdict_words.is_below_rated(rating, deciding.finding):
        remarks.append(f"the rating holds from {quantities.watts(LOWEST_POWER_W)} up")
    return [remark for remark in remarks if remark]


def _low_power(rating: Rating, answers: Sequence[Answer]) -> str:
    """Return what isn't known about powers below the rated one, from 250 mW, where the rating holds too."""
    swept = [a for a in answers if a.finding.quantity == "highest_distortion"]
    comparable = [a for a in swept if all(s.relation != APART for s in a.compared[: len(_OF_THE_TEST)])]
    checked = [a for a in comparable if a.side == INSIDE]
    if not checked:
        rising = min((a for a in comparable if a.side == OUTSIDE), key=lambda a: a.room, default=None)
        if rising is not None:
            figure = verdict_words.measured(rating, rising.finding, [], MEETS)
            return f"{figure}, noise or crossover"
        return "below rated power not checked"
    lowest_w = min(a.finding.at["powers"][0] for a in checked)
    return f"below {quantities.watts(lowest_w)} not checked" if lowest_w > LOWEST_POWER_W * _MORE else ""


_OF_THE_TEST = ("load", "input", "conditions", "channels", "mains")  # the first conditions of a power's rule
_MORE = 1.05  # the next step of a sweep


def _channels_together(answers: Sequence[Answer]) -> list[Answer]:
    """Drop a passing answer of one channel while the other is in doubt: a rating is met only if every channel meets it.

    The row then shows the channel that is in doubt.
    """
    known = {_part(a) for a in answers if a.word != INCOMPARABLE}
    doubtful = {_part(a) for a in answers} - known
    # a file that names no channels counts by itself, not as the left or right of another
    named = {bool(channel) for channel, _ in doubtful}
    return [a for a in answers if a.word not in (MEETS, CLOSE) or bool(a.finding.channel) not in named]


def _both_channels(answers: Sequence[Answer]) -> bool:
    """Return whether both channels, or both directions, are among these answers."""
    seen = {answer.finding.channel for answer in answers}
    return "both" in seen or {"L", "R"} <= seen or {"L>R", "R>L"} <= seen


def _part(answer: Answer) -> tuple[str, int]:
    """Return what must hold each for itself: every channel, and of unequal limits every side."""
    f = answer.finding
    return f.channel, quantities.quantity_of(f).side


def _is_candidate(rating: Rating, finding: Finding) -> bool:
    """Return whether a figure is of a rated quantity, and was computed for this rating's limit."""
    if finding.quantity not in rule_of(rating).findings:
        return False
    if rating.quantity == "power":
        if is_in_percent(rating, finding):
            of_it = finding.at.get("rated", rating.at_least) == rating.at_least
            return distortion_limit(rating) is not None and of_it
        return bool(finding.at.get("limit") == unstated_conditions.distortion_percent(rating))
    if rating.quantity == "snr":
        # the S/N of a tone's capture is relative to that tone; a maker's is of the idle output, relative to a power
        return finding.kind == "reading" or any(key in finding.at for key in REFERENCES)
    if rating.quantity in ("flatness", "riaa_deviation") and rating.within is not None:
        # unequal limits are compared with the two deviations, equal ones with the larger of them
        return (quantities.quantity_of(finding).side != 0) == rating.sides_differ
    return True


def _totals(findings: Sequence[Finding]) -> list[Finding]:
    """Sum powers over the channels of one file. If they weren't driven together, the test was easier."""
    sums = []
    for left in findings:
        if left.channel == "L" and left.unit == "W":
            for right in findings:
                if right.channel == "R" and (right.measurement, right.quantity) == (left.measurement, left.quantity):
                    uncertainty = (left.uncertainty or 0) + (right.uncertainty or 0)  # one meter: fully correlated
                    sums.append(
                        replace(left, channel="both", value=left.value + right.value, uncertainty=uncertainty or None)
                    )
    return sums


def _answer(rating: Rating, finding: Finding, bench: _SharedConditions) -> Answer:
    compared = tuple(compare(rating, finding, bench.mains, bench.ratings))
    relation = overall(list(compared))
    if rating.nominal is not None and rating.tolerance is None:
        # the row shows the worse channel; if neither direction is worse, the one further off
        off, better = limits.off_nominal(rating, finding), quantities.quantity_of(finding).better
        worse = better * off if better else -abs(off)
        return Answer(finding, NO_VERDICT if relation == SAME else INCOMPARABLE, INSIDE, worse, compared)
    at = limits.position(rating, finding)
    word = INCOMPARABLE
    if at.side == INSIDE and relation in (SAME, HARDER):
        word = MEETS
    elif at.side == OUTSIDE and relation in (SAME, EASIER) and _can_deny(rating, finding):
        word = SHORT
    elif at.side == ON and relation == SAME:
        word = CLOSE
    if finding.unread and word in (MEETS, CLOSE):
        word = INCOMPARABLE
    return Answer(finding, word, at.side, at.size, compared, at.rounds)


def _can_deny(rating: Rating, finding: Finding) -> bool:
    """Return whether a figure can deny: not a sweep that stopped early, nor a bound, nor what promises less."""
    music = rating.quantity == "power" and rating.rule.lower() == "music"
    return finding.quantity != "power_reached" and not finding.bound and not music and not rating.typical
