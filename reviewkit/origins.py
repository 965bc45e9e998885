"""What a measurement's figures and cards hang on, so that they need not be made again while that is the same."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from reviewkit.inputs import Inputs
from reviewkit.mains import mains_hz
from reviewkit.measure import KINDS
from reviewkit.model import Measurement, Session
from reviewkit.plain_data import fingerprint
from reviewkit.remembered import Holding

# kinds whose cards are drawn from the file
READ_FOR_CARDS = frozenset(KINDS) - {"tone", "square", "noise", "multitone", "intermodulation"}


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
    """The measurements whose file need not be read: their figures and all that their cards draw are held."""
    drawn = [m for m in session.measurements if m.kind not in READ_FOR_CARDS]
    return {m.id for m in drawn if kept.holds(("figures", m.id), (origins[m.id],))}
