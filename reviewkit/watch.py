"""Beside the bench: on every save what it changes is built anew, and a page on this machine shows it."""

from __future__ import annotations

import gc
import hashlib
import pickle
import re
import secrets
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit import places
from reviewkit.errors import CannotFinish, Fault, InputError, listed
from reviewkit.live_server import EVENTS, FILES, LiveServer
from reviewkit.model import Card
from reviewkit.pipeline import Options, Ready, make
from reviewkit.remembered import Memory
from reviewkit.render.card import Order
from reviewkit.render.deliver import deliver
from reviewkit.render.page import Pages
from reviewkit.render.workers import Drawn, Task, Workers

_STILL_MS = 50  # a file that was not written to for this long, or twice that, is taken to be whole
_LONGEST_WAIT_MS = 1000  # but one that is written to all the time is looked at as often as this
_LOOK_UP_MS = 200
_TEMPLATE = "watch.html"


@dataclass(frozen=True)
class Rebuilt:
    """What one save led to. `cards`: those drawn anew; `files`: how many of out/ are new; `faults`: why nothing is."""

    cards: tuple[str, ...]
    files: int
    faults: tuple[str, ...]
    seconds: float


def watch(
    folder: Path,
    port: int = 0,
    *,
    opened: Callable[[str], None],
    told: Callable[[Rebuilt], None],
    beside: int = 1,
    stop: Any = None,
) -> None:
    """Build a session, then again on every save, until Ctrl-C or until `stop`, an Event, is set. `opened` is told the
    page's address, `told` each build; `beside`: in how many more processes cards are drawn.

    Raises InputError where the folder is no session's or the library is not there, CannotFinish where the port or the
    system's watching cannot be had. A session that is wrong is no error here: its page says so.
    """
    if not folder.is_dir():
        raise InputError(Fault(str(folder), 0, "there is no such folder; reviewkit new makes one"))
    saves = _saves(folder, stop)
    workers = _Remembering(beside)
    with workers:
        bench = _Bench(folder, workers)
        with LiveServer(folder / "out", *bench.page(), port) as server:
            opened(server.url)
            for saved in saves:
                if saved or not bench.number:
                    rebuilt = bench.build()
                    server.show(*bench.page(), {"build": bench.number, "cards": rebuilt.cards})
                    told(rebuilt)


def _saves(folder: Path, stop: Any) -> Iterator[Collection[Any]]:
    """What was saved in a session, again and again; nothing where nothing was for a while, and at first, as soon as
    saves are noticed.
    """
    try:
        import watchfiles
    except ImportError:
        raise InputError(
            Fault("watch needs the library watchfiles", 0, "pip install 'bench-reviewkit[watch]'")
        ) from None
    return _noticed(watchfiles.watch, folder, stop)


def _noticed(notice: Callable[..., Iterator[Collection[Any]]], folder: Path, stop: Any) -> Iterator[Collection[Any]]:
    root = folder.resolve()

    def is_input(change: Any, path: str) -> bool:
        try:
            parts = Path(path).relative_to(root).parts
        except ValueError:
            return False
        # what is hidden, or ends so, editors keep beside a file while it is open
        return (
            bool(parts) and parts[0] != "out" and not any(part.startswith(".") or part.endswith("~") for part in parts)
        )

    try:
        yield from notice(
            root,
            watch_filter=is_input,
            step=_STILL_MS,
            debounce=_LONGEST_WAIT_MS,
            rust_timeout=_LOOK_UP_MS,
            yield_on_timeout=True,
            stop_event=stop,
        )
    except (OSError, RuntimeError) as error:  # too many are watched on this machine already, or the folder is gone
        raise CannotFinish(f"{folder}: saves can no longer be noticed: {error}") from error


class _Remembering(Workers):
    """Workers that draw a card only where it is not as it was."""

    def __init__(self, beside: int) -> None:
        super().__init__(beside)
        self._drawn: dict[bytes, Task[Drawn]] = {}

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
        self._drawn = {key: held[key] for key in keys}
        return [held[key] for key in keys]


