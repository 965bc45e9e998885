"""What was worked out before, for as long as what it was worked out from is the same."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Any, Protocol, TypeVar

T = TypeVar("T")


class Once(Protocol):
    """Gives what `call` gives; `name`: what that is, `given`: all that it depends on, compared by `==`."""

    def __call__(self, name: Hashable, given: tuple[Any, ...], call: Callable[[], T]) -> T:
        """The same as `call()`."""
        ...


def anew(name: Hashable, given: tuple[Any, ...], call: Callable[[], T]) -> T:
    """Remember nothing: every call is made."""
    return call()


class Memory:
    """Remembers the last result by name. What was raised is not remembered."""

    def __init__(self) -> None:
        self._held: dict[Hashable, tuple[tuple[Any, ...], Any]] = {}

    def once(self, name: Hashable, given: tuple[Any, ...], call: Callable[[], T]) -> T:
        """What `call` gave when it was last made for this name, if it was given the same."""
        held = self._held.get(name)
        if held is not None and held[0] == given:
            result: T = held[1]
            return result
        result = call()
        self._held[name] = (given, result)
        return result


def stamp(path: Path) -> tuple[int, ...]:
    """What tells a file from the one that was there before without reading it; () where there is none."""
    try:
        found = path.stat()
    except OSError:
        return ()
    return (found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)


def stamps(folder: Path) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """The stamps of all files of a folder and those within it, in order of their names."""
    return tuple((str(path.relative_to(folder)), stamp(path)) for path in sorted(folder.rglob("*")) if path.is_file())
