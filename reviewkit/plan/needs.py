"""Needs: what each rating still lacks to be answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.measure.capture_requests import find_blocker
from reviewkit.model.capture_request import Basis
from reviewkit.model.finding import Finding, Run
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Rating
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.compared_condition import APART, SAME, ComparedCondition
from reviewkit.verdict.comparison import Mains, compare
from reviewkit.verdict.limits import margin
from reviewkit.verdict.rated_inputs import inputs_of, of_rated_input
from reviewkit.verdict.verdict import judging
from reviewkit.verdict.verdict_words import CLOSE, INCOMPARABLE, MEETS, NO_VERDICT, ROUNDS, SHORT, UNMEASURED

ANSWERED, SETTLED, CLOSER, AGAIN, OPEN = "answered", "settled", "closer", "again", "open"
_STATES = {MEETS: ANSWERED, SHORT: ANSWERED, CLOSE: CLOSER, INCOMPARABLE: AGAIN, UNMEASURED: OPEN, NO_VERDICT: SETTLED}


@dataclass(frozen=True)
class Need:
    """A rating and what would give it a verdict.

    Attributes
    ----------
    state
        "answered"; "settled": no measurement will say more; "closer": within its uncertainty; "again": measured under
        other conditions; "open": not measured.
    measurements
        The measurements that speak of it.
    differs
        What of them isn't as rated.
    reasons
        Other obstacles: "one side", "bound", "stops early".
    blocked
        Why no capture can settle it as the rating is written, or "music", which can be confirmed only.
    distance
        Distance of a close figure from the limit, in the figure's unit; the uncertainty must stay below it.
    before
        Measurements that would speak of it, but were made before the repair.
    """

    verdict: Verdict
    state: str
    measurements: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    blocked: str = ""
    distance: float | None = None
    before: tuple[str, ...] = ()

    @property
    def deciding(self) -> Finding | None:
        """Return the finding that the verdict rests on."""
        return self.verdict.findings[-1] if self.verdict.findings else None


def find_needs(verdicts: Sequence[Verdict], runs: Sequence[Run], mains: Mains, basis: Basis) -> tuple[Need, ...]:
    """Return each rating's need, in the ratings' order.

    Parameters
    ----------
    verdicts : sequence of Verdict
        One for each rating.
    runs : sequence of Run
        The measurements.
    mains : Mains
        The mains wanted and the mains on the bench.
    basis : Basis
        Supplies what the ratings leave open.

    Returns
    -------
    tuple of Need
        The needs.
    """
    findings = judging(runs)
    return tuple(_need(verdict, findings, runs, mains, basis) for verdict in verdicts)


def _need(verdict: Verdict, findings: Sequence[Finding], runs: Sequence[Run], mains: Mains, basis: Basis) -> Need:
    rating = verdict.rating
    # no uncertainty is small enough for what rounds to the limit
    state = SETTLED if ROUNDS in verdict.remark else _STATES[verdict.verdict]
    why_blocked = find_blocker(rating, basis) if state != ANSWERED else ""
    if state == OPEN:
        names = rule_of(rating).findings
        before = [f for run in runs for f in run.findings if f.stage == "before" and f.quantity in names]
        before = of_rated_input(rating, before, inputs_of(basis.bench, basis.gear))
        return Need(verdict, state, blocked=why_blocked, before=tuple(dict.fromkeys(f.measurement for f in before)))
    need = Need(verdict, state, verdict.measurements, blocked=why_blocked)
    deciding = need.deciding
    assert deciding is not None
    if state == CLOSER:
        away = abs(margin(rating, deciding, deciding.value).amount)
        return Need(verdict, state, verdict.measurements, blocked=why_blocked, distance=away)
    if state == AGAIN:
        differing = differing_conditions(rating, deciding, mains, basis.ratings)
        differs = tuple(condition.why for _, condition in differing if condition.why)
        reasons = tuple(_reasons(rating, deciding, findings))
        # continuous power under the rated conditions can say no more
        state = SETTLED if why_blocked == "music" and not differs and not reasons else AGAIN
        return Need(verdict, state, verdict.measurements, differs, reasons, why_blocked)
    return need


def differing_conditions(
    rating: Rating, finding: Finding, mains: Mains, ratings: Sequence[Rating] = ()
) -> list[tuple[str, ComparedCondition]]:
    """Return the conditions of a rating's rule under which a finding differs, by name.

    What can't be compared at all comes first.
    """
    compared = zip(rule_of(rating).conditions, compare(rating, finding, mains, ratings), strict=True)
    differing = [(name, condition) for name, condition in compared if condition.relation != SAME]
    # conditions that can't be compared at all come first
    return sorted(differing, key=lambda pair: pair[1].relation != APART)


def _reasons(rating: Rating, deciding: Finding, findings: Sequence[Finding]) -> list[str]:
    """Return the obstacles other than the conditions."""
    reasons = []
    sides = {f.channel for f in findings if f.quantity == deciding.quantity}
    both = bool(sides & {"both", ""}) or {"L", "R"} <= sides or {"L>R", "R>L"} <= sides
    if rating.channels == "both" and not both:
        reasons.append("one side")
    if deciding.bound:
        reasons.append("bound")
    if deciding.quantity == "power_reached":
        reasons.append("stops early")
    return reasons
