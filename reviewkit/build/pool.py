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
from threading import RLock, Thread
from types import ModuleType, TracebackType
from typing import Any, Generic, TypeVar

T = TypeVar("T")
_SAFE_PATH = "PYTHONSAFEPATH"

MOST_PAYING = 4  # processes for one session: each spends half a second on imports before it draws its first card
LEAST_CALLS = 8  # fewer are done here before another process has started
# What other processes import while this one reads: for one session's files and cards, and for whole sessions.
FOR_ONE_SESSION = (
    *(f"reviewkit.{name}" for name in ("build.file_results", "measure.tone", "build.drawing")),
    *(f"reviewkit.render.cards.{name}" for name in ("chart", "colour_check", "hero", "layout_check")),
    "matplotlib.backends.backend_agg",
)
FOR_SESSIONS = ("reviewkit.build.build",)
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
        self._imports: list[Future[None]] = []

    def __enter__(self) -> Pool:
        for name, value in _SINGLE_THREADED.items():
            os.environ.setdefault(name, value)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        executor, self._executor = self._executor, None  # no call is handed out any more
        if executor is not None:
            for process in set(active_children()) - self._others:
                process.kill()  # a regular shutdown would take as long as drawing several cards
            executor.shutdown()

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
        begun = [self._submit(_import, (modules,)) for _ in range(self._beside if self._executor else 0)]
        self._imports = [future for future in begun if future is not None]

    def begin(self, function: Callable[..., T], calls: Sequence[tuple[Any, ...]], least: int = LEAST_CALLS) -> Calls[T]:
        """Hand calls of a module's function, the longest first, to the other processes, without waiting for them.

        They are started for `least` calls or more.
        """
        if len(calls) >= least:
            self.load(())
        return Calls(self, function, calls)

    def _submit(self, function: Callable[..., T], call: tuple[Any, ...]) -> Future[T] | None:
        """Have another process make a call; None if there is none, or all were killed."""
        if self._executor is None:
            return None
        try:
            return self._executor.submit(function, *call)
        except RuntimeError:  # they were killed, or the pool is closing
            self._executor, self._beside = None, 0
            return None


class Calls(Generic[T]):
    """A set of calls of one function.

    Another process is given one when its imports are done, and then the next whenever it is done with one; this process
    is quicker until then.
    """

    def __init__(self, pool: Pool, function: Callable[..., T], calls: Sequence[tuple[Any, ...]]) -> None:
        self._pool, self._function, self._calls = pool, function, calls
        self._waiting = deque(range(len(calls)))
        self._begun: dict[Future[T], int] = {}
        self._lock = RLock()  # futures say that they are done in a thread of their own
        for future in pool._imports:
            future.add_done_callback(self._go_on)

    def _hand_out(self) -> None:
        with self._lock:
            while self._waiting and sum(not future.done() for future in self._begun) < self._pool._beside:
                future = self._pool._submit(self._function, self._calls[self._waiting[0]])
                if future is None:
                    return
                self._begun[future] = self._waiting.popleft()
                future.add_done_callback(self._go_on)

    def _go_on(self, done: Future[Any]) -> None:
        if done.exception() is None:  # where processes were killed, whoever reports it holds the executor's own lock
            self._hand_out()

    def _take(self) -> int | None:
        """Return the number of a call that this process is to make; None if all are begun."""
        with self._lock:
            return self._waiting.popleft() if self._waiting else None

    def results(self, progress: Callable[[int], None] = lambda done: None) -> list[T]:
        """Return what the calls give, in their order; this process makes its share of them. `progress` is given how
        many are done. Raises what the function raises.
        """
        results: dict[int, T] = {}
        try:
            while len(results) < len(self._calls):
                number = self._take()
                if number is not None:
                    results[number] = self._function(*self._calls[number])
                for future in wait(list(self._begun), 0 if self._waiting else None, FIRST_COMPLETED).done:
                    with self._lock:
                        number = self._begun.pop(future)
                    results[number] = _result(future, self._function, self._calls[number])
                progress(len(results))
        finally:
            self._waiting.clear()  # after an error nothing more is handed out
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
