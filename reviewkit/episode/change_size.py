"""The size of a change: which of several a card shows, and which of several cards the repair changed most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.measure.likeness import is_like
from reviewkit.model import quantities
from reviewkit.model.card import Card
from reviewkit.model.change import Change
from reviewkit.model.finding import Finding
from reviewkit.model.ratings import DECIBELS

# from which a change is what the card is about, not its verdict
_TIMES, _DECIBELS = 2.0, 3.0


def size_of(change: Change) -> float:
    """Return how large a change is: 1 is a factor of two, or 3 dB; 0 if it is within its uncertainty."""
    before, after = change.before, change.after
    unsure = math.hypot(before.uncertainty or 0.0, after.uncertainty or 0.0)
    if abs(before.value - after.value) <= unsure:
        return 0.0
    if after.unit in DECIBELS:
        return abs(before.value - after.value) / _DECIBELS
    if before.value <= 0 or after.value <= 0:
        return 0.0
    return abs(math.log(after.value / before.value)) / math.log(_TIMES)


def largest_change(changes: Sequence[Change], compared: Sequence[str], judged: Sequence[Finding] = ()) -> Change | None:
    """Return the largest change of the first quantity that was compared, of the channel that was worse as found.

    None if it isn't what a card is about. `judged`: the figures of the verdict, which are preferred: two kinds of
    flutter would look like two changes.
    """
    for quantity in compared:
        own = [change for change in changes if change.after.quantity == quantity]
        if own:
            most = max(own, key=lambda change: (change.after in judged, size_of(change)))
            any_channel = replace(most.after, channel="")
            alike = [c for c in own if size_of(c) >= 1 and is_like(replace(c.after, channel=""), any_channel)]
            worst = quantities.worse([change.before for change in alike])
            return next((change for change in alike if change.before is worst), None)
    return None


def changed_most(cards: Sequence[Card]) -> Card | None:
    """Return the pair that the repair changed most; one that got worse only if nothing improved."""
    pairs = [card for card in cards if card.found is not None and card.finding is not None]
    changes: dict[str, Change] = {card.id: card.finding.facts["change"] for card in pairs if card.finding is not None}
    return max(pairs, key=lambda card: (changes[card.id].improved, size_of(changes[card.id])), default=None)
