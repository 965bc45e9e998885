"""What was worked out before, for as long as what it was worked out from is the same."""

from __future__ import annotations

from collections.abc import Callable, Hashable
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


class Holding(Protocol):
    """Results of an earlier build, by name and by all that they depend on."""

    def holds(self, name: Hashable, given: tuple[Any, ...]) -> bool:
        """Whether `once` has nothing to call."""
        ...

    def once(self, name: Hashable, given: tuple[Any, ...], call: Callable[[], T]) -> T:
        """See `Once`."""
        ...


class _Nothing:
    def holds(self, name: Hashable, given: tuple[Any, ...]) -> bool:
        return False

    def once(self, name: Hashable, given: tuple[Any, ...], call: Callable[[], T]) -> T:
        return call()


NOTHING: Holding = _Nothing()


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
