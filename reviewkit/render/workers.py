"""Work done in several processes: this one, and others that import what drawing needs while this one reads files."""

from __future__ import annotations

import gc
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from importlib import import_module
from pathlib import Path
from queue import Empty, Queue
from threading import Event, Thread
from types import TracebackType
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from reviewkit.errors import CannotFinish, InputError
from reviewkit.render.settings_file import refuse_settings

if TYPE_CHECKING:
    from reviewkit.model import Card
    from reviewkit.render.card import Order

T = TypeVar("T")
Drawn = dict[str, bytes | Path] | str  # its pictures by kind, or why the card cannot be laid out

# No threads for linear algebra, in any of the processes: nothing here needs them, and to begin them costs time.
_SINGLE_THREADED = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
# what a worker needs to draw, the dearest first
_FOR_DRAWING = (
    "matplotlib",
    "matplotlib.backends.backend_agg",
    *(
        f"reviewkit.render.{name}"
        for name in ("card", "colour_check", "layout_check", "plot", "rows", "shorter", "strip")
    ),
)
_LOOK_AGAIN_S = 0.05  # whether a worker that has a task is still there
_PROGRAM = """import sys
_, also, *sys.path[:] = sys.argv
from reviewkit.render.workers import _work
_work(*also.split())
"""


class Task(Generic[T]):
    """A call to be made in one of the processes: a function of a module, and what it is called with."""

    def __init__(self, function: Callable[..., T], arguments: tuple[Any, ...]) -> None:
        self.call = (function, arguments)
        self.done = Event()
        self._answer: tuple[bool, Any] = (False, None)

    def answer(self, answer: tuple[bool, Any]) -> None:
        """Take what was returned or raised."""
        self._answer = answer
        self.done.set()

    @property
    def is_good(self) -> bool:
        """Whether the call returned something. To be asked for once `done`."""
        return self._answer[0]

    def result(self) -> T:
        """What the call returned; raises the InputError or CannotFinish that it raised. To be asked for once `done`."""
        good, found = self._answer
        if not good:
            raise found
        result: T = found
        return result


