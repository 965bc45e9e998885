"""Files whose making processes share: made, or taken from the cache."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reviewkit.build.cache import Cache
from reviewkit.build.plain_data import fingerprint
from reviewkit.build.pool import Calls, Pool
from reviewkit.build.program_digest import program_digest


@dataclass(frozen=True, eq=False)
class Making:
    """A set of files that is being made. `stored`: what was in the cache; `new`: the other names, in the order of their
    `calls`.
    """

    keys: Mapping[str, str]
    stored: Mapping[str, bytes]
    new: Sequence[str]
    calls: Calls[bytes]


def begin_making(
    function: Callable[..., bytes], given: Mapping[str, tuple[Any, ...]], pool: Pool, cache: Cache, also: Any = ()
) -> Making:
    """Have files made by the other processes of a pool, without waiting for them.

    `given`: what a module's function is called with, by the names of the files; `also`: what else they depend on.
    """
    what = f"{function.__module__}.{function.__name__}"
    keys = {name: fingerprint(what, program_digest(), arguments, also) for name, arguments in given.items()}
    stored = {name: content for name, key in keys.items() if (content := cache.read(key)) is not None}
    new = [name for name in keys if name not in stored]
    return Making(keys, stored, new, pool.begin(function, [given[name] for name in new]))


def finish_making(begun: Making, cache: Cache) -> dict[str, bytes]:
    """Return the files by name, in the order in which they were given; this process makes its share."""
    files = {**begun.stored, **dict(zip(begun.new, begun.calls.results(), strict=True))}
    for name in begun.new:
        cache.write(begun.keys[name], files[name])
    return {name: files[name] for name in begun.keys}
