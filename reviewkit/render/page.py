"""An Episode → text and pages, through the templates. The only file that imports jinja2, markdown and nh3."""

from __future__ import annotations

import contextlib
import os
import re
import traceback
from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Any

import jinja2
import markdown
import nh3
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from reviewkit import figures, inside, quantities
from reviewkit.episode import clock
from reviewkit.errors import Fault, InputError
from reviewkit.model import Chapter, Finding, Point
from reviewkit.render import page_policy
from reviewkit.render.compiled import Compiled
from reviewkit.render.own_templates import Bounded, OwnLoader, Refused, TooMuch
from reviewkit.spoken import sentence, words

SERVED = "watch.html"  # never a file: who serves it says what it may do
LONGEST_DESCRIPTION = 5000
LONGEST_COMMENT = 10_000  # what video platforms take in a comment (common practice, no source)
MOST_CORRECTIONS = 12  # named one by one in a comment; the page has all figures
# a backslash takes the meaning from most signs; not every reader of Markdown lets it stand before the last four
_MARKDOWN_SIGNS = str.maketrans(
    {sign: f"\\{sign}" for sign in "\\`*_{}[]|#"} | {"&": "&amp;", "<": "&lt;", ">": "&gt;", "~": "&#126;"}
)


_TAGGED = re.compile(r"<(?=[A-Za-z/!?])")
_LINKED = re.compile(r"\](?=[(:\[])")


