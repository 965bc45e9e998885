"""Work shared among processes: this one and, if it pays, others that end with it."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from importlib import import_module
from multiprocessing import active_children, get_context, parent_process
from multiprocessing.process import BaseProcess
from threading import Thread
from types import ModuleType, TracebackType
from typing import Any, Generic, TypeVar

_BEGUN_FOR_EACH = 2  # calls handed to each other process, so that it doesn't wait for this one
T = TypeVar("T")
_SAFE_PATH = "PYTHONSAFEPATH"

MOST_PAYING = 4  # processes for one session: each spends half a second on imports before it draws its first card
LEAST_CALLS = 8  # fewer are done here before another process has started
# No threads for linear algebra in any process: nothing here needs them, and starting them costs time.
_SINGLE_THREADED = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


class Pool:
    """A group of up to `processes` processes, this one included, for use in a `with`.

    The others are new interpreters: forking a process with threads isn't safe. Which process makes a call is left to
    chance; the results are the same. If a call's process was killed, the call is made here.
    """

    def __init__(self, processes: int) -> None:
        self._beside = processes - 1
        self._executor: ProcessPoolExecutor | None = None
        self._others: set[BaseProcess] = set()  # processes that others of this program have started

    def __enter__(self) -> Pool:
        for name, value in _SINGLE_THREADED.items():
            os.environ.setdefault(name, value)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._executor is not None:
            for process in set(active_children()) - self._others:
                process.kill()  # a regular shutdown would take as long as drawing several cards
            self._executor.shutdown()

    def load(self, modules: Sequence[str], *, start: bool = True) -> None:
        """Let the other processes import modules as soon as they are free.

        They are started if there are to be any and `start` is set.
        """
        if start and self._beside > 0 and self._executor is None:
            self._others = set(active_children())
            with _nothing_from_here():
                self._executor = ProcessPoolExecutor(self._beside, get_context("spawn"), _begin)
                self._load(modules)
        else:
            self._load(modules)

    def _load(self, modules: Sequence[str]) -> None:
        for _ in range(self._beside if self._executor else 0):
            self._submit(_import, (modules,))

    def begin(
        self,
        function: Callable[..., T],
        calls: Sequence[tuple[Any, ...]],
        least: int = LEAST_CALLS,
        ahead: int = _BEGUN_FOR_EACH,
    ) -> Calls[T]:
        """Hand calls of a module's function to the other processes, the longest first, without waiting for them.

        They are started for `least` calls or more, and each gets `ahead` of them at a time.
        """
        if len(calls) >= least:
            self.load(())
        begun = Calls(self, function, calls)
        begun.hand_out(ahead * self._beside)
        return begun

    def _submit(self, function: Callable[..., T], call: tuple[Any, ...]) -> Future[T] | None:
        """Have another process make a call; None if there is none, or all were killed."""
        if self._executor is None:
            return None
        try:
            return self._executor.submit(function, *call)
        except BrokenProcessPool:
            self._executor, self._beside = None, 0
            return None


class Calls(Generic[T]):
    """A set of calls of one function, some of them handed to other processes."""

    def __init__(self, pool: Pool, function: Callable[..., T], calls: Sequence[tuple[Any, ...]]) -> None:
        self._pool, self._function, self._calls = pool, function, calls
        self._waiting = deque(range(len(calls)))
        self._begun: dict[Future[T], int] = {}

    def hand_out(self, most: int) -> None:
        """Hand out calls until that many are with other processes; one is left for this process.

        The others get the longest: they have imported what it needs, and this one may still have to.
        """
        while len(self._waiting) > 1 and len(self._begun) < most:
            future = self._pool._submit(self._function, self._calls[self._waiting[0]])
            if future is None:
                return
            self._begun[future] = self._waiting.popleft()

    def results(self, progress: Callable[[int], None] = lambda done: None) -> list[T]:
        """Return what the calls give, in their order; this process makes its share of them. `progress` is given how
        many are done. Raises what the function raises.
        """
        results: dict[int, T] = {}
        while self._waiting or self._begun:
            self.hand_out(_BEGUN_FOR_EACH * self._pool._beside)
            if self._waiting:
                number = self._waiting.popleft()
                results[number] = self._function(*self._calls[number])
            for future in wait(self._begun, 0 if self._waiting else None, FIRST_COMPLETED).done:
                number = self._begun.pop(future)
                results[number] = _result(future, self._function, self._calls[number])
            progress(len(results))
        return [results[number] for number in range(len(self._calls))]


ALONE = Pool(1)  # this process only; it doesn't need closing


@contextmanager
def _nothing_from_here() -> Iterator[None]:
    """Keep new processes from importing what is in the current folder, which may be a stranger's session, and from
    running the script that this process was started with.
    """
    main, path = sys.modules["__main__"], os.environ.get(_SAFE_PATH)
    sys.modules["__main__"], os.environ[_SAFE_PATH] = ModuleType("__main__"), "1"
    try:
        yield
    finally:
        sys.modules["__main__"] = main
        if path is None:
            del os.environ[_SAFE_PATH]
        else:
            os.environ[_SAFE_PATH] = path


def _result(future: Future[T], function: Callable[..., T], call: tuple[Any, ...]) -> T:
    """Return what another process gave; call the function here if that process was killed."""
    try:
        return future.result()
    except BrokenProcessPool:
        return function(*call)


def paying(sessions: int = 1) -> int:
    """Return how many processes pay off on this machine, this one included."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, MOST_PAYING if sessions == 1 else sessions)


def _begin() -> None:
    """Prepare a worker: it leaves Ctrl-C to the process that started it, and ends with that process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.disable()  # as in the process that started it
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


def _import(modules: Sequence[str]) -> None:
    for module in modules:
        import_module(module)
