"""Text and pages from an Episode, through the templates. The only module that imports markdown and nh3."""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reviewkit.model import path_checks, quantities
from reviewkit.model.episode import Chapter
from reviewkit.model.finding import Finding, Point
from reviewkit.model.finding_conditions import conditions_of
from reviewkit.model.gear import Gear
from reviewkit.model.sound import PlayedSound
from reviewkit.render.pages.own_templates import Limits, OwnTemplates
from reviewkit.verdict.repair_points import READINGS

if TYPE_CHECKING:
    import jinja2

_FORMS = ("question", "answer", "fault", "repair")  # of a title
_SIDES = {"L": "left", "R": "right", "L>R": "left into right", "R>L": "right into left", "both": "both", "": ""}


class Pages:
    """The shipped templates, each replaceable by the session's own of the same name.

    Parameters
    ----------
    own : Path
        Folder of the session's templates.
    shipped : Path
        Folder of the shipped templates.
    compiled_in : Path, optional
        Folder for the compiled shipped templates.
    limits : Limits, optional
        Limits for a text from the session's own templates.
    """

    def __init__(self, own: Path, shipped: Path, compiled_in: Path | None = None, limits: Limits | None = None) -> None:
        self._own, self._shipped, self._compiled_in = Path(os.path.normpath(own)), shipped, compiled_in
        self._own_templates = OwnTemplates(self._own, shipped, compiled_in, limits or Limits())

    @cached_property
    def _has_own(self) -> bool:
        """Tell whether the session replaces any template. A folder that leads outside the session doesn't count."""
        own = self._own
        if own == self._shipped or path_checks.is_outside(own.parent, own.name) or not own.is_dir():
            return False
        shipped = (path.relative_to(self._shipped) for path in self._shipped.rglob("*") if path.is_file())
        return any(path_checks.is_there(own / name) for name in shipped)

    def has_own(self, template: str) -> bool:
        """Tell whether the session replaces a template."""
        return self._has_own and path_checks.is_there(self._own / template)

    @cached_property
    def _environment(self) -> jinja2.Environment:
        from reviewkit.render.pages.template_environment import make_environment

        return make_environment(self._shipped, self._compiled_in)

    def compile_titles(self, kinds: Iterable[str]) -> None:
        """Compile the shipped templates that word the titles of kinds' cards, so that composing needn't wait for it."""
        for name in dict.fromkeys(("titles", "cards", *kinds)):
            self._environment.get_template(f"words/{name}.j2")

    def text(self, template: str, **facts: Any) -> str:
        """Fill in a template with its variables.

        Raises
        ------
        InputError
            Naming template, line and variable, if one of the session's own is at fault.
        """
        if self._has_own:
            return self._own_templates.text(template, facts)
        return self._environment.get_template(template).render(facts)

    def html(self, template: str, markdown_text: str) -> str:
        """Convert the Markdown from a template to HTML.

        Raises
        ------
        InputError
            As `text` does.
        """
        return self._own_templates.html(template, markdown_text) if self._has_own else render_markdown(markdown_text)

    def sentences(self, point: Point, *, loads_differ: bool = False) -> list[str]:
        """Return the sentences for a fact, from its kind's file in templates/words/.

        `loads_differ`: whether its card has runs into different loads, so that a sentence has to name its own.
        """
        text = self.text(f"words/{point.kind}.j2", name=point.name, loads_differ=loads_differ, **point.facts)
        return [line.strip() for line in re.sub(r"[ \t]+", " ", text).splitlines() if line.strip()]

    def kind_words(self, kind: str, name: str, **facts: Any) -> str:
        """Return what a kind's file in templates/words/ says under a name for other templates to use.

        That is always the shipped file: the session's own needs to have sentences only.
        """
        return self._environment.get_template(f"words/{kind}.j2").render(name=name, **facts)

    def title_words(self, finding: Point) -> dict[str, str]:
        """Return a kind's words for a card's title: its `question`; `answer`, `fault` and `repair` if it has them."""
        facts = {key: finding.facts.get(key) for key in ("channel", "settings", "figure", "only_there", "counts")}
        words = _by_topic(self.kind_words(finding.facts["kind"], "titles", **facts))
        picture = f"{finding.facts['picture']} ".lstrip()
        return {form: words[f"{picture}{form}"][0] for form in _FORMS if f"{picture}{form}" in words}

    def cautions(
        self, *, repaired: bool = True, gear: Gear | None = None, work: Collection[str] = (READINGS,)
    ) -> dict[str, list[str]]:
        """Return the cautions by topic, from the lines `topic: sentence` of templates/words/cautions.j2.

        `gear`: those of its type, too; without one, those of an amplifier. `work`: see `repair_points.kinds_of_work`.
        """
        return _by_topic(self.text("words/cautions.j2", repaired=repaired, gear=gear, work=work))

    def chapter_titles(self, facts: Mapping[str, Any]) -> dict[str, str]:
        """Return the chapters' titles by segment, from the lines `name: title` of templates/words/chapters.j2."""
        found = _by_topic(self.text("words/chapters.j2", **facts))
        return {name: " ".join(titles) for name, titles in found.items()}

    def sound_words(self, sound: PlayedSound) -> dict[str, str]:
        """Return what is written of a sound, from the lines `name: words` of templates/words/sound.j2."""
        text = self.text("words/sound.j2", matched_by=sound.matched_by, tone_hz=sound.tone_hz)
        return {name: " ".join(words) for name, words in _by_topic(text).items()}


def _by_topic(text: str) -> dict[str, list[str]]:
    """Return the lines `topic: sentence` of a text by their topic."""
    found: dict[str, list[str]] = {}
    for line in text.splitlines():
        topic, mark, sentence = line.partition(":")
        if mark and sentence.strip():
            found.setdefault(topic.strip(), []).append(sentence.strip())
    return found


def render_markdown(markdown_text: str) -> str:
    """Convert Markdown to HTML without scripts, styles or links with other schemes."""
    import markdown
    import nh3

    html = markdown.markdown(markdown_text, extensions=["tables"], output_format="html")
    attributes = {tag: set(names) for tag, names in nh3.ALLOWED_ATTRIBUTES.items()}
    # column alignment is in a style attribute, which the cleaner removes: the page's own style sheet aligns
    return nh3.clean(html, attributes=attributes)


def format_web_vtt(chapters: Sequence[Chapter], end_s: float, note: str) -> str:
    """Format chapters as W3C WebVTT: consecutive cues, `&` and `<` escaped, three digits of milliseconds."""
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
    """Return findings as rows of a page: quantity, channel, figure, conditions, measurement."""
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
