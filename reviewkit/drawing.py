"""The draw stage: every card's pictures, drawn or taken from the cache."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from reviewkit.cache import Cache
from reviewkit.digests import file_digest
from reviewkit.errors import Fault, InputError
from reviewkit.model import Card
from reviewkit.plain_data import fingerprint
from reviewkit.pool import Pool
from reviewkit.program import program_digest
from reviewkit.render.card import LayoutFault, Order, pictures

Pictures = Mapping[str, bytes | Path]  # a card's pictures by their kind; clips are files
# what a process needs for drawing: imported by the others while this one reads
MODULES = (
    "matplotlib.backends.backend_agg",
    *(f"reviewkit.render.{name}" for name in ("colour_check", "layout_check", "plot", "rows", "shorter", "strip")),
)


def draw(
    cards: Sequence[Card],
    order: Order,
    type_digests: Sequence[str],
    drawn_before: Mapping[str, Path],
    pool: Pool,
    cache: Cache,
    progress: Callable[[int, int], None],
) -> dict[str, Pictures]:
    """Return the pictures of each card, by its id. `type_digests`: of the user's own fonts, which `order` knows by
    their paths; `drawn_before`: files by what should be their digest, among which clips are looked for.

    Raises InputError naming every card whose texts don't fit, CannotFinish if a clip can't be encoded.
    """
    keys = {card.id: _key(card, order, type_digests) for card in cards}
    results: dict[str, Pictures | str] = {}
    for card in cards:
        known = _read(cache, keys[card.id], card, order, drawn_before)
        if known is not None:
            results[card.id] = known
    # charts take longest, and come first
    new = sorted((card for card in cards if card.id not in results), key=lambda card: not card.chart)
    drawn = pool.run(draw_card, [(card, order) for card in new], lambda done: progress(done, len(new)))
    for card, result in zip(new, drawn, strict=True):
        results[card.id] = result
        if not isinstance(result, str):
            cache.write(keys[card.id], _packed(result))
    faults = [Fault("session.toml", 0, why) for card in cards if isinstance(why := results[card.id], str)]
    if faults:
        raise InputError(faults)
    return {card.id: result for card in cards if not isinstance(result := results[card.id], str)}


def draw_card(card: Card, order: Order) -> Pictures | str:
    """Return a card's pictures by their kind, or why it cannot be laid out."""
    try:
        return pictures(card, order)
    except LayoutFault as fault:
        return str(fault)


def draw_picture(
    cache: Cache, given: tuple[Any, ...], function: Callable[..., bytes], arguments: tuple[Any, ...]
) -> bytes:
    """Return a picture that isn't a card's. `given`: all that it depends on; `function` draws it."""
    key = fingerprint("picture", program_digest(), function.__name__, given)
    picture = cache.read(key)
    if picture is None:
        picture = function(*arguments)
        cache.write(key, picture)
    return picture


def _key(card: Card, order: Order, type_digests: Sequence[str]) -> str:
    motion = order.motion and replace(order.motion, folder=Path())  # where clips are put changes none of them
    return fingerprint("card", program_digest(), card, replace(order, motion=motion), tuple(type_digests))


# ------------------------------------------------------------------ pictures as one entry of the cache


def _packed(drawn: Pictures) -> bytes:
    """A card's pictures in one piece: a line that says which and how long, then their bytes; of a clip its digest."""
    pieces = {kind: content if isinstance(content, bytes) else None for kind, content in drawn.items()}
    clips = {kind: file_digest(content) for kind, content in drawn.items() if isinstance(content, Path)}
    sizes = {kind: len(content) for kind, content in pieces.items() if content is not None}
    line = json.dumps({"sizes": sizes, "clips": clips})
    return b"".join([line.encode(), b"\n", *filter(None, pieces.values())])


def _read(
    cache: Cache, key: str, card: Card, order: Order, drawn_before: Mapping[str, Path]
) -> dict[str, bytes | Path] | None:
    """A card's pictures from the cache, its clips put where they are wanted; None unless all are there."""
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
        if digest not in drawn_before or not _put(drawn_before[digest], place) or file_digest(place) != digest:
            return None
        drawn[kind] = place
    return drawn


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
