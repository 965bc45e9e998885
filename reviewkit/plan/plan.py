"""The plan: from the ratings to an ordered list of captures, ticked by what the session already has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reviewkit.model.capture_request import Basis, CaptureRequest
from reviewkit.model.finding import Finding, Run
from reviewkit.model.mains import mains_of
from reviewkit.model.ratings import rule_of
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Session
from reviewkit.model.verdict import Verdict
from reviewkit.plan.gates import Check, gate_checks, incoming_checks, return_checks
from reviewkit.plan.levels import (
    CaptureLevel,
    Load,
    Preconditioning,
    dummy_loads,
    known_gains,
    plan_preconditioning,
    work_out_level,
)
from reviewkit.plan.needs import AGAIN, ANSWERED, CLOSER, OPEN, SETTLED, Need, differing_conditions, find_needs
from reviewkit.plan.order import Capture, plan_captures
from reviewkit.verdict.compared_condition import HARDER, SAME
from reviewkit.verdict.comparison import Mains
from reviewkit.verdict.verdict import judging


@dataclass(frozen=True)
class PlanStep:
    """One capture with its level.

    Attributes
    ----------
    state
        Answered, closer, again or open, as in `Need`: the least settled of the ratings it serves.
    measurements
        The existing measurements that cover it.
    """

    number: int
    capture: Capture
    level: CaptureLevel
    state: str
    measurements: tuple[str, ...] = ()

    @property
    def done(self) -> bool:
        """Tell whether there is nothing left to capture."""
        return self.state == ANSWERED


@dataclass(frozen=True)
class Plan:
    """A plan as data.

    Attributes
    ----------
    columns
        What a file of each kind contains, by kind.
    """

    session: Session
    as_it_came: tuple[Check, ...]
    gate: tuple[Check, ...]
    going_back: tuple[Check, ...]
    loads: tuple[Load, ...]
    mains: Mains
    preconditioning: Preconditioning | None
    steps: tuple[PlanStep, ...]
    needs: tuple[Need, ...]
    columns: Mapping[str, str]
    repaired: bool

    @property
    def lacking(self) -> tuple[Need, ...]:
        """Return the ratings to which another measurement could give a verdict."""
        return tuple(need for need in self.needs if need.state not in (ANSWERED, SETTLED))


def make_plan(
    session: Session,
    runs: Sequence[Run],
    verdicts: Sequence[Verdict],
    repair: Sequence[RepairRow],
    columns: Mapping[str, str],
    *,
    repaired: bool,
) -> Plan:
    """Make the plan of a session.

    Parameters
    ----------
    session : Session
        The session.
    runs : sequence of Run
        Its measurements.
    verdicts : sequence of Verdict
        One for each rating.
    repair : sequence of RepairRow
        The rows of repair.csv.
    columns : mapping of str to str
        What a file of each kind contains, in the kinds' own words.
    repaired : bool
        True if something was repaired.

    Returns
    -------
    Plan
        The plan.
    """
    gear = session.unit.gear
    basis = Basis(session.bench, session.ratings, gear)
    mains = Mains(mains_of(session.unit.mains)[0], mains_of(session.bench.mains)[0])
    findings = judging(runs)
    known = known_gains(findings, basis)
    lacking = find_needs(verdicts, runs, mains, basis)
    found = plan_captures(session.ratings, basis)
    steps = tuple(
        PlanStep(number, capture, work_out_level(capture, known), *_state(capture, lacking, findings, mains))
        for number, capture in enumerate(found, start=1)
    )
    return Plan(
        session,
        incoming_checks(repair, runs, gear, repaired=repaired),
        gate_checks(repair, runs, gear),
        return_checks(repair, runs, gear),
        dummy_loads(found),
        mains,
        plan_preconditioning(basis) if any(c.hot for c in found) else None,
        steps,
        lacking,
        {kind: columns[kind] for kind in dict.fromkeys(c.kind for c in found)},
        repaired,
    )


def _state(
    capture: Capture, lacking: Sequence[Need], findings: Sequence[Finding], mains: Mains
) -> tuple[str, tuple[str, ...]]:
    """Return the state of a capture, which is that of its least settled rating, and what covers it."""
    states: list[str] = []
    held: list[str] = []
    for number, wanted in capture.uses:
        need = lacking[number]
        if wanted.decides:
            states.append(ANSWERED if need.state == SETTLED else need.state)
            held += need.measurements
        else:
            names = _supporting_measurements(need, wanted, findings, mains)
            states.append(ANSWERED if names else OPEN)
            held += names
    order = (OPEN, AGAIN, CLOSER, ANSWERED)
    return min(states, key=order.index), tuple(dict.fromkeys(held))


def _supporting_measurements(
    need: Need, wanted: CaptureRequest, findings: Sequence[Finding], mains: Mains
) -> list[str]:
    """Return the measurements that cover a capture which supports a rating without deciding it.

    Either everything is as rated except the band, which they don't cover; or everything is as requested of a figure
    from which the rated one is computed.
    """
    rating = need.verdict.rating
    if not set(wanted.quantities) & set(rule_of(rating).findings):
        same = [f for f in findings if f.quantity in wanted.quantities]
        return [f.measurement for f in same if f.at.get("input", "") == wanted.at.get("input", "")]
    names = []
    for f in findings:
        same_limit = f.quantity in (*wanted.quantities, "power_reached") and f.at.get("limit") == wanted.at.get("limit")
        if same_limit:
            others = [s.relation for name, s in differing_conditions(rating, f, mains) if name not in ("band", "mains")]
            if all(relation in (SAME, HARDER) for relation in others):
                names.append(f.measurement)
    return names
