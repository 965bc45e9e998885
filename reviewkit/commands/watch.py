"""The command `watch`: a session is rebuilt on every save, and a page on this machine shows it."""

from __future__ import annotations

import gc
import re
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import suppress
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
from reviewkit.ingest.session.studio_place import PLACES
from reviewkit.model import places
from reviewkit.model.card_files import card_path, file_stems, kind_of
from reviewkit.model.errors import CannotFinish, Fault, InputError, listed
from reviewkit.render.pages import page_policy
from reviewkit.render.pages.page import SERVED, Pages

_STILL_MS = 50  # a file that wasn't written to for this long (up to twice this) counts as complete
_LONGEST_WAIT_MS = 1000  # a file that is written to constantly is read this often
_LOOK_UP_MS = 200


@dataclass(frozen=True)
class Rebuilt:
    """The result of one save.

    Attributes
    ----------
    cards
        The cards that look different now.
    files
        Number of files in out/ that are new.
    faults
        Why there are none.
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
    in_studio: bool = True,
    opened: Callable[[str], None],
    report: Callable[[Rebuilt], None],
    stop: Any = None,
) -> None:
    """Build a session, then again on every save, until Ctrl-C.

    A session with faults raises nothing: its page shows them.

    Parameters
    ----------
    folder : Path
        The session.
    pool : Pool
        Processes to build with.
    cache : Cache
        The cache.
    port : int
        Port of the page; 0 for any free port.
    in_studio : bool
        Whether the studio.toml above the session counts.
    opened : callable
        Called with the page's address.
    report : callable
        Called with each `Rebuilt`.
    stop : Event, optional
        Ends the watch when set.

    Raises
    ------
    InputError
        If the folder isn't a session's or the library is missing.
    CannotFinish
        If the port or the system's file watching isn't available.
    """
    if not folder.is_dir():
        raise InputError(Fault(str(folder), 0, "there is no such folder; reviewkit new makes one"))
    if faults := links_out(folder):  # watching follows links too, however large their targets
        raise InputError(faults)
    saves = _watch_saves(folder, stop)
    session = LiveSession(folder, pool, cache, Options(studio=in_studio))
    page = _LivePage(session)
    with LiveServer(session.out, *page.now(), page_policy.static_policy(places.templates()), port) as server:
        opened(server.url)
        for saved in saves:
            if saved or not session.number or session.is_studio_changed():
                rebuilt = session.build({Path(path) for _, path in saved})
                server.show(*page.now(), {"build": session.number, "cards": rebuilt.cards})
                report(rebuilt)
            if not gc.isenabled():  # what exists by now stays, and needn't be scanned repeatedly
                gc.freeze()
                gc.enable()


class LiveSession:
    """A session as last built.

    Attributes
    ----------
    number
        Number of builds attempted.
    shown
        What its outputs were written from.
    versions
        Version of every output, by its content.
    faults
        Why the last build stopped.
    latest
        The cards that changed last.
    awaited
        The cards of the files saved last.
    """

    def __init__(self, folder: Path, pool: Pool, cache: Cache, options: Options | None = None) -> None:
        self.folder, self._options = folder, options or Options()
        self.out = self._options.out_of(folder)
        self._studio: Mapping[str, tuple[int, ...]] = {}  # each file above the session, as it was at the last build
        self._pool, self.cache = pool, cache
        self.number = 0
        self.shown: Composed | None = None
        self.versions: dict[str, str] = {}
        self.faults: tuple[str, ...] = ()
        self.latest: tuple[str, ...] = ()
        self.awaited: Collection[str] = ()

    def build(self, saved: Collection[Path]) -> Rebuilt:
        """Build again. Faults are kept for the page, and the last outputs stay."""
        began = time.perf_counter()
        self.number += 1
        self._studio = self._files_above()
        self.awaited = self._measured_in(saved)
        cards: tuple[str, ...] = ()
        files = 0
        try:
            cards, files = self._deliver(make(self.folder, self._options, self._pool, self.cache))
            self.faults = ()
        except InputError as error:
            self.faults = tuple(listed(error.faults))
        except CannotFinish as error:
            self.faults = (str(error),)
        self._studio = {**self._files_above(), **self._studio}
        return Rebuilt(cards, files, self.faults, time.perf_counter() - began)

    def is_studio_changed(self) -> bool:
        """Return whether studio.toml, or a file that it names, was saved since the last build. It is above the folder
        that is watched.
        """
        return self._files_above() != self._studio

    def _files_above(self) -> dict[str, tuple[int, ...]]:
        if not self._options.studio:
            return {}
        known = self.shown.files.digests if self.shown else {}
        found: dict[str, tuple[int, ...]] = {}
        for name in dict.fromkeys((*PLACES, *(name for name in known if name.startswith("../")))):
            with suppress(OSError):
                about = (self.folder / name).stat()
                found[name] = (about.st_mtime_ns, about.st_size, about.st_ino, about.st_mode, about.st_uid)
        return found

    def _measured_in(self, saved: Collection[Path]) -> Collection[str]:
        """Return the cards of what was measured in these files."""
        measurements = [run.conditions.measurement for run in self.shown.episode.runs] if self.shown else []
        root = self.folder.resolve()
        return {m.card for m in measurements if m.file and root / m.file in saved}

    def _deliver(self, made: Pending) -> tuple[tuple[str, ...], int]:
        """Move changed files into out/; return the cards that this changes, and the number of files."""
        assert made.composed is not None  # made in this process
        versions = hand_over(made, self._options, self.cache).files
        new = {name for name, version in versions.items() if self.versions.get(name) != version}
        there = picture_paths(made.composed)
        cards = tuple(name for name, place in there.items() if place in new)
        self.shown, self.versions = made.composed, dict(versions)
        self.latest = cards or tuple(name for name in self.latest if name in there)
        return cards, len(new)


def picture_paths(composed: Composed) -> dict[str, str]:
    """Return the path in out/ of each card's picture, by card id."""
    kind = kind_of("cards", Options().shapes_of(composed.files.session.episode)[0])
    return {card: card_path(kind, stem) for card, stem in file_stems(composed.episode.cards).items()}