class Pages:
    """The templates that travel with the program, each replaceable by the session's own of the same name."""

    def __init__(self, own: Path, travelling: Path) -> None:
        self._own, self._travelling = Path(os.path.normpath(own)), travelling

    @cached_property
    def _own_names(self) -> tuple[str, ...]:
        """The session's own templates."""
        return () if self._own == self._travelling else _names(self._own)

    @cached_property
    def _environment(self) -> ImmutableSandboxedEnvironment:
        """What fills templates in: where some are the session's own, within bounds."""
        settings: dict[str, Any] = {
            "undefined": jinja2.StrictUndefined,
            "autoescape": lambda name: bool(name and name.endswith(".html")),
            "trim_blocks": True,
            "lstrip_blocks": True,
            "keep_trailing_newline": True,
        }
        loader = jinja2.FileSystemLoader(self._travelling)
        environment: ImmutableSandboxedEnvironment
        if self._own_names:
            environment = Bounded(loader=jinja2.ChoiceLoader([OwnLoader(self._own), loader]), **settings)
        else:
            compiled = Compiled(self._travelling)
            environment = ImmutableSandboxedEnvironment(loader=loader, bytecode_cache=compiled, **settings)
        environment.globals["scripts"] = page_policy.scripts(self._travelling)
        environment.filters.update(
            show=quantities.show,
            hertz=quantities.hertz,
            watts=quantities.watts,
            load=quantities.load,
            percent=quantities.percent,
            band=lambda b: quantities.band((b[0], b[1])),
            clock=clock,
            plain=plain_signs,
            spoken=sentence,
            words=words,
            cell=markdown_cell,
            noted=as_noted,
            direction=lambda channel: _SIDES.get(channel, channel),
            under=figures.under,
        )
        return environment

    def get_ready(self) -> None:
        """Compile the templates that travel with the program, so that the first text need not wait for it. What is
        wrong with one is said when it is used.
        """
        for name in self._environment.list_templates(("j2", "html")):
            with contextlib.suppress(*_AT_FAULT):
                self._environment.get_template(name)

    def text(self, template: str, **facts: Any) -> str:
        """A template filled in. Raises InputError naming template, line and name where the template is at fault."""
        if isinstance(self._environment, Bounded):
            self._environment.begin()
        try:
            text = self._environment.get_template(template).render(**facts)
            text.encode()  # a template may write signs that no file can hold
        except Refused as error:
            raise InputError(Fault(f"templates/{error.template}", 0, f"{error.message}")) from None
        except jinja2.TemplateSyntaxError as error:
            # in some of its faults the library gives the path for the name
            name = self._named(error.filename or error.name or "") or template
            raise InputError(Fault(f"templates/{name}", error.lineno, f"{error.message}")) from None
        except jinja2.TemplateNotFound as error:
            named = f'"{error.name}"' if isinstance(error.name, str) else "what it asks for"
            why = f"{named} is not there; a template can include only these folders' files"
            raise InputError(Fault("templates", 0, why)) from None
        except _AT_FAULT as error:
            fault = self._fault(template, error)
            if fault is None:
                raise
            raise InputError(fault) from None
        return self._guarded(template, text)

    def _fault(self, template: str, error: BaseException) -> Fault | None:
        """What is wrong with a template of the session's own, and where; None where none is at fault."""
        place = self._place(template, error)
        if place is None:
            return None
        for kinds, why in _WHY:
            if isinstance(error, kinds):
                return Fault(place[0], place[1], why)
        remedy = "make it do less" if isinstance(error, TooMuch) else "leave it out"
        if not isinstance(error, SecurityError):
            remedy = "see the template that travels with reviewkit for the names it may use"
        return Fault(place[0], place[1], f"{error}".rstrip(".") + f"; {remedy}")

    def _place(self, template: str, error: BaseException) -> tuple[str, int] | None:
        """Which of the session's own templates led to an error, and in which line, from the traceback that jinja2
        rewrites to lines of templates; None where it has none.
        """
        for frame in reversed(traceback.extract_tb(error.__traceback__)):
            if name := self._named(frame.filename):
                return f"templates/{name}", frame.lineno or 0
        if isinstance(self._environment, Bounded):
            return f"templates/{template}" if (self._own / template).is_file() else "templates", 0
        return None

    def _named(self, place: str) -> str:
        """How a template of the session's own is called; "" for any other file."""
        return Path(place).relative_to(self._own).as_posix() if Path(place).is_relative_to(self._own) else ""

    def _guarded(self, template: str, text: str) -> str:
        """A page of which the session's own templates made something, held to what a page may do."""
        own_pages = any(name.endswith(".html") for name in self._own_names)
        if not own_pages or not template.endswith(".html") or template == SERVED:
            return text
        if found := page_policy.forbidden(text, self._travelling):
            own = f"templates/{template}" if (self._own / template).is_file() else "templates"
            why = f"makes a {found}; pages show what they carry and run the scripts of reviewkit alone, so leave it out"
            raise InputError(Fault(own, 0, why))
        return page_policy.guarded(text, self._travelling)

    def sentences(self, point: Point) -> list[str]:
        """What a fact gives to say: the sentences of its kind's file in templates/words/."""
        text = self.text(f"words/{point.kind}.j2", name=point.name, **point.facts)
        return [line.strip() for line in re.sub(r"[ \t]+", " ", text).splitlines() if line.strip()]

    def cautions(self, *, mended: bool = True) -> dict[str, list[str]]:
        """The cautions by topic, from templates/words/cautions.j2: lines `topic: sentence`."""
        found: dict[str, list[str]] = {}
        for line in self.text("words/cautions.j2", mended=mended).splitlines():
            topic, mark, sentence = line.partition(":")
            if mark and sentence.strip():
                found.setdefault(topic.strip(), []).append(sentence.strip())
        return found


_SIDES = {"L": "left", "R": "right", "L>R": "left into right", "R>L": "right into left", "both": "both", "": ""}


_AT_FAULT = (
    *(jinja2.TemplateError, TypeError, ValueError, AttributeError, LookupError, ArithmeticError),
    *(AssertionError, MemoryError, OSError, RuntimeError, SyntaxError),
)
_WHY: tuple[tuple[type[BaseException] | tuple[type[BaseException], ...], str], ...] = (
    (UnicodeDecodeError, "this template, or one that it includes, is not UTF-8; save it as UTF-8"),
    (UnicodeEncodeError, "this template makes signs that are no Unicode; write them as they are"),
    # the last is what Python calls loops that stand too deep in one another
    (
        (RecursionError, MemoryError, SyntaxError),
        "this template includes itself, or goes too deep; leave that include, call or loop out",
    ),
)


