"""Which of a pair of loudspeakers a verdict holds for: both, or one."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reviewkit.measure import figures
from reviewkit.model import quantities
from reviewkit.model.card import Limit
from reviewkit.model.finding import Finding, Run
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.verdict import MEETS, SHORT


def find_loudspeakers(runs: Sequence[Run], verdict: Verdict, limits: Sequence[Limit]) -> str:
    """Return whose figures a verdict holds for, "Both", "Left" or "Right"; "" if that isn't known, or of other gear.

    Parameters
    ----------
    runs : sequence of Run
        The runs of the verdict's card.
    verdict : Verdict
        On the worse of both.
    limits : sequence of Limit
        Of the same rating, in the figure's unit.
    """
    gear, deciding = runs[0].conditions.gear, verdict.findings[0]
    of_run: Sequence[Finding] = next((run.findings for run in runs if deciding in run.findings), ())
    alike = [f for f in of_run if _what(f) == _what(deciding)]
    if gear is None or gear.types != ("loudspeaker",) or {f.channel for f in alike} != {"L", "R"}:
        return ""
    if verdict.verdict == MEETS:
        return "Both"
    if verdict.verdict != SHORT or not limits or quantities.quantity_of(deciding).side:
        return ""
    rooms = [_room(f, limits[0]) for f in alike]
    if any(abs(room) <= (f.uncertainty or 0.0) for room, f in zip(rooms, alike, strict=True)):
        return ""
    return "Both" if max(rooms) < 0 else figures.CHANNELS[deciding.channel].capitalize()


def _what(finding: Finding) -> tuple[object, ...]:
    return finding.quantity, finding.unit, finding.at.get("band")


def _room(finding: Finding, limit: Limit) -> float:
    """Return how far inside a limit a figure is; negative outside."""
    low = finding.value - limit.low if limit.low is not None and limit.low > 0 else math.inf
    return min(low, limit.high - abs(finding.value) if limit.high is not None else math.inf)
