"""Work shared among processes: this one and, where it pays, others that end with it."""

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
from typing import Any, TypeVar

_BEGUN_FOR_EACH = 2  # calls handed to each other process, so that it need not wait for this one
T = TypeVar("T")
_SAFE_PATH = "PYTHONSAFEPATH"

MOST_PAYING = 4  # processes for one session: each imports for half a second before it draws its first card
LEAST_CALLS = 8  # fewer are done here sooner than another process starts
# No threads for linear algebra in any process: nothing here needs them, and starting them costs time.
_SINGLE_THREADED = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


class Pool:
    """Up to `processes` processes, this one included, for use in a `with`.

    The others are new interpreters: forking a process with threads isn't safe. Which process makes a call is left to
    chance; the results are the same. A call whose process was killed is made here.
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
                process.kill()  # to take an interpreter apart would take as long as drawing several cards
            self._executor.shutdown()

    def start(self, modules: Sequence[str]) -> None:
        """Start the other processes, if there are to be any, and let them import these modules."""
        if self._beside > 0 and self._executor is None:
            self._others = set(active_children())
            with _nothing_from_here():
                self._executor = ProcessPoolExecutor(self._beside, get_context("spawn"), _begin)
                for _ in range(self._beside):
                    self._executor.submit(_import, modules)

    def run(
        self,
        function: Callable[..., T],
        calls: Sequence[tuple[Any, ...]],
        progress: Callable[[int], None] = lambda done: None,
        least: int = LEAST_CALLS,
    ) -> list[T]:
        """Return what a function of a module gives for each of several arguments, in their order. The longest calls
        belong first. `progress` is given how many are done; the other processes are started for `least` calls or more.
        Raises what the function raises.
        """
        if len(calls) >= least:
            self.start(())
        waiting, begun = deque(range(len(calls))), dict[Future[T], int]()
        results: dict[int, T] = {}
        while waiting or begun:
            while waiting and self._executor and len(begun) < _BEGUN_FOR_EACH * self._beside:
                future = self._submit(function, calls[waiting[0]])
                if future:
                    begun[future] = waiting.popleft()
            if waiting:
                number = waiting.popleft()
                results[number] = function(*calls[number])
            for future in wait(begun, None if not waiting else 0, FIRST_COMPLETED).done:
                number = begun.pop(future)
                results[number] = _result(future, function, calls[number])
            progress(len(results))
        return [results[number] for number in range(len(calls))]

    def _submit(self, function: Callable[..., T], call: tuple[Any, ...]) -> Future[T] | None:
        """Have a call made by another process; None, and no other processes from now on, if they were killed."""
        assert self._executor is not None
        try:
            return self._executor.submit(function, *call)
        except BrokenProcessPool:
            self._executor, self._beside = None, 0
            return None


ALONE = Pool(1)  # this process only; it need not be closed


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
    """What another process gave; made here if that process was killed."""
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
