"""A session's own templates, which may come from a stranger: a separate process fills them in.

The template library's sandbox keeps a template from files and modules, but limits neither its time nor its memory. So
this process keeps the time, ends the other one if a text takes too long, and accepts nothing from it but plain data of
limited length.
"""

from __future__ import annotations

import json
import pickle
import struct
import subprocess
import sys
import time
import weakref
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, Queue
from threading import Lock, Thread
from typing import Any

from reviewkit.model.errors import CannotFinish, Fault, InputError

HEAD = struct.Struct(">cQ")  # an answer's kind, and its length in bytes
READY, TEXT, FAULT = b"R", b"T", b"F"
MEMORY_IS_LIMITED = sys.platform == "linux"  # by the system; otherwise this process watches
UNKNOWN = "needs more time or memory than a page may take, or goes too deep; make it do less"
_LONGEST_START_S = 60.0
_GRACE_S = 1.0  # the child stops by itself when the time is over, and reports the line if it can
_LOOK_AGAIN_S = 0.05
_LONGEST_FAULT = 10_000  # bytes
_PROGRAM = """import sys
sys.path[:] = sys.argv[1:]
from reviewkit.render.pages.template_child import serve
serve()
"""


@dataclass(frozen=True)
class Limits:
    """Limits for one text: seconds, and bytes of memory and of the text itself."""

    longest_s: float = 10.0
    memory: int = 512_000_000  # more than the child takes before the first text
    output: int = 60_000_000

    @property
    def too_long(self) -> str:
        """Return the fault of a template that takes too long."""
        return f"takes longer than {self.longest_s:g} s; make it do less"

    @property
    def too_large(self) -> str:
        """Return the fault of a template that takes too much memory."""
        return f"takes more than {self.memory // 1_000_000} MB of memory; make it do less"


def template_source(own: Path, template: str) -> str:
    """Return the file to name in a fault if only the requested template is known."""
    return f"templates/{template}" if (own / template).is_file() else "templates"


class OwnTemplates:
    """The templates of a session that brings its own, filled in by a child process.

    The child starts with the first text, restarts after a text that it didn't survive, and ends with this object or
    this process.
    """

    def __init__(self, own: Path, shipped: Path, compiled_in: Path | None, limits: Limits) -> None:
        self._settings = pickle.dumps((own, shipped, compiled_in, limits))
        self._own, self._limits = own, limits
        self._lock = Lock()
        self._child: _Child | None = None

    def text(self, template: str, facts: Mapping[str, Any]) -> str:
        """Fill in a template with its variables.

        Raises
        ------
        InputError
            Naming template and line, if a template is at fault.
        CannotFinish
            If no child can be started.
        """
        return self._ask("text", template, facts)

    def html(self, template: str, markdown: str) -> str:
        """Convert the Markdown from a template to HTML.

        Raises
        ------
        InputError, CannotFinish
            As `text` does.
        """
        return self._ask("html", template, markdown)

    def _ask(self, what: str, template: str, given: Mapping[str, Any] | str) -> str:
        request = pickle.dumps((what, template, given), pickle.HIGHEST_PROTOCOL)
        with self._lock:
            child = self._running()
            try:
                child.wait_until_ready(_LONGEST_START_S)
            except _Ended as error:
                raise CannotFinish("the process for the session's own templates did not start; try again") from error
            try:
                kind, content = child.ask(request, self._limits.longest_s + _GRACE_S)
                if kind == TEXT:
                    return content.decode()
                name, line, message = json.loads(content)
                fault = Fault(str(name), int(line), str(message))
            except (_Ended, ValueError, TypeError) as error:
                child.end()
                fault = Fault(
                    template_source(self._own, template), 0, str(error) if isinstance(error, _Ended) else UNKNOWN
                )
        raise InputError(fault)

    def _running(self) -> _Child:
        if self._child is None or not self._child.end.alive:
            self._child = _Child(self._settings, self._limits)
        return self._child


class _Ended(Exception):
    """The end of a child by itself or by force; the message says why."""


class _Child:
    """A process that fills in templates. `end` ends it."""

    def __init__(self, settings: bytes, limits: Limits) -> None:
        self._limits, self._is_ready, self._memory_before = limits, False, 0
        self._process = subprocess.Popen(
            [sys.executable, "-c", _PROGRAM, *sys.path],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self.end = weakref.finalize(self, _end, self._process)
        assert self._process.stdin
        with suppress(OSError):  # a child that has ended won't answer
            self._process.stdin.write(settings)
            self._process.stdin.flush()

    def wait_until_ready(self, longest_s: float) -> None:
        """Wait until the child accepts requests. Raises _Ended."""
        if not self._is_ready:
            self.ask(b"", longest_s)
            self._is_ready, self._memory_before = True, self._memory()

    def ask(self, request: bytes, longest_s: float) -> tuple[bytes, bytes]:
        """Return the kind of the child's answer, and the answer. Raises _Ended."""
        answers: Queue[tuple[bytes, bytes] | None] = Queue()
        Thread(target=lambda: answers.put(_exchange(self._process, request, self._limits)), daemon=True).start()
        until = time.monotonic() + longest_s
        why = UNKNOWN
        while True:
            with suppress(Empty):
                if answer := answers.get(timeout=_LOOK_AGAIN_S):
                    return answer
                self.end()
                raise _Ended(why)
            if time.monotonic() > until:
                why = self._limits.too_long
                self._process.kill()
            elif self._memory_before and self._memory() > self._memory_before + self._limits.memory:
                why = self._limits.too_large
                self._process.kill()

    def _memory(self) -> int:
        """Return the bytes of memory that the child uses; 0 if the system limits them."""
        if MEMORY_IS_LIMITED:
            return 0
        import psutil

        with suppress(psutil.Error):
            return int(psutil.Process(self._process.pid).memory_info().rss)
        return 0


def _exchange(process: subprocess.Popen[bytes], request: bytes, limits: Limits) -> tuple[bytes, bytes] | None:
    """Send a request and return the answer; None if there is none or it is too long to read."""
    assert process.stdin
    assert process.stdout
    try:
        process.stdin.write(request)
        process.stdin.flush()
        kind, length = HEAD.unpack(process.stdout.read(HEAD.size))
        if length > (limits.output if kind == TEXT else _LONGEST_FAULT):
            return None
        content = process.stdout.read(length)
    except (OSError, ValueError, struct.error):
        return None
    return (kind, content) if len(content) == length else None


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()
    for pipe in filter(None, (process.stdin, process.stdout)):
        with suppress(OSError):  # what was not read before the process ended
            pipe.close()
