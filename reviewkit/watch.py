"""Beside the bench: on every save what it changes is built anew, and a page on this machine shows it."""

from __future__ import annotations

import gc
import re
from collections.abc import Callable, Collection, Iterator, Sequence
from pathlib import Path
from typing import Any

from reviewkit import places
from reviewkit.errors import CannotFinish, Fault, InputError, listed
from reviewkit.ingest.session_paths import links_out, templates_of
from reviewkit.live_server import EVENTS, FILES, LiveServer
from reviewkit.rebuild import Bench, Rebuilt, Remembering, places_of
from reviewkit.remembered import Memory
from reviewkit.render import page_policy
from reviewkit.render.page import SERVED, Pages
from reviewkit.stamps import stamps

_STILL_MS = 50  # a file that was not written to for this long, or twice that, is taken to be whole
_LONGEST_WAIT_MS = 1000  # but one that is written to all the time is looked at as often as this
_LOOK_UP_MS = 200


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
    if faults := links_out(folder):  # whoever notices saves goes through them too, however much lies there
        raise InputError(faults)
    saves = _saves(folder, stop)
    workers = Remembering(beside)
    with workers:
        bench = Bench(folder, workers)
        page = _LivePage(bench)
        with LiveServer(bench.out, *page.now(), page_policy.closed(places.templates()), port) as server:

            def show(cards: Sequence[str]) -> None:
                server.show(*page.now(), {"build": bench.number, "cards": cards})

            opened(server.url)
            for saved in saves:
                if saved or not bench.number:
                    told(bench.build({Path(path) for _, path in saved}, show))
                if not gc.isenabled():  # what is there by now stays: it need not be looked through again and again
                    gc.freeze()
                    gc.enable()


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


class _LivePage:
    """The page of a session as it was last built."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._memory = Memory()

    def now(self) -> tuple[str, str]:
        """The page as it now is, and what its content may do."""
        travelling = places.templates()
        try:
            own = templates_of(self._bench.folder)
            pages = self._memory.once("the page's", (stamps(own), stamps(travelling)), lambda: Pages(own, travelling))
            text = pages.text(SERVED, **self._facts(self._bench.faults))
        except InputError as error:
            # the session's own version of this page is at fault: the one that travels says so
            faults = tuple(dict.fromkeys((*listed(error.faults), *self._bench.faults)))
            text = Pages(travelling, travelling).text(SERVED, **self._facts(faults))
        return text, page_policy.served(travelling)

    def _facts(self, faults: Sequence[str]) -> dict[str, Any]:
        """What the page's template is given."""
        facts: dict[str, Any] = {
            "events": EVENTS,
            "number": self._bench.number,
            "faults": faults,
            "more": self._bench.more,
            "name": self._bench.folder.resolve().name,
            "cards": (),
            "latest": None,
            "changed": self._bench.latest,
            "rows": (),
            "plan": None,
            "left_out": (),
            "pages": (),
        }
        if self._bench.shown is None:
            return facts
        episode, there = self._bench.shown.episode, places_of(self._bench.shown)
        cards = {
            card.id: {
                "id": card.id,
                "title": card.title,
                "alt": card.alt,
                "verdicts": card.verdicts,
                "picture": f"{FILES}{there[card.id]}?v={self._bench.versions[there[card.id]]}",
            }
            for card in episode.cards
            if there[card.id] in self._bench.versions  # others follow
        }
        measured = {run.conditions.measurement.card for run in episode.runs}
        waited_for = self._bench.waited_for
        # of the cards that were drawn last, that of the file saved comes first, and those that sum up come last
        order = sorted(
            (card for card in episode.cards if card.id in cards),
            key=lambda c: (c.id not in self._bench.latest, c.first not in waited_for, c.first not in measured),
        )
        return facts | {
            "name": episode.session.unit.name,
            "cards": tuple(cards.values()),
            "latest": cards[order[0].id] if order else None,
            "rows": self._bench.shown.table.rows,
            "plan": self._bench.shown.plan,
            "left_out": episode.left_out,
            "pages": [
                (name, f"{FILES}{name}") for name in sorted(self._bench.versions) if re.fullmatch(r"[^/]+\.html", name)
            ],
        }
