"""`watch`: a session is built again on every save, and a page on this machine shows it."""

from __future__ import annotations

import gc
import re
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.build.build import Pending, hand_over, make
from reviewkit.build.cache import Cache
from reviewkit.build.options import Options
from reviewkit.build.pipeline import Composed
from reviewkit.build.pool import Pool
from reviewkit.commands.live_server import EVENTS, FILES, LiveServer
from reviewkit.ingest.session.session_paths import links_out, templates_of
from reviewkit.model import places
from reviewkit.model.card_files import card_path, file_stems
from reviewkit.model.errors import CannotFinish, Fault, InputError, listed
from reviewkit.render.pages import page_policy
from reviewkit.render.pages.page import SERVED, Pages

_STILL_MS = 50  # a file that was not written to for this long, or twice that, is taken to be whole
_LONGEST_WAIT_MS = 1000  # but one that is written to all the time is looked at as often as this
_LOOK_UP_MS = 200


@dataclass(frozen=True)
class Rebuilt:
    """What one save led to. `cards`: those that look different now; `files`: how many of out/ are new; `faults`: why
    nothing is.
    """

    cards: tuple[str, ...]
    files: int
    faults: tuple[str, ...]
    seconds: float


def watch(
    folder: Path,
    pool: Pool,
    cache: Cache,
    port: int = 0,
    *,
    opened: Callable[[str], None],
    report: Callable[[Rebuilt], None],
    stop: Any = None,
) -> None:
    """Build a session, then again on every save, until Ctrl-C or until `stop`, an Event, is set. `opened` is given the
    page's address, `report` each build.

    Raises InputError if the folder is not a session's or the library is missing, CannotFinish if the port or the
    system's watching can't be had. A session that is wrong raises nothing: its page says so.
    """
    if not folder.is_dir():
        raise InputError(Fault(str(folder), 0, "there is no such folder; reviewkit new makes one"))
    if faults := links_out(folder):  # watching follows links too, however much is behind them
        raise InputError(faults)
    saves = _saves(folder, stop)
    bench = Bench(folder, pool, cache)
    page = _LivePage(bench)
    with LiveServer(bench.out, *page.now(), page_policy.closed(places.templates()), port) as server:
        opened(server.url)
        for saved in saves:
            if saved or not bench.number:
                rebuilt = bench.build({Path(path) for _, path in saved})
                server.show(*page.now(), {"build": bench.number, "cards": rebuilt.cards})
                report(rebuilt)
            if not gc.isenabled():  # what is there by now stays, and need not be searched again and again
                gc.freeze()
                gc.enable()


class Bench:
    """A session as it was last built. `number`: of builds tried; `shown`: what its outputs were written from;
    `versions`: of every output, by its content; `faults`: why the last build stopped; `latest`: the cards that changed
    last; `waited_for`: the cards of the files that were saved last.
    """

    def __init__(self, folder: Path, pool: Pool, cache: Cache) -> None:
        self.folder = folder
        self.out = Options().out_of(folder)
        self._pool, self.cache = pool, cache
        self.number = 0
        self.shown: Composed | None = None
        self.versions: dict[str, str] = {}
        self.faults: tuple[str, ...] = ()
        self.latest: tuple[str, ...] = ()
        self.waited_for: Collection[str] = ()

    def build(self, saved: Collection[Path]) -> Rebuilt:
        """Build again. What is wrong is kept for the page, and the last outputs stay."""
        began = time.perf_counter()
        self.number += 1
        self.waited_for = self._measured_in(saved)
        cards: tuple[str, ...] = ()
        files = 0
        try:
            cards, files = self._take(make(self.folder, Options(), self._pool, self.cache))
            self.faults = ()
        except InputError as error:
            self.faults = tuple(listed(error.faults))
        except CannotFinish as error:
            self.faults = (str(error),)
        return Rebuilt(cards, files, self.faults, time.perf_counter() - began)

    def _measured_in(self, saved: Collection[Path]) -> Collection[str]:
        """The cards of what was measured in these files."""
        measurements = self.shown.episode.session.measurements if self.shown else ()
        root = self.folder.resolve()
        return {m.card for m in measurements if m.file and root / m.file in saved}

    def _take(self, made: Pending) -> tuple[tuple[str, ...], int]:
        """Move in what isn't as it was; which cards that changes, and how many files."""
        assert made.composed is not None  # made in this process
        versions = hand_over(made, Options(), self.cache).files
        new = {name for name, version in versions.items() if self.versions.get(name) != version}
        there = places_of(made.composed)
        cards = tuple(name for name, place in there.items() if place in new)
        self.shown, self.versions = made.composed, dict(versions)
        self.latest = cards or tuple(name for name in self.latest if name in there)
        return cards, len(new)


def places_of(composed: Composed) -> dict[str, str]:
    """Return where each card's picture is in out/, by the card's id."""
    return {card: card_path("cards", stem) for card, stem in file_stems(composed.episode.cards).items()}


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

    def now(self) -> tuple[str, str]:
        """Return the page as it now is, and what its content may do."""
        bench, shipped = self._bench, places.templates()
        compiled_in = bench.cache.template_folder()
        if bench.shown is not None and not bench.faults:
            pages = bench.shown.pages  # whose process for the session's own templates is running already
        else:
            pages = Pages(templates_of(bench.folder), shipped, compiled_in)
        try:
            text = pages.text(SERVED, **self._facts(bench.faults))
        except InputError as error:
            # the session's own version of this page is at fault: the shipped one says so
            faults = tuple(dict.fromkeys((*listed(error.faults), *bench.faults)))
            text = Pages(shipped, shipped, compiled_in).text(SERVED, **self._facts(faults))
        return text, page_policy.served(shipped)

    def _facts(self, faults: Sequence[str]) -> dict[str, Any]:
        """What the page's template is given."""
        facts: dict[str, Any] = {
            "events": EVENTS,
            "number": self._bench.number,
            "faults": faults,
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
            "rows": self._bench.shown.series.table.rows,
            "plan": self._bench.shown.plan,
            "left_out": episode.left_out,
            "pages": [
                (name, f"{FILES}{name}") for name in sorted(self._bench.versions) if re.fullmatch(r"[^/]+\.html", name)
            ],
        }
