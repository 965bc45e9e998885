"""An Episode → text and pages, through the templates. The only file that imports markdown and nh3."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import markdown
import nh3

from reviewkit.model import inside, quantities
from reviewkit.model.episode import Chapter
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.finding import Finding, Point
from reviewkit.model.finding_conditions import conditions_of
from reviewkit.render.pages import page_policy
from reviewkit.render.pages.own_templates import Limits, OwnTemplates

if TYPE_CHECKING:
    import jinja2

SERVED = page_policy.SERVED
LONGEST_DESCRIPTION = 5000
LONGEST_COMMENT = 10_000  # what video platforms take in a comment (common practice, no source)
MOST_CORRECTIONS = 12  # named one by one in a comment; the page has all figures
_SIDES = {"L": "left", "R": "right", "L>R": "left into right", "R>L": "right into left", "both": "both", "": ""}


class Pages:
    """The shipped templates, each replaceable by the session's own of the same name.

    `compiled_in`: where the shipped ones are kept compiled; `limits`: what a text from the session's own may take.
    """

    def __init__(self, own: Path, shipped: Path, compiled_in: Path | None = None, limits: Limits | None = None) -> None:
        self._own, self._shipped, self._compiled_in = Path(os.path.normpath(own)), shipped, compiled_in
        self._own_templates = OwnTemplates(self._own, shipped, compiled_in, limits or Limits())

    @cached_property
    def _has_own(self) -> bool:
        """Whether the session replaces any template. It does not where the folder is another's."""
        own = self._own
        if own == self._shipped or inside.is_outside(own.parent, own.name) or not own.is_dir():
            return False
        shipped = (path.relative_to(self._shipped) for path in self._shipped.rglob("*") if path.is_file())
        return any(inside.is_there(own / name) for name in shipped)

    @cached_property
    def _environment(self) -> jinja2.Environment:
        from reviewkit.render.pages.template_environment import make_environment

        return make_environment(self._shipped, self._compiled_in)

    def get_ready(self) -> None:
        """Compile the shipped templates, or have the process for the session's own do it, so that the first text need
        not wait.
        """
        if self._has_own:
            self._own_templates.start()
            return
        for name in self._environment.list_templates(("j2", "html")):
            self._environment.get_template(name)

    def text(self, template: str, **facts: Any) -> str:
        """Return a template filled in. Raises InputError naming template, line and name where one of the session's own
        is at fault.
        """
        if self._has_own:
            return self._own_templates.text(template, facts)
        return self._environment.get_template(template).render(facts)

    def html(self, template: str, markdown_text: str) -> str:
        """Return the Markdown that a template gave as HTML. Raises InputError, as `text` does."""
        return self._own_templates.html(template, markdown_text) if self._has_own else render_markdown(markdown_text)

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


def render_markdown(markdown_text: str) -> str:
    """Markdown → HTML without anything that runs or loads: script, styles, links with other schemes are removed."""
    html = markdown.markdown(markdown_text, extensions=["tables"], output_format="html")
    attributes = {tag: set(names) for tag, names in nh3.ALLOWED_ATTRIBUTES.items()}
    # column alignment stands in a style attribute, which the cleaner refuses: the page's own style sheet aligns
    return nh3.clean(html, attributes=attributes)


def render_description(pages: Pages, facts: Mapping[str, Any]) -> tuple[str, str]:
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


def render_comment(pages: Pages, facts: Mapping[str, Any]) -> tuple[str, str]:
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


def format_web_vtt(chapters: Sequence[Chapter], end_s: float, note: str) -> str:
    """The chapters as W3C WebVTT: cues that follow one another, `&` and `<` escaped, milliseconds always three
    digits.
    """
    blocks = ["WEBVTT"] + ([f"NOTE {note}"] if note else [])
    ends = [chapter.start_s for chapter in chapters[1:]] + [max(end_s, chapters[-1].start_s + 1 if chapters else end_s)]
    for number, (chapter, stop) in enumerate(zip(chapters, ends, strict=True), start=1):
        title = chapter.title.replace("&", "&amp;").replace("<", "&lt;").replace("-->", "--&gt;")
        blocks.append(f"{number}\n{_format_timestamp(chapter.start_s)} --> {_format_timestamp(stop)}\n{title}")
    return "\n\n".join(blocks) + "\n"


def _format_timestamp(seconds: float) -> str:
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
            conditions_of(f),
            f.measurement,
        )
        for f in findings
    ]
