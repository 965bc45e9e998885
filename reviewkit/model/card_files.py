"""Paths of a card's pictures in out/."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reviewkit.model.card import Card

_FOLDERS = {"cards": "cards", "overlays": "overlays", "strips": "strips", "mp4": "clips", "mov": "clips"}
_CLIPS = ("mp4", "mov")  # kinds of pictures that are video files, and their extensions
SHAPES = ("wide", "tall", "square")


def kind_of(kind: str, shape: str) -> str:
    """Return the kind of a picture in one shape: "mp4", "tall-mp4"."""
    return kind if shape == SHAPES[0] else f"{shape}-{kind}"


KINDS = tuple(kind_of(kind, shape) for shape in SHAPES for kind in _FOLDERS)
# the cards that no measurement makes, by their ids
SESSION_CARDS = ("title", "rated", "hunt", "fix", "score", "table", "repair-list", "number", "ending", "price")
# of these, the cards that say what the page itself says: in its head, in its table
_SAID_BY_THE_PAGE = ("title", "rated", "table", "number", "ending")
OLD_NAMES = {"repair": "hunt", "closing": "ending"}  # as notes of earlier episodes call them


def stills(cards: Sequence[Card]) -> tuple[Card, ...]:
    """Return every picture of the cards. In a pair, the card as found comes first."""
    return tuple(still for card in cards for still in (card.found, card) if still is not None)


def is_on_page(still: Card) -> bool:
    """Return whether the published page shows a still: not if it says the same itself."""
    return (still.first or still.id) not in _SAID_BY_THE_PAGE


def file_stems(cards: Sequence[Card]) -> dict[str, str]:
    """Return the name of each still's files without folder and ending, such as "03-response", by the still's id.

    A card as found has the number of its pair: "03-response-found", "03-response".
    """
    return {
        still.id: f"{number:02d}-{still.id}" for number, card in enumerate(cards, start=1) for still in stills((card,))
    }


def film_path(stem: str, outputs: Collection[str]) -> str:
    """Return the path in out/ of what a film shows of a card: its clip, else its still, in its first shape."""
    paths = [card_path(kind_of(kind, shape), stem) for shape in SHAPES for kind in ("mp4", "cards")]
    return next((path for path in paths if path in outputs), card_path("cards", stem))


def card_path(kind: str, stem: str) -> str:
    """Return the path in out/ of one picture of a card: "clips/03-power.mp4", "tall/clips/03-power.mp4".

    The stills of a shape other than wide are in its own folder: "tall/03-power.png". `kind`: one of KINDS.
    """
    shape, _, plain = kind.rpartition("-")
    folder = f"{shape}/{_FOLDERS[plain]}" if shape else _FOLDERS[plain]
    ending = plain if plain in _CLIPS else "png"
    return f"{folder.removesuffix('/cards')}/{stem}.{ending}"