def _names(own: Path) -> tuple[str, ...]:
    """The templates of a session's own; none where their folder is another's."""
    if inside.is_outside(own.parent, own.name) or not own.is_dir():
        return ()
    return tuple(path.name for path in own.rglob("*") if path.is_symlink() or not path.is_dir())


def markdown_cell(text: str) -> str:
    """Text as a cell of a Markdown table: its signs lose their meaning."""
    return " ".join(text.split()).translate(_MARKDOWN_SIGNS)


def as_noted(text: str) -> str:
    """Text in Markdown to be read as it was written: where a tag would begin, or a link or picture go on, are signs."""
    return _LINKED.sub(r"\\]", _TAGGED.sub("&lt;", f"{text}"))


def plain_signs(text: str) -> str:
    """Text for a video platform's description, which accepts neither < nor >."""
    return text.replace("<", "‹").replace(">", "›")


def html_of(markdown_text: str) -> str:
    """Markdown → HTML without anything that runs or loads: script, styles, links with other schemes are removed."""
    html = markdown.markdown(markdown_text, extensions=["tables"], output_format="html")
    attributes = {tag: set(names) for tag, names in nh3.ALLOWED_ATTRIBUTES.items()}
    # column alignment stands in a style attribute, which the cleaner refuses: the page's own style sheet aligns
    return nh3.clean(html, attributes=attributes)


def description(pages: Pages, facts: Mapping[str, Any]) -> tuple[str, str]:
    """The description, at most 5,000 characters and bytes, and what was cut to get there ("" where nothing was).

    Cut in this order: the small print of the rows, the equipment, the rows without a rating, all rows.
    """
    cuts = ("", "the rows' small print", "the equipment too", "the unrated figures too", "the whole list too")
    for level, cut in enumerate(cuts):
        text = re.sub(r"\n{3,}", "\n\n", pages.text("description.txt.j2", cut=level, **facts)).strip() + "\n"
        if len(text.encode()) <= LONGEST_DESCRIPTION:
            return text, cut
    raise InputError(
        Fault(
            "session.toml",
            0,
            f"the description is longer than {LONGEST_DESCRIPTION} characters even without its list; "
            "shorten [episode] title or the session's own template",
        )
    )


def comment(pages: Pages, facts: Mapping[str, Any]) -> tuple[str, str]:
    """The full table as a comment to pin, at most LONGEST_COMMENT characters, and what was cut to get there."""
    for level, cut in enumerate(("", "the rows' small print", "the unrated figures too")):
        text = re.sub(
            r"\n{3,}", "\n\n", pages.text("comment.txt.j2", cut=level, most=MOST_CORRECTIONS, **facts)
        ).strip()
        if len(text) < LONGEST_COMMENT:
            return text + "\n", cut
    raise InputError(
        Fault("session.toml", 0, f"the comment to pin is longer than {LONGEST_COMMENT} characters; rate fewer lines")
    )


def web_vtt(chapters: Sequence[Chapter], end_s: float, note: str) -> str:
    """The chapters as W3C WebVTT: cues that follow one another, `&` and `<` escaped, milliseconds always three
    digits.
    """
    blocks = ["WEBVTT"] + ([f"NOTE {note}"] if note else [])
    ends = [chapter.start_s for chapter in chapters[1:]] + [max(end_s, chapters[-1].start_s + 1 if chapters else end_s)]
    for number, (chapter, stop) in enumerate(zip(chapters, ends, strict=True), start=1):
        title = chapter.title.replace("&", "&amp;").replace("<", "&lt;").replace("-->", "--&gt;")
        blocks.append(f"{number}\n{_stamp(chapter.start_s)} --> {_stamp(stop)}\n{title}")
    return "\n\n".join(blocks) + "\n"


def _stamp(seconds: float) -> str:
    thousandths = round(seconds * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def finding_rows(findings: Sequence[Finding]) -> list[tuple[str, str, str, str, str]]:
    """Findings as rows of a page: quantity, channel, figure, what it holds under, measurement."""
    return [
        (
            quantities.quantity_of(f).name,
            _SIDES.get(f.channel, f.channel),
            quantities.show(f),
            figures.under(f),
            f.measurement,
        )
        for f in findings
    ]