def _watch_saves(folder: Path, stop: Any) -> Iterator[Collection[Any]]:
    """Return an iterator over saves in a session: one set of changes each, empty when nothing happened.

    The first is empty, as soon as saves are noticed.
    """
    try:
        import watchfiles
    except ImportError:
        raise InputError(
            Fault("watch needs the library watchfiles", 0, "pip install 'bench-reviewkit[watch]'")
        ) from None
    return _notice_saves(watchfiles.watch, folder, stop)


def _notice_saves(
    notice: Callable[..., Iterator[Collection[Any]]], folder: Path, stop: Any
) -> Iterator[Collection[Any]]:
    root = folder.resolve()

    def is_input(change: Any, path: str) -> bool:
        try:
            parts = Path(path).relative_to(root).parts
        except ValueError:
            return False
        # editors keep such files next to an open one
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
    except (OSError, RuntimeError) as error:  # too many watches on this machine, or the folder is gone
        raise CannotFinish(f"{folder}: saves can no longer be noticed: {error}") from error


class _LivePage:
    """The page of a session as last built."""

    def __init__(self, session: LiveSession) -> None:
        self._session = session

    def now(self) -> tuple[str, str]:
        """Return the current page and its policy."""
        session, shipped = self._session, places.templates()
        compiled_in = session.cache.template_folder()
        try:
            # those of the last build have a process for the session's own templates running already
            current = session.shown.pages if session.shown is not None and not session.faults else None
            pages = current or Pages(templates_of(session.folder), shipped, compiled_in)
            text = pages.text(SERVED, **self._facts(session.faults))
        except InputError as error:
            # the session's own version of this page is at fault: the shipped one reports it
            faults = tuple(dict.fromkeys((*listed(error.faults), *session.faults)))
            text = Pages(shipped, shipped, compiled_in).text(SERVED, **self._facts(faults))
        return text, page_policy.live_policy(shipped)

    def _facts(self, faults: Sequence[str]) -> dict[str, Any]:
        """Return the variables of the page's template."""
        facts: dict[str, Any] = {
            "events": EVENTS,
            "number": self._session.number,
            "faults": faults,
            "name": self._session.folder.resolve().name,
            "cards": (),
            "latest": None,
            "changed": self._session.latest,
            "rows": (),
            "plan": None,
            "left_out": (),
            "pages": (),
        }
        if self._session.shown is None:
            return facts
        episode, there = self._session.shown.episode, picture_paths(self._session.shown)
        cards = {
            card.id: {
                "id": card.id,
                "title": card.title,
                "alt": card.alt,
                "verdict": card.verdict,
                "picture": f"{FILES}{there[card.id]}?v={self._session.versions[there[card.id]]}",
            }
            for card in episode.stills
            if there[card.id] in self._session.versions  # others follow
        }
        measured = {run.conditions.measurement.card for run in episode.runs}
        awaited = self._session.awaited
        # of the cards drawn last, the saved file's comes first and the summaries come last
        order = sorted(
            (card for card in episode.stills if card.id in cards),
            key=lambda c: (c.id not in self._session.latest, c.first not in awaited, c.first not in measured),
        )
        return facts | {
            "name": episode.session.unit.name,
            "cards": tuple(cards.values()),
            "latest": cards[order[0].id] if order else None,
            "rows": self._session.shown.series.table.rows,
            "plan": self._session.shown.plan,
            "left_out": episode.left_out,
            "pages": [
                (name, f"{FILES}{name}")
                for name in sorted(self._session.versions)
                if re.fullmatch(r"[^/]+\.html", name)
            ],
        }
