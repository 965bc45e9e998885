"""The process that fills in a session's own templates, under limits set before the first text.

It receives the settings on its standard input, then pickled requests, which come from this program; it answers with a
kind, a length and plain bytes.
"""

from __future__ import annotations

import gc
import json
import math
import os
import pickle
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from contextlib import contextmanager
from pathlib import Path
from queue import Queue
from threading import Thread
from typing import Any, BinaryIO

import jinja2
from jinja2.exceptions import SecurityError

from reviewkit.model import path_checks
from reviewkit.model.errors import Fault, shortened
from reviewkit.render.pages import page_policy
from reviewkit.render.pages.own_templates import FAULT, HEAD, MEMORY_IS_LIMITED, READY, TEXT, Limits, template_source
from reviewkit.render.pages.template_environment import make_environment

LARGEST_BYTES = 250_000
LONGEST_WORDS = 4000  # of one text from words/: spoken text is counted word by word
_LONGEST_NAME, _LONGEST_MESSAGE = 200, 1000  # characters
_CPU_GRACE_S = 3


class TooLong(Exception):
    """Error for a text that takes too long."""


class Refused(SecurityError):
    """A file that mustn't be read, or a text that mustn't be delivered; `source`: the file to name."""

    def __init__(self, source: str, message: str) -> None:
        super().__init__(message)
        self.source = source


_AT_FAULT = (
    *(jinja2.TemplateError, TypeError, ValueError, AttributeError, LookupError, ArithmeticError),
    *(AssertionError, MemoryError, OSError, RuntimeError, SyntaxError, TooLong),
)
_NO_FILE = "put a file in its place, or remove it"
_FLAWS = {
    path_checks.OUTSIDE: "leads outside the session's folder; copy the file into it",
    path_checks.ABSENT: f"is a link to nothing; {_NO_FILE}",
}


class OwnLoader(jinja2.FileSystemLoader):
    """A loader for the templates of a session's folder, never cached in compiled form.

    Refuses whatever leads outside the folder or isn't a file.
    """

    def __init__(self, own: Path) -> None:
        super().__init__(own)
        self._own = own

    def load(
        self, environment: jinja2.Environment, name: str, globals: MutableMapping[str, Any] | None = None
    ) -> jinja2.Template:
        """Return a template, compiled from its text.

        Raises
        ------
        TemplateNotFound, Refused
            As `get_source` does.
        TemplateSyntaxError
            If the text isn't a template.
        """
        text, place, is_current = self.get_source(environment, name)
        code = environment.compile(text, name, place)
        return environment.template_class.from_code(environment, code, globals or {}, is_current)

    def get_source(self, environment: jinja2.Environment, template: str) -> tuple[str, str, Callable[[], bool]]:
        """Return a template's text, its place and a check of whether it is current.

        Raises
        ------
        TemplateNotFound
            If neither the user nor the program has it.
        Refused
            If the user's own is outside the session, in a linked folder, or too long.
        """
        place = self._own.joinpath(*jinja2.loaders.split_template_path(template))
        if "\0" not in template and path_checks.is_there(place):
            flaw = path_checks.flaw(self._own.parent, str(place.relative_to(self._own.parent)))
            folders = place.relative_to(self._own).parents
            why = ""
            if flaw:
                why = _FLAWS.get(flaw, f"{flaw}; {_NO_FILE}")
            elif any((self._own / folder).is_symlink() for folder in folders if folder.name):
                why = "lies in a folder that is a link; put the folder itself in its place"
            elif place.stat().st_size > LARGEST_BYTES:
                why = f"is over {LARGEST_BYTES // 1000} kB, which no template needs; shorten it"
            if why:
                raise Refused(f"templates/{template}", why)
        return super().get_source(environment, template)


def serve() -> None:
    """Fill in templates until the input ends."""
    answers, sys.stdout = sys.stdout.buffer, sys.stderr  # nothing printed may get between the answers
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that started this one ends it
    own, shipped, compiled_in, limits = pickle.load(sys.stdin.buffer)
    requests: Queue[tuple[str, str, Any]] = Queue()
    Thread(target=_receive, args=(requests,), daemon=True).start()
    filler = _Filler(own, shipped, compiled_in, limits)
    _limit_memory(limits.memory)
    _send(answers, READY, b"")
    while True:
        _send(answers, *filler.answer(*requests.get()))


def _receive(requests: Queue[tuple[str, str, Any]]) -> None:
    """Receive requests. When the input or the other process ends, end this process whatever it is doing."""
    try:
        while True:
            requests.put(pickle.load(sys.stdin.buffer))
    finally:
        os._exit(0)


def _send(answers: BinaryIO, kind: bytes, content: bytes) -> None:
    answers.write(HEAD.pack(kind, len(content)))
    answers.write(content)
    answers.flush()


def _limit_memory(memory: int) -> None:
    """Limit the memory that this process may use from here on, and forbid writing files."""
    if sys.platform == "win32":
        return
    import resource

    _lower(resource.RLIMIT_CORE, 0)
    _lower(resource.RLIMIT_FSIZE, 0)
    if MEMORY_IS_LIMITED:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        _lower(resource.RLIMIT_AS, pages * resource.getpagesize() + memory)


