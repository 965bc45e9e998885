"""What an earlier build worked out and drew, taken over by a later one where it would come out the same."""

from __future__ import annotations

import hashlib
import os
import shutil
import zlib
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from reviewkit import plain_data, record
from reviewkit.model import Card
from reviewkit.plain_data import NotPlain, fingerprint
from reviewkit.record import KEPT, Record
from reviewkit.remembered import Once, anew
from reviewkit.render.card import CLIPS, Order
from reviewkit.render.workers import Drawn, Task
from reviewkit.stamps import digest

if TYPE_CHECKING:
    from reviewkit.render.clip import Motion

T = TypeVar("T")
_RESULTS = f"{KEPT}/results"
# what takes longer to work out than to read, by the first word of its name
_WORTH_KEEPING = ("cards", "figures", "fit")


class Kept:
    """What lies in `out` of the last build, and what this one adds."""

    def __init__(self, out: Path, remembered: Once | None = None) -> None:
        """`remembered`: what this process has worked out, which is taken over instead where it is given."""
        self.out = out
        self.record: Record | None = record.read(out) if remembered is None else None
        self._remembered = remembered or anew
        self._used: dict[str, Any] = {}
        self._keys: dict[str, str] = {}  # what the cards of this build are drawn from, by id
        self._pictures: dict[str, dict[str, str]] = {}  # other pictures, as the record has them

    @cached_property
    def _results(self) -> Mapping[str, Any]:
        content = self._content(_RESULTS)
        found: Mapping[str, Any] = plain_data.from_text(zlib.decompress(content).decode()) if content else {}
        return found

    def holds(self, name: Hashable, given: tuple[Any, ...]) -> bool:
        """Whether `once` has nothing to call."""
        return fingerprint(name, given) in self._results

    def once(self, name: Hashable, given: tuple[Any, ...], call: Callable[[], T]) -> T:
        """What `call` gave when it was given the same, in this build or the last one; see `remembered.Once`."""
        if not isinstance(name, tuple) or name[0] not in _WORTH_KEEPING:
            return call()
        try:
            key = fingerprint(name, given)
        except NotPlain:
            return call()
        if key not in self._used:
            known = key in self._results
            self._used[key] = self._results[key] if known else self._remembered(name, given, call)
        result: T = self._used[key]
        return result

    def begin_drawing(
        self,
        cards: Sequence[Card],
        order: Order,
        type_digests: Sequence[str],
        begin: Callable[[Sequence[Card], Order], Sequence[Task[Drawn]]],
    ) -> list[Task[Drawn]]:
        """The task of each card: one that is done where the last build drew the same, else one that `begin` gives.
        `type_digests`: of the user's own type, which `order` knows by its path alone.
        """
        motion = order.motion and replace(order.motion, folder=Path())  # where clips are put changes none of them
        looks = fingerprint(replace(order, motion=motion), type_digests)
        keys = {card.id: fingerprint(card, looks) for card in cards}
        self._keys |= keys
        held = {card.id: self._drawn(keys[card.id], card.id, order.motion) for card in cards}
        new = [card for card in cards if held[card.id] is None]
        tasks = dict(zip((card.id for card in new), begin(new, order), strict=True))
        return [tasks[card.id] if card.id in tasks else _done(held[card.id] or "") for card in cards]

    def _drawn(self, key: str, card: str, motion: Motion | None) -> Drawn | None:
        """The pictures of a card, by kind, if the last build drew them. Clips are put where `motion` says."""
        drawn: dict[str, bytes | Path] = {}
        for kind, name in (self.record.pictures.get(key, {}) if self.record else {}).items():
            found = self._clip(name, motion.file(card, f".{kind}")) if motion and kind in CLIPS else self._content(name)
            if not found:
                return None
            drawn[kind] = found
        return drawn or None

    def _content(self, name: str) -> bytes | None:
        """An output as the last build made it, if it still is so: by what was read, for another build may be at it."""
        if self.record is None or name not in self.record.outputs:
            return None
        try:
            content = (self.out / name).read_bytes()
        except OSError:
            return None
        return content if hashlib.sha256(content).hexdigest() == self.record.outputs[name] else None

    def _clip(self, name: str, place: Path) -> Path | None:
        """The same for a file that is too large to be held in memory: it is put at `place`."""
        try:
            place.unlink(missing_ok=True)
            try:
                os.link(self.out / name, place)
            except OSError:  # a file system without links
                shutil.copyfile(self.out / name, place)
        except OSError:
            return None
        return place if self.record and digest(place) == self.record.outputs.get(name) else None

    def begin_picture(self, name: str, given: tuple[Any, ...], begin: Callable[[], Task[bytes]]) -> Task[bytes]:
        """The task of a picture that is no card's, as `begin_drawing` has them. `name`: its place in out/; `given`: all
        that it is drawn from.
        """
        key = fingerprint(name, given)
        self._pictures[key] = {name: name}
        held = self._content(name) if self.record and key in self.record.pictures else None
        return _done(held) if held else begin()

    def looks(self, *cards: str) -> tuple[str, ...]:
        """What cards look like: the same for the same pictures."""
        return tuple(self._keys.get(card, "") for card in cards)

    def files(self) -> dict[str, bytes]:
        """What is to be kept of this build beside its outputs."""
        return {_RESULTS: zlib.compress(plain_data.to_text(self._used).encode(), 1)}

    def recorded(self, pictures: Mapping[str, Mapping[str, str]]) -> dict[str, Mapping[str, str]]:
        """Files by what was drawn in them, for the record. `pictures`: of cards, by id, then by kind."""
        return {**{self._keys[card]: names for card, names in pictures.items() if card in self._keys}, **self._pictures}


def _done(found: T) -> Task[T]:
    task = Task(lambda: found, ())
    task.answer((True, found))
    return task
