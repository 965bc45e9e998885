"""Event streams: what open pages listen to."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager

_STILL_THERE_S = 10.0  # interval of empty events, by which a listener that is gone is noticed


class Streams:
    """The event streams of open pages. Its methods may be called from any thread, except `listen`."""

    def __init__(self) -> None:
        self.open = 0
        self._latest = ""
        self._closing = False
        self._wake: dict[asyncio.Event, asyncio.AbstractEventLoop] = {}

    def send(self, data: str) -> None:
        """Send an event to all."""
        self._latest = data
        self._stir()

    def close(self) -> None:
        """End all streams."""
        self._closing = True
        self._stir()

    def _stir(self) -> None:
        for event, loop in list(self._wake.items()):
            if not loop.is_closed():
                loop.call_soon_threadsafe(event.set)

    async def listen(self) -> AsyncIterator[str]:
        """Return the latest event immediately, then each as it happens; of several at once, the last."""
        with self._listener() as news:
            while not self._closing:
                news.clear()
                yield f"data: {self._latest}\n\n" if self._latest else ": nothing yet\n\n"
                while not self._closing and not news.is_set():
                    try:
                        await asyncio.wait_for(news.wait(), _STILL_THERE_S)
                    except TimeoutError:
                        yield ": still here\n\n"

    @contextmanager
    def _listener(self) -> Iterator[asyncio.Event]:
        news = asyncio.Event()
        self._wake[news] = asyncio.get_running_loop()
        self.open += 1
        try:
            yield news
        finally:
            del self._wake[news]
            self.open -= 1