def _lower(what: int, most: int) -> None:
    import resource

    hard = resource.getrlimit(what)[1]
    resource.setrlimit(what, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))


@contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    """Raise TooLong after a time.

    Nothing can be raised during a call that never returns to the interpreter: if nobody ends the process then, the
    system does.
    """
    if sys.platform == "win32":
        yield
        return
    import resource

    def stop(*_: object) -> None:
        raise TooLong

    _lower(resource.RLIMIT_CPU, math.ceil(time.process_time() + seconds) + _CPU_GRACE_S)
    signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


class _Filler:
    """Fills in templates, and reports what is wrong with them."""

    def __init__(self, own: Path, shipped: Path, compiled_in: Path | None, limits: Limits) -> None:
        self._own, self._shipped, self._limits = own, shipped, limits
        self._environment = make_environment(shipped, compiled_in, OwnLoader(own))
        names = jinja2.FileSystemLoader(shipped).list_templates()
        replaced = {name for name in names if path_checks.is_there(own / name)}
        self._has_own_pages = any(name.endswith(".html") for name in replaced)
        if compiled_in:  # later this process can't write files
            for name in names:
                if name not in replaced and name.endswith((".j2", ".html")):
                    self._environment.get_template(name)

    def answer(self, what: str, template: str, given: Any) -> tuple[bytes, bytes]:
        """Return a filled-in template, or its Markdown as HTML, or what is wrong with it."""
        try:
            with _at_most(self._limits.longest_s):
                text = self._html(given) if what == "html" else self._text(template, given)
                return TEXT, self._encoded(template, text)
        except _AT_FAULT as error:
            fault = self._fault(template, error)
        gc.collect()  # memory that the error's traceback refers to
        return FAULT, json.dumps([fault.source, fault.line, shortened(fault.message, _LONGEST_MESSAGE)]).encode()

    def _text(self, template: str, facts: Mapping[str, Any]) -> str:
        """Fill in a template. A page that involves the session's own templates is checked."""
        text = self._environment.get_template(template).render(facts)
        if not self._has_own_pages or not template.endswith(".html"):
            return text
        text = page_policy.guard(text, self._shipped)
        if found := page_policy.find_forbidden(text, self._shipped):
            why = f"makes a {found}; pages show what they carry and run only reviewkit's scripts, so leave it out"
            raise Refused(template_source(self._own, template), why)
        return text

    def _html(self, markdown: str) -> str:
        from reviewkit.render.pages.page import render_markdown

        return render_markdown(markdown)

    def _encoded(self, template: str, text: str) -> bytes:
        content = text.encode()
        if template.startswith("words/") and len(text) > LONGEST_WORDS:
            why = f"makes more than {LONGEST_WORDS:,} characters, which nobody says; make it do less"
            raise Refused(template_source(self._own, template), why)
        if len(content) > self._limits.output:
            why = f"makes more than {self._limits.output // 1_000_000} MB; make it do less"
            raise Refused(template_source(self._own, template), why)
        return content

    def _fault(self, template: str, error: BaseException) -> Fault:
        """Return what is wrong with a template, and where."""
        if isinstance(error, Refused):
            return Fault(error.source, 0, f"{error}")
        if isinstance(error, jinja2.TemplateSyntaxError):
            # in some errors the library gives the path instead of the name
            name = self._named(error.filename or error.name or "") or template
            return Fault(f"templates/{name}", error.lineno, f"{error.message}")
        if isinstance(error, jinja2.TemplateNotFound):
            named = f'"{shortened(error.name, _LONGEST_NAME)}"' if isinstance(error.name, str) else "what it asks for"
            return Fault("templates", 0, f"{named} is not there; a template can include only these folders' files")
        name, line = template_source(self._own, template), 0
        for frame in traceback.extract_tb(error.__traceback__):  # the library rewrites tracebacks to lines of templates
            if own := self._named(frame.filename):
                name, line = f"templates/{own}", frame.lineno or 0
        return Fault(name, line, self._why(error))

    def _named(self, place: str) -> str:
        """Return the name of one of the session's own templates; "" for any other file."""
        return Path(place).relative_to(self._own).as_posix() if Path(place).is_relative_to(self._own) else ""

    def _why(self, error: BaseException) -> str:
        """Return what is wrong and what to do."""
        match error:
            case TooLong():
                return self._limits.too_long
            case MemoryError():
                return self._limits.too_large
            case RecursionError() | SyntaxError():  # SyntaxError is what Python raises for loops nested too deeply
                return "this template includes itself, or goes too deep; leave that include, call or loop out"
            case UnicodeDecodeError():
                return "this template, or one that it includes, is not UTF-8; save it as UTF-8"
            case UnicodeEncodeError():
                return "this template makes characters that Unicode does not have; write them as they are"
            case SecurityError():
                remedy = "leave it out"
            case _:
                remedy = "see the shipped template for the names it may use"
        return f"{error}".rstrip(".") + f"; {remedy}"