class Workers:
    """Processes that work beside this one; to be used in a `with`, and ended at its end whatever happens there.

    They are new interpreters: forking a process that holds threads is not safe. A new one takes as long to begin as
    many cards to be drawn, so they are begun before anything else. Which process draws a card is left to chance; the
    bytes are the same. `also`: modules to import as well, for the calls that will come, as they have the time.
    """

    def __init__(self, beside: int, also: Sequence[str] = ()) -> None:
        self._beside = beside
        self._also = " ".join(also)
        self._waiting: Queue[Task[Any] | None] = Queue()
        self._processes: list[subprocess.Popen[bytes]] = []
        self._threads: list[Thread] = []

    def __enter__(self) -> Workers:
        refuse_settings()  # the first thing that a process of its own imports would read them
        for name, value in _SINGLE_THREADED.items():
            os.environ.setdefault(name, value)
        for _ in range(self._beside):
            process = subprocess.Popen(
                [sys.executable, "-c", _PROGRAM, self._also, *sys.path],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
            )
            self._processes.append(process)
            self._threads.append(Thread(target=self._hand_out, args=(process,), daemon=True))
            self._threads[-1].start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        for process in self._processes:
            process.kill()
            process.wait()
            self._waiting.put(None)
        for thread in self._threads:
            thread.join()
        for process in self._processes:
            for end in filter(None, (process.stdin, process.stdout)):
                with suppress(OSError):  # what was written to one that is gone
                    end.close()

    def load_beside(self, *calls: Callable[[], None]) -> None:
        """Import what drawing needs in this process, too, while it waits for files, and make these calls; for nothing
        where it is alone.
        """
        if self._beside:
            from reviewkit.render.paint import load

            def all_of_it() -> None:
                for call in (*calls, load):
                    call()

            Thread(target=all_of_it, daemon=True).start()

    def elsewhere(self, call: Callable[[], T]) -> Callable[[], T]:
        """Have a call made by another process, where there is one. Gives a function that waits for what it gives."""
        return partial(self.wait_for, self.begin(call))

    def begin(self, function: Callable[..., T], *arguments: Any) -> Task[T]:
        """Have a call made as soon as a process is free."""
        task = Task(function, arguments)
        self._waiting.put(task)
        return task

    def finish(self, tasks: Sequence[Task[T]], told: Callable[[int], None] = lambda done: None) -> list[T]:
        """What the tasks give, in their order; this process takes its share. `told` is told how many are done.

        Raises the first InputError or CannotFinish that one of them raised.
        """
        for task in tasks:
            while not task.done.is_set():
                if not self._do_one_here():
                    task.done.wait(_LOOK_AGAIN_S)
                told(sum(each.done.is_set() for each in tasks))
        return [task.result() for task in tasks]

    def wait_for(self, task: Task[T]) -> T:
        """What a task gives that another process should do; done here where there is none."""
        while not task.done.is_set():
            if any(thread.is_alive() for thread in self._threads):
                task.done.wait(_LOOK_AGAIN_S)
            else:
                self._do_one_here()
        return task.result()

    def begin_drawing(self, cards: Sequence[Card], order: Order) -> list[Task[Drawn]]:
        """Have every card's pictures drawn, those that take longest first."""
        tasks = [Task(_drawn, (card, order)) for card in cards]
        for task in sorted(tasks, key=lambda task: not task.call[1][0].chart):
            self._waiting.put(task)
        return tasks

    def draw(self, cards: Sequence[Card], order: Order, progress: Callable[[int], None]) -> list[Drawn]:
        """Every card's pictures, in the order given. `progress` is told how many are done."""
        return self.finish(self.begin_drawing(cards, order), progress)

    def _do_one_here(self) -> bool:
        """Make a call that still waits, if one does."""
        try:
            task = self._waiting.get_nowait()
        except Empty:
            return False
        if task is not None:
            task.answer(_called(*task.call))
        return True

    def _hand_out(self, process: subprocess.Popen[bytes]) -> None:
        """Give a worker one task after the other, until all is done or it was ended from outside."""
        assert process.stdin
        assert process.stdout
        while (task := self._waiting.get()) is not None:
            try:
                pickle.dump(task.call, process.stdin, pickle.HIGHEST_PROTOCOL)
                process.stdin.flush()
                task.answer(pickle.load(process.stdout))
            except (EOFError, OSError, pickle.UnpicklingError):  # the worker was ended from outside
                return
            finally:
                if not task.done.is_set():
                    self._waiting.put(task)  # done by another


def _called(function: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[bool, Any]:
    """Whether a call returned, and what it returned, or what it raised that is foreseen."""
    try:
        return True, function(*arguments)
    except (InputError, CannotFinish) as error:
        return False, error


def _drawn(card: Card, order: Order) -> Drawn:
    from reviewkit.render.card import LayoutFault, pictures

    try:
        return pictures(card, order)
    except LayoutFault as fault:
        return str(fault)


def _work(*also: str) -> None:
    """What a worker does until its ends are closed. `also`: modules to import before all else."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that began this one ends it
    answers = sys.stdout.buffer
    sys.stdout = sys.stderr  # what anything prints must not come between the answers
    gc.disable()  # as in the process that began this one
    calls: Queue[Any] = Queue()
    Thread(target=_take_in, args=(calls,), daemon=True).start()

    # one step at a time: files to read come long before cards to draw, and must not wait for what only those need
    steps = iter((*also, *_FOR_DRAWING))
    while True:
        step = next(steps, None)
        if step is not None:
            import_module(step)
        while step is None or not calls.empty():
            call = calls.get()
            if call is None:  # nobody is there any more
                return
            answer = pickle.dumps(_called(*call), pickle.HIGHEST_PROTOCOL)
            with suppress(BrokenPipeError):  # then there is an end to the calls, too
                answers.write(answer)
                answers.flush()


def _take_in(calls: Queue[Any]) -> None:
    """Put what a worker is asked for into its queue, and None when there will be nothing more."""
    while True:
        try:
            calls.put(pickle.load(sys.stdin.buffer))
        except EOFError:
            calls.put(None)
            return
