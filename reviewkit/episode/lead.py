"""The card that leads the published page."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reviewkit.episode.stills import changed_most
from reviewkit.model.card import Card, Chart
from reviewkit.verdict.verdict import JUDGED


def choose_lead(cards: Sequence[Card]) -> Card | None:
    """Return the pair of what the repair improved most, else the verdict nearest to its limit, else the first chart."""
    pair = changed_most(cards)
    if pair is not None and pair.finding is not None and pair.finding.facts["change"].improved:
        return pair
    charts = [card for card in cards if isinstance(card.body, Chart) and card.hero is not None]
    return min(charts, key=_distance, default=None)


def _distance(card: Card) -> float:
    """Return how far a card's figure is from its limit; infinite if it isn't judged."""
    verdict = card.verdict
    return abs(verdict.room) if verdict and verdict.verdict in JUDGED and verdict.room is not None else math.inf
