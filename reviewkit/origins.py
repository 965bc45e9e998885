"""What a measurement's figures and cards hang on, so that they need not be made again while that is the same."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from reviewkit.card_groups import groups
from reviewkit.inputs import Inputs
from reviewkit.mains import mains_hz
from reviewkit.measure import KINDS
from reviewkit.model import Measurement, Session
from reviewkit.plain_data import fingerprint
from reviewkit.remembered import Holding


def cards_given(made_from: Iterable[str], names: Sequence[str]) -> tuple[Any, ...]:
    """What the cards of one group hang on: what was measured, and what the other cards are called."""
    return tuple(made_from), tuple(names)


def made_from(session: Session, inputs: Inputs) -> dict[str, str]:
    """By measurement, what its figures hang on: the same for the same files, conditions and bench."""

    def of(m: Measurement) -> tuple[Any, ...]:
        return m, inputs.digest(m.file) if m.file else ""

    by_id = {m.id: m for m in session.measurements}
    found = {}
    for m in session.measurements:
        other = by_id.get(m.against)
        floor = [of(each) for each in session.measurements if each.stage == "bench" and each.kind == m.kind]
        hangs_on = (of(m), other and of(other), floor, session.bench, session.ratings, mains_hz(session))
        found[m.id] = fingerprint(hangs_on)
    return found


def spared(session: Session, origins: Mapping[str, str], kept: Holding) -> Collection[str]:
    """The measurements whose file need not be read: their figures are held, and every card that shows them."""
    shared = groups(session.measurements, list(KINDS))
    held = {m.id for m in session.measurements if kept.holds(("figures", m.id), (origins[m.id],))}
    for name, group in shared.items():
        if not kept.holds(("cards", name), cards_given((origins[m.id] for m in group), list(shared))):
            held -= {m.id for m in group}
    return held
