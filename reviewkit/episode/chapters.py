"""Chapters by what viewers ask: where each card belongs, and which title each segment has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from reviewkit.episode.alt_text import heading_of
from reviewkit.episode.session_cards import find_hook
from reviewkit.episode.stills import BEFORE, PAIR
from reviewkit.model.card import Card
from reviewkit.model.card_files import stills
from reviewkit.model.kind import CLEAN, FLAT, LOAD, POWER, QUIET, STEADY
from reviewkit.model.notes import Note, Notes
from reviewkit.model.session import Session

# what the results after the repair are asked about, as segments; "after" itself asks whether it is repaired
ASKED = (POWER, STEADY, FLAT, QUIET, CLEAN, LOAD)
RADIO = "radio"  # the half of a receiver, after what its amplifier is asked about
_SESSION_CARDS = {
    "title": "opening",
    "rated": "history",
    "hunt": "fault",
    "fix": "repair",
    "repair-list": "repair",
    "score": "verdict",
    "table": "verdict",
    "number": "verdict",
    "price": "value",
    "ending": "closing",
}


def find_leads(cards: Sequence[Card]) -> dict[str, str]:
    """Return the card with which each still is shown, by its id: the first of its series.

    What judges a repaired unit stands apart from the pair of before and after.
    """
    paired = {card.first or card.id for card in cards if card.stage == PAIR or card.found}
    return {
        still.id: still.id
        if (still.first in paired and card.stage != PAIR and not card.found)
        else still.first or still.id
        for card in cards
        for still in stills((card,))
    }


def segment_of_still(still: Card) -> str:
    """Return the segment of a still that no note calls for."""
    name = still.first or still.id
    if name in _SESSION_CARDS:
        return _SESSION_CARDS[name]
    if still.stage in (BEFORE, PAIR):
        return "before" if still.stage == BEFORE else "after"
    if still.finding and still.finding.facts.get("radio"):
        return RADIO
    return str(still.finding.facts.get("asks", "after")) if still.finding else "after"


def split_after(notes: Notes, cards: Sequence[Card]) -> Notes:
    """Return notes whose results after the repair are split by what viewers ask; segments of the user's own stay.

    A note of `after` belongs with the first card that it calls for, one without a card with the note above it.
    """
    places = {still.id: segment_of_still(still) for still in stills(cards)}
    split: list[Note] = []
    asked = "after"
    for note in notes.notes:
        if note.segment == "after" and not note.cut:
            asked = next((places[card] for card in note.cards if places.get(card) in (*ASKED, RADIO, "after")), asked)
            note = replace(note, segment=asked)
        split.append(note)
    return replace(notes, notes=tuple(split))


def title_facts(session: Session, cards: Sequence[Card], *, repaired: bool) -> Mapping[str, Any]:
    """Return what the titles of chapters are made from."""
    titles = {card.id: heading_of(card) for card in cards}
    hook, unit = find_hook(session), session.unit
    found = next((card.found.title for card in cards if card.found), "")
    return {
        "unit": unit.name,
        "gear": unit.gear,
        "year": unit.year,
        "hook": "" if hook.casefold() == unit.name.casefold() else hook,
        "priced": session.price is not None,
        "worth": session.price is not None and session.price.fair is not None,
        "repaired": repaired,
        "found": found,
        "cards": {name: titles.get(name, "") for name in ("hunt", "score", "ending")},
    }
