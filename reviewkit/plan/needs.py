"""What each rating still lacks: answered, too close to call, held under other conditions, or not there at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.finding import Finding, Run
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Rating
from reviewkit.model.verdict import Verdict
from reviewkit.plan.basis import Basis
from reviewkit.plan.power import find_blocker
from reviewkit.verdict.comparison import (
    APART,
    CLOSE,
    INCOMPARABLE,
    MEETS,
    SAME,
    SHORT,
    UNMEASURED,
    Mains,
    Stand,
    compare,
)
from reviewkit.verdict.verdict import judging

ANSWERED, SETTLED, CLOSER, AGAIN, OPEN = "answered", "settled", "closer", "again", "open"
_STATES = {MEETS: ANSWERED, SHORT: ANSWERED, CLOSE: CLOSER, INCOMPARABLE: AGAIN, UNMEASURED: OPEN}


@dataclass(frozen=True)
class Difference:
    """One condition that is not as rated: its name in the rule, and in words what is rated and what was measured."""

    condition: str
    why: str


@dataclass(frozen=True)
class Need:
    """A rating and what would give it a verdict.

    `state`: answered; settled: no measurement will say more; closer: within its uncertainty; again: held under other
    conditions; open: not measured.
    `held`: the measurements that speak of it; `differs`: what of them is not as rated; `reasons`: what else stands in
    the way: "one side", "bound", "stops early"; `find_blocker`: why no capture can settle it as the rating is written, or
    "music", which can be confirmed only; `distance_to_limit`: how far a close figure is from the limit, which the uncertainty
    must stay below, in the figure's unit; `before`: measurements that would speak of it, but were made before the
    repair.
    """

    verdict: Verdict
    state: str
    measurements: tuple[str, ...] = ()
    differs: tuple[Difference, ...] = ()
    reasons: tuple[str, ...] = ()
    blocked: str = ""
    distance: float | None = None
    before: tuple[str, ...] = ()

    @property
    def deciding(self) -> Finding | None:
        """The finding that the verdict rests on."""
        return self.verdict.findings[-1] if self.verdict.findings else None


def find_needs(verdicts: Sequence[Verdict], runs: Sequence[Run], mains: Mains, basis: Basis) -> tuple[Need, ...]:
    """Each rating's need, in the ratings' order."""
    findings = judging(runs)
    return tuple(_need(verdict, findings, runs, mains, basis) for verdict in verdicts)


def _need(verdict: Verdict, findings: Sequence[Finding], runs: Sequence[Run], mains: Mains, basis: Basis) -> Need:
    rating = verdict.rating
    state = _STATES[verdict.verdict]
    why_blocked = find_blocker(rating, basis) if state != ANSWERED else ""
    if state == OPEN:
        names = RULES[rating.quantity].findings
        before = [f.measurement for run in runs for f in run.findings if f.stage == "before" and f.quantity in names]
        return Need(verdict, state, blocked=why_blocked, before=tuple(dict.fromkeys(before)))
    need = Need(verdict, state, verdict.measurements, blocked=why_blocked)
    deciding = need.deciding
    assert deciding is not None
    if state == CLOSER:
        return Need(
            verdict, state, verdict.measurements, blocked=why_blocked, distance=distance_to_limit(rating, deciding)
        )
    if state == AGAIN:
        differs = tuple(
            Difference(name, stand.why) for name, stand in differing_conditions(rating, deciding, mains) if stand.why
        )
        reasons = tuple(_reasons(rating, deciding, findings))
        # continuous power under the rated conditions has said what it can
        state = SETTLED if why_blocked == "music" and not differs and not reasons else AGAIN
        return Need(verdict, state, verdict.measurements, differs, reasons, why_blocked)
    return need


def differing_conditions(rating: Rating, finding: Finding, mains: Mains) -> list[tuple[str, Stand]]:
    """Every condition of the rating's rule by name, with how the finding stands to it, where that is not the same."""
    compared = zip(RULES[rating.quantity].conditions, compare(rating, finding, mains), strict=True)
    differing = [(name, stand) for name, stand in compared if stand.stand != SAME]
    # what cannot be compared at all comes first
    return sorted(differing, key=lambda pair: pair[1].stand != APART)


def _reasons(rating: Rating, deciding: Finding, findings: Sequence[Finding]) -> list[str]:
    """What stands in the way besides the conditions."""
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


def distance_to_limit(rating: Rating, finding: Finding) -> float:
    """How far a figure is from the limit that it is held against, in its own unit."""
    value = finding.value
    if rating.quantity == "power" and finding.quantity == "worst_distortion":
        limit = rating.thd_percent or rating.thd_plus_noise_percent
        assert limit is not None
        return abs(limit - value)
    if rating.within is not None:
        low, high = rating.within
        upper = finding.quantity == "deviation_high" or (finding.quantity != "deviation_low" and value >= 0)
        return abs(high - value) if upper else abs(value - low)
    limit = rating.at_least if rating.at_least is not None else rating.at_most
    assert limit is not None
    if rating.quantity == "separation":
        value = -value
    if finding.quantity.startswith("channel_balance") or finding.quantity == "dc_offset":
        value = abs(value)
    return abs(value - limit)