class _Bench:
    """A session as it was last built, and what its page shows."""

    def __init__(self, folder: Path, workers: _Remembering) -> None:
        self.number = 0  # of builds tried
        self._folder = folder
        self._workers = workers
        self._memory = Memory()
        self._made: Ready | None = None
        self._versions: dict[str, str] = {}  # of every file delivered, by its content
        self._faults: tuple[str, ...] = ()
        self._latest: tuple[str, ...] = ()  # the cards drawn last

    def build(self) -> Rebuilt:
        """Build what changed. What is wrong is kept for the page, and the last outputs stay."""
        began = time.perf_counter()
        self.number += 1
        cards: tuple[str, ...] = ()
        files = 0
        try:
            made = make(self._folder, Options(), workers=self._workers, once=self._memory.once)
            cards, files = self._take(made)
            self._faults = ()
        except InputError as error:
            self._faults = tuple(listed(error.faults))
        except CannotFinish as error:
            self._faults = (str(error),)
        if self.number == 1:
            # what was imported stays: it need not be looked through, again and again, for what could be thrown away
            gc.collect()
            gc.freeze()
            gc.enable()
        return Rebuilt(cards, files, self._faults, time.perf_counter() - began)

    def _take(self, made: Ready) -> tuple[tuple[str, ...], int]:
        """Deliver what is not as it was delivered; which cards are new, and how many files."""
        versions = {name: hashlib.sha256(_content(content)).hexdigest()[:16] for name, content in made.files.items()}
        new = {name: made.files[name] for name, version in versions.items() if self._versions.get(name) != version}
        lost = any(not (made.out / name).is_file() for name in versions if name not in new)
        if lost or set(versions) != set(self._versions):
            deliver(made.out, made.files)
        elif new:
            deliver(made.out, new, partial=True)
        places = _places(made)
        cards = tuple(card.id for card in made.episode.cards if places[card.id] in new)
        self._made, self._versions = made, versions
        self._latest = cards or tuple(name for name in self._latest if name in places)
        return cards, len(new)

    def page(self) -> tuple[str, str]:
        """The page as it now is, and what its content may do."""
        once = secrets.token_urlsafe(16)
        policy = (
            f"default-src 'none'; img-src 'self' data:; style-src 'nonce-{once}'; "
            f"script-src 'nonce-{once}'; connect-src 'self'"
        )
        own, travelling = self._folder / "templates", places.templates()
        try:
            text = Pages(own, travelling).text(_TEMPLATE, **self._facts(once, self._faults))
        except InputError as error:
            # the session's own version of this page is at fault: the one that travels says so
            faults = tuple(dict.fromkeys((*listed(error.faults), *self._faults)))
            text = Pages(travelling, travelling).text(_TEMPLATE, **self._facts(once, faults))
        return text, policy

    def _facts(self, nonce: str, faults: Sequence[str]) -> dict[str, Any]:
        """What the page's template is given."""
        facts: dict[str, Any] = {
            "nonce": nonce,
            "events": EVENTS,
            "number": self.number,
            "faults": faults,
            "name": self._folder.resolve().name,
            "cards": (),
            "latest": None,
            "changed": self._latest,
            "rows": (),
            "plan": None,
            "left_out": (),
            "pages": (),
        }
        if self._made is None:
            return facts
        made, shown = self._made, _places(self._made)
        cards = [
            {
                "id": card.id,
                "title": card.title,
                "alt": card.alt,
                "verdicts": card.verdicts,
                "picture": f"{FILES}{shown[card.id]}?v={self._versions[shown[card.id]]}",
            }
            for card in made.episode.cards
        ]
        measured = {run.conditions.measurement.card for run in made.episode.runs}
        # of the cards that were drawn last, the one of what was measured comes before those that sum up
        order = sorted(made.episode.cards, key=lambda card: (card.id not in self._latest, card.first not in measured))
        first = order[0].id if order else ""
        return facts | {
            "name": made.episode.session.unit.name,
            "cards": cards,
            "latest": next((card for card in cards if card["id"] == first), None),
            "rows": made.prepared.table.rows,
            "plan": made.prepared.plan,
            "left_out": made.episode.left_out,
            "pages": [(name, f"{FILES}{name}") for name in sorted(made.files) if re.fullmatch(r"[^/]+\.html", name)],
        }


def _places(made: Ready) -> dict[str, str]:
    """Where each card's picture is in out/, by the card's id."""
    return {card.id: f"cards/{number:02d}-{card.id}.png" for number, card in enumerate(made.episode.cards, start=1)}


def _content(content: bytes | Path) -> bytes:
    return content if isinstance(content, bytes) else content.read_bytes()
