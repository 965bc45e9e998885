"""Cards drawn in several processes: this one, and others that get ready while it is still reading files."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from threading import Thread
from types import TracebackType
from typing import TYPE_CHECKING

from reviewkit.model import Card
from reviewkit.render.card import LayoutFault, Order, pictures
from reviewkit.render.paint import load

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess

Drawn = dict[str, bytes] | str  # its pictures by kind, or why the card cannot be laid out


class Workers:
    """Processes that draw beside this one; to be used in a `with`, and ended at its end whatever happens there.

    They are spawned: forking a process that holds threads is not safe. A new interpreter takes as long to begin as
    a few cards to be drawn, so they are begun before there is anything to draw. Which process draws a card is left
    to chance; the bytes are the same.
    """

    def __init__(self, beside: int) -> None:
        self._beside = beside
        self._ends: list[tuple[Connection, Connection]] = []  # to a worker, and from it
        self._processes: list[SpawnProcess] = []

    def __enter__(self) -> Workers:
        if not self._beside:
            return self
        from multiprocessing import get_context

        context = get_context("spawn")
        with _single_threaded_numbers():
            for _ in range(self._beside):
                # two pipes for one way each: one for both ways would be a socket, and nothing here needs one
                tasks, hand_out = context.Pipe(duplex=False)
                take_in, results = context.Pipe(duplex=False)
                process = context.Process(target=_work, args=(tasks, results), daemon=True)
                process.start()
                tasks.close()
                results.close()  # so that the worker's ends close with the worker
                self._ends.append((hand_out, take_in))
                self._processes.append(process)
        Thread(target=load, daemon=True).start()  # this process, too, while it waits for files
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        for process, ends in zip(self._processes, self._ends, strict=True):
            process.terminate()
            process.join()
            for end in ends:
                end.close()

    def draw(self, cards: Sequence[Card], order: Order, progress: Callable[[int], None]) -> list[Drawn]:
        """Every card's pictures, in the order given. `progress` is told how many are done."""
        drawn: dict[int, Drawn] = {}
        waiting = deque(range(len(cards)))

        def hand_out(tasks: Connection, results: Connection) -> None:
            for index in _taken(waiting):
                try:
                    tasks.send((cards[index], order))
                    drawn[index] = results.recv()
                except (EOFError, OSError):  # the worker was ended from outside: its card is drawn by another
                    waiting.append(index)
                    return

        threads = [Thread(target=hand_out, args=ends, daemon=True) for ends in self._ends]
        for thread in threads:
            thread.start()
        while len(drawn) < len(cards):
            for index in _taken(waiting):
                drawn[index] = _drawn(cards[index], order)
                progress(len(drawn))
            for thread in threads:
                thread.join()
        progress(len(drawn))
        return [drawn[index] for index in range(len(cards))]


def _taken(waiting: deque[int]) -> Iterator[int]:
    """What is still waiting, one at a time; several may take from it at once."""
    while True:
        try:
            yield waiting.popleft()
        except IndexError:
            return


def _drawn(card: Card, order: Order) -> Drawn:
    try:
        return pictures(card, order)
    except LayoutFault as fault:
        return str(fault)


def _work(tasks: Connection, results: Connection) -> None:
    """What a worker does until its ends are closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that began this one ends it
    from reviewkit.render.paint import get_ready

    get_ready()
    try:
        while True:
            results.send(_drawn(*tasks.recv()))
    except (EOFError, OSError):
        return


@contextmanager
def _single_threaded_numbers() -> Iterator[None]:
    """Processes begun here have no threads for linear algebra: nothing they do needs them, and they cost time."""
    names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(dict.fromkeys(names, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
