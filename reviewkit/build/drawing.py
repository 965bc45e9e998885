"""The draw stage: every card's pictures, drawn or taken from the cache."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reviewkit.build.cache import Cache
from reviewkit.build.plain_data import fingerprint
from reviewkit.build.pool import Calls, Pool
from reviewkit.build.program_digest import program_digest
from reviewkit.model.card import Card, Chart
from reviewkit.model.digests import file_digest
from reviewkit.model.errors import Fault, InputError
from reviewkit.render.cards.pictures import Order, draw_pictures
from reviewkit.render.cards.scene import LayoutFault

Pictures = Mapping[str, bytes | Path]  # a card's pictures by their kind; clips are files


@dataclass(frozen=True, eq=False)
class Drawing:
    """A set of cards that is being drawn. `stored`: pictures that were in the cache; `new`: the other cards, in the
    order of their `calls`.
    """

    cards: Sequence[Card]
    keys: Mapping[str, str]
    stored: dict[str, Pictures | Fault]
    new: Sequence[Card]
    calls: Calls[Pictures | Fault]


def begin_drawing(
    cards: Sequence[Card],
    order: Order,
    type_digests: Sequence[str],
    drawn_before: Mapping[str, Path],
    pool: Pool,
    cache: Cache,
) -> Drawing:
    """Have cards drawn by the other processes of a pool, without waiting for them.

    `type_digests`: of the user's own fonts, which `order` knows by their paths; `drawn_before`: files by their expected
    digest, among which clips are looked for.
    """
    keys = {card.id: _key(card, order, type_digests) for card in cards}
    stored = {card.id: _read(cache, keys[card.id], card, order, drawn_before) for card in cards}
    known: dict[str, Pictures | Fault] = {card: each for card, each in stored.items() if each is not None}
    # charts take longest, so they come first
    new = sorted((card for card in cards if card.id not in known), key=lambda card: not isinstance(card.body, Chart))
    return Drawing(cards, keys, known, new, pool.begin(draw_card, [(card, order) for card in new]))


def finish_drawing(drawing: Drawing, cache: Cache, progress: Callable[[int, int], None]) -> dict[str, Pictures]:
    """Return the pictures of each card, by its id; this process draws its share.

    Raises
    ------
    InputError
        If texts don't fit; it names every such card.
    CannotFinish
        If a clip can't be encoded.
    """
    drawn = drawing.calls.results(lambda done: progress(done, len(drawing.new)))
    results = drawing.stored | dict(zip((card.id for card in drawing.new), drawn, strict=True))
    faults = [why for card in drawing.cards if isinstance(why := results[card.id], Fault)]
    if faults:
        raise InputError(faults)
    pictures = {card: result for card, result in results.items() if not isinstance(result, Fault)}
    for card in drawing.new:
        cache.write(drawing.keys[card.id], _packed(pictures[card.id]))
    return pictures


def draw_card(card: Card, order: Order) -> Pictures | Fault:
    """Return a card's pictures by their kind, or why it can't be laid out."""
    try:
        return draw_pictures(card, order)
    except LayoutFault as fault:
        return fault.faults[0]


def _key(card: Card, order: Order, type_digests: Sequence[str]) -> str:
    motion = order.motion and replace(order.motion, folder=Path())  # the folder for clips doesn't change them
    return fingerprint("card", program_digest(), card, replace(order, motion=motion), tuple(type_digests))


# ------------------------------------------------------------------ pictures as one entry of the cache


def _packed(drawn: Pictures) -> bytes:
    """Return a card's pictures in one piece: a line with kinds and lengths, then their bytes, or a clip's digest."""
    pieces = {kind: content if isinstance(content, bytes) else None for kind, content in drawn.items()}
    clips = {kind: file_digest(content) for kind, content in drawn.items() if isinstance(content, Path)}
    sizes = {kind: len(content) for kind, content in pieces.items() if content is not None}
    line = json.dumps({"sizes": sizes, "clips": clips})
    return b"".join([line.encode(), b"\n", *filter(None, pieces.values())])


def _read(
    cache: Cache, key: str, card: Card, order: Order, drawn_before: Mapping[str, Path]
) -> dict[str, bytes | Path] | None:
    """Return a card's pictures from the cache, its clips put where they are wanted; None unless all are there."""
    entry = cache.read(key)
    if entry is None:
        return None
    line, _, rest = entry.partition(b"\n")
    header = json.loads(line)
    drawn: dict[str, bytes | Path] = {}
    start = 0
    for kind, size in header["sizes"].items():
        drawn[kind] = rest[start : start + size]
        start += size
    for kind, digest in header["clips"].items():
        assert order.motion is not None
        place = order.motion.file(card.id, f".{kind}")
        if not bring_back(digest, place, drawn_before):
            return None
        drawn[kind] = place
    return drawn


def bring_back(digest: str, place: Path, drawn_before: Mapping[str, Path]) -> bool:
    """Put a clip that was made before where it is wanted, and say whether it could be done. `drawn_before`: files by
    their expected digest.
    """
    return digest in drawn_before and _put(drawn_before[digest], place) and file_digest(place) == digest


def _put(clip: Path, place: Path) -> bool:
    """Put a clip that was made before at another place, and say whether that was possible."""
    try:
        place.unlink(missing_ok=True)
        try:
            os.link(clip, place)
        except OSError:  # a file system without links
            shutil.copyfile(clip, place)
    except OSError:
        return False
    return True
