"""The grouping of measurements into cards."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model.session import Measurement


def groups(measurements: Sequence[Measurement], kinds: Sequence[str]) -> dict[str, list[Measurement]]:
    """Return measurements by the card they are drawn on, cards in the order of `kinds`, then of the session.

    The bench looped back on itself is drawn on every card of its kind, and on one of its own only if there is no other.
    """
    in_order = sorted(measurements, key=lambda m: kinds.index(m.kind))
    bench = [m for m in in_order if m.stage == "bench"]
    of_the_unit = {m.kind for m in in_order if m.stage != "bench"}
    by_card: dict[str, list[Measurement]] = {}
    for m in in_order:
        if m.stage != "bench" or m.kind not in of_the_unit:
            by_card.setdefault(m.card, []).append(m)
    for group in by_card.values():
        kind = group[0].kind
        if kind in of_the_unit:
            group += [m for m in bench if m.kind == kind]
    return by_card
