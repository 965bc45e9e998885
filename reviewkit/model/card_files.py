"""Paths of a card's pictures in out/."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reviewkit.model.card import Card

_FOLDERS = {"cards": "cards", "overlays": "overlays", "strips": "strips", "mp4": "clips", "mov": "clips"}
CLIPS = ("mp4", "mov")  # kinds of pictures that are video files, and their extensions
KINDS = tuple(_FOLDERS)
# the cards that no measurement makes, by their ids
SESSION_CARDS = ("title", "rated", "hunt", "fix", "score", "table", "repair-list", "number", "ending", "price")
OLD_NAMES = {"repair": "hunt", "closing": "ending"}  # as notes of earlier episodes call them


def stills(cards: Sequence[Card]) -> tuple[Card, ...]:
    """Return every picture of the cards: of a pair, first the card as found."""
    return tuple(still for card in cards for still in (card.found, card) if still is not None)


def file_stems(cards: Sequence[Card]) -> dict[str, str]:
    """Return the name of each still's files without folder and ending, such as "03-response", by the still's id.

    A card as found has the number of its pair: "03-response-found", "03-response".
    """
    return {
        still.id: f"{number:02d}-{still.id}" for number, card in enumerate(cards, start=1) for still in stills((card,))
    }


def card_path(kind: str, stem: str) -> str:
    """Return the path in out/ of one picture of a card. `kind`: one of KINDS."""
    return f"{_FOLDERS[kind]}/{stem}.{kind if kind in CLIPS else 'png'}"
