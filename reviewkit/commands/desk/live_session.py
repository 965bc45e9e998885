"""A session as last built, and the saves in its folder that call for the next build."""

from __future__ import annotations

import time
from collections.abc import Collection, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import watchfiles

from reviewkit.build.build import Pending, hand_over, make
from reviewkit.build.cache import Cache
from reviewkit.build.composing import Composed
from reviewkit.build.options import Options
from reviewkit.build.pool import Pool
from reviewkit.ingest.session.studio import Studio, read_studio
from reviewkit.ingest.session.studio_place import PLACES
from reviewkit.model.card_files import card_path, file_stems, kind_of
from reviewkit.model.errors import CannotFinish, InputError, listed

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
        self.folder, self.options = folder, options or Options()
        self.out = self.options.out_of(folder)
        self._pool, self.cache = pool, cache
        self.number = 0
        self.shown: Composed | None = None
        self.versions: dict[str, str] = {}
        self.faults: tuple[str, ...] = ()
        self.latest: tuple[str, ...] = ()
        self.awaited: Collection[str] = ()
        self._studio: Mapping[str, tuple[int, ...]] = {}  # each file above the session, as it was at the last build

    def build(self, saved: Collection[Path]) -> Rebuilt:
        """Build again. Faults are kept for the page, and the last outputs stay."""
        began = time.perf_counter()
        self.number += 1
        self.awaited = self._measured_in(saved)
        self._studio = self._files_above()
        cards: tuple[str, ...] = ()
        files = 0
        try:
            cards, files = self._deliver(make(self.folder, self.options, self._pool, self.cache))
            self.faults = ()
        except InputError as error:
            self.faults = tuple(listed(error.faults))
        except CannotFinish as error:
            self.faults = (str(error),)
        self._studio = {**self._files_above(), **self._studio}
        return Rebuilt(cards, files, self.faults, time.perf_counter() - began)

    def studio(self) -> Studio:
        """Return the studio.toml above the session, if it counts."""
        return read_studio(self.folder) if self.options.studio else Studio()

    def is_studio_changed(self) -> bool:
        """Return whether studio.toml, or a file that it names, was saved since the last build. It is above the folder
        that is watched.
        """
        return self._files_above() != self._studio

    def _files_above(self) -> dict[str, tuple[int, ...]]:
        if not self.options.studio:
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
        versions = hand_over(made, self.options, self.cache).files
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


def watch_saves(folder: Path, stop: Any) -> Iterator[Collection[Any]]:
    """Yield the saves in a session: one set of changes each, empty when nothing happened.

    The first is empty, as soon as saves are noticed.

    Raises
    ------
    CannotFinish
        If the folder is gone, or if this machine watches too many already.
    """
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
        yield from watchfiles.watch(
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
