"""A session built again on every save: what is as it was is remembered, and the card that is waited for comes first."""

from __future__ import annotations

import hashlib
import pickle
import time
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from reviewkit.build import Ready, hand_over, make
from reviewkit.errors import CannotFinish, InputError, listed
from reviewkit.model import Card
from reviewkit.options import Options
from reviewkit.pipeline import Prepared
from reviewkit.remembered import Memory
from reviewkit.render.card import LayoutFault, Order, pictures
from reviewkit.render.deliver import deliver
from reviewkit.render.workers import Drawn, Task, Workers


@dataclass(frozen=True)
class Rebuilt:
    """What one save led to. `cards`: those drawn anew; `files`: how many of out/ are new; `faults`: why nothing is;
    `seen_s`: when the page had the first of the cards, where that was before the end.
    """

    cards: tuple[str, ...]
    files: int
    faults: tuple[str, ...]
    seconds: float
    seen_s: float | None = None


class Remembering(Workers):
    """Workers that draw a card only where it is not as it was. `first`: the cards that are waited for; `early`: the
    picture of the first of them that is new, drawn before all else.
    """

    def __init__(self, beside: int) -> None:
        super().__init__(beside)
        self.first: Collection[str] = ()
        self.early: tuple[str, bytes] | None = None
        self._drawn: dict[bytes, Task[Drawn]] = {}  # what the last build drew, and what this one did
        self._kept: set[bytes] = set()  # of these, what this one needs

    def begin_build(self, first: Collection[str]) -> None:
        """Forget what the last build did not need. `first`: the cards that are waited for now."""
        self._drawn = {key: task for key, task in self._drawn.items() if key in self._kept and task.done.is_set()}
        self._kept = set()
        self.first, self.early = first, None

    def elsewhere(self, call: Callable[[], Any]) -> Callable[[], Any]:
        """Read here: what was read must be remembered."""
        return call

    def begin_drawing(self, cards: Sequence[Card], order: Order) -> list[Task[Drawn]]:
        """The task of each card: the one that drew it before, or a new one."""
        keys = [hashlib.sha256(pickle.dumps((card, order))).digest() for card in cards]
        held = {key: task for key, task in self._drawn.items() if not task.done.is_set() or task.is_good}
        new = [number for number, key in enumerate(keys) if key not in held]
        begun = super().begin_drawing([cards[number] for number in new], order)
        held |= {keys[number]: task for number, task in zip(new, begun, strict=True)}
        self._drawn |= {key: held[key] for key in keys}
        self._kept |= set(keys)
        waited_for = [cards[number] for number in new if cards[number].first in self.first]
        if waited_for and self.early is None:
            with suppress(LayoutFault):  # told with those of the others
                alone = replace(order, page=None, small=False, strip=False)
                picture = pictures(waited_for[0], alone)["cards"]
                assert isinstance(picture, bytes)
                self.early = waited_for[0].id, picture
        return [held[key] for key in keys]


class Bench:
    """A session as it was last built. `number`: of builds tried; `shown`: what its outputs were written from;
    `versions`: of every file delivered, by its content; `faults`: why the last build stopped; `latest`: the cards drawn
    last; `more`: whether others still follow.
    """

    def __init__(self, folder: Path, workers: Remembering) -> None:
        self.number = 0
        self.folder = folder
        self.out = Options().out_of(folder)
        self._workers = workers
        self._memory = Memory()
        self.shown: Prepared | None = None
        self.versions: dict[str, str] = {}
        self.faults: tuple[str, ...] = ()
        self.latest: tuple[str, ...] = ()
        self.more = False

    @property
    def waited_for(self) -> Collection[str]:
        """The cards of what was saved last."""
        return self._workers.first

    def build(self, saved: Collection[Path], show: Callable[[Sequence[str]], None]) -> Rebuilt:
        """Build what changed. What is wrong is kept for the page, and the last outputs stay. `show` is told when the
        page is another, with the cards that are new.
        """
        began = time.perf_counter()
        self.number += 1
        self._workers.begin_build(self._measured_in(saved))
        cards: tuple[str, ...] = ()
        seen: list[float] = []
        files = 0

        def early(prepared: Prepared) -> None:
            if self._take_early(prepared):
                show(self.latest)
                seen.append(time.perf_counter() - began)

        try:
            made = make(self.folder, Options(), workers=self._workers, remembered=self._memory.once, prepared_is=early)
            cards, files = self._take(made, early=bool(seen))
            self.faults = ()
        except InputError as error:
            self.faults = tuple(listed(error.faults))
        except CannotFinish as error:
            self.faults = (str(error),)
        self.more = False
        show(cards)
        return Rebuilt(cards, files, self.faults, time.perf_counter() - began, seen[0] if seen else None)

    def _measured_in(self, saved: Collection[Path]) -> Collection[str]:
        """The cards of what was measured in these files."""
        measurements = self.shown.episode.session.measurements if self.shown else ()
        root = self.folder.resolve()
        return {m.card for m in measurements if m.file and root / m.file in saved}

    def _take_early(self, prepared: Prepared) -> bool:
        """Deliver the card that is waited for, before the others and the texts, as a build of that card alone does."""
        if self._workers.early is None:
            return False
        card, picture = self._workers.early
        name = places_of(prepared)[card]
        if self.versions.get(name) in (None, hashlib.sha256(picture).hexdigest()):
            return False  # cards are numbered otherwise now, or it looks as it did
        read = [self.folder / path for path in prepared.gathered.inputs]
        deliver(self.out, {name: picture}, partial=True, inputs=read)
        self.versions[name] = hashlib.sha256(picture).hexdigest()
        self.shown, self.latest, self.faults, self.more = prepared, (card,), (), True
        return True

    def _take(self, made: Ready, *, early: bool) -> tuple[tuple[str, ...], int]:
        """Move in what is not as it was; which cards are new, and how many files. `early`: one card was before."""
        assert made.prepared is not None  # made in this process
        versions = hand_over(made).files
        new = {name for name, version in versions.items() if self.versions.get(name) != version}
        there = places_of(made.prepared)
        before = self.latest if early else ()
        cards = tuple(name for name, place in there.items() if place in new or name in before)
        self.shown, self.versions = made.prepared, dict(versions)
        self.latest = cards or tuple(name for name in self.latest if name in there)
        return cards, len(new) + len(before)


def places_of(prepared: Prepared) -> dict[str, str]:
    """Where each card's picture is in out/, by the card's id."""
    cards = prepared.episode.cards
    return {card.id: f"cards/{number:02d}-{card.id}.png" for number, card in enumerate(cards, start=1)}
