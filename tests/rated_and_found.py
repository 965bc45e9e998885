"""Ratings and findings for the tests of judging: an invented unit, one figure at a time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.quantities import QUANTITIES
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Bench, Measurement, Rating, Session, Unit
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.verdict import judge


def rated(quantity: str, **keys: Any) -> Rating:
    """A rating in its rule's unit."""
    return Rating(quantity, RULES[quantity].unit, **keys)


def found(
    quantity: str,
    value: float,
    channel: str = "L",
    *,
    measurement: str = "m",
    stage: str = "",
    uncertainty: float | None = None,
    bound: str = "",
    **at: Any,
) -> Finding:
    """A finding under the conditions given."""
    unit = QUANTITIES[quantity].unit if quantity in QUANTITIES else ""
    return Finding(
        quantity,
        channel,
        value,
        unit,
        at,
        measurement,
        "tone",
        stage,
        f"measurements/{measurement}.csv",
        uncertainty=uncertainty,
        bound=bound,
    )


def runs_of(*findings: Finding, **keys: Any) -> list[Run]:
    """One run a measurement, in the findings' order."""
    by_measurement: dict[str, list[Finding]] = {}
    for f in findings:
        by_measurement.setdefault(f.measurement, []).append(f)
    return [
        Run(
            Conditions(Measurement(name, group[0].kind, file=group[0].source, stage=group[0].stage, **keys), Bench()),
            tuple(group),
        )
        for name, group in by_measurement.items()
    ]


def session(*ratings: Rating, wants: str = "", had: str = "", **keys: Any) -> Session:
    """A session of the invented unit: `wants` and `had` are the mains of the unit and of the bench."""
    return Session(Path("session"), Unit("Norrvale", "Forty", mains=wants), Bench(mains=had, **keys), ratings=ratings)


def verdict_of(rating: Rating, *findings: Finding, wants: str = "", had: str = "") -> Verdict:
    """What these findings say to one rating."""
    (verdict,) = judge(session(rating, wants=wants, had=had), runs_of(*findings))
    return verdict
