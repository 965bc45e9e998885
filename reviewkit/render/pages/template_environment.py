"""The template environment for shipped and own templates alike: the library's settings, and the filters."""

from __future__ import annotations

import re
from pathlib import Path

import jinja2
from jinja2.sandbox import ImmutableSandboxedEnvironment

from reviewkit.episode.episode import format_clock
from reviewkit.model import quantities
from reviewkit.model.finding_conditions import conditions_of, reference_of
from reviewkit.model.spoken import sentence, words
from reviewkit.render.pages import page_policy
from reviewkit.render.pages.template_cache import ProcessCache, TemplateCache

# a backslash escapes most characters; not every Markdown parser accepts it before the last four
_MARKDOWN_SIGNS = str.maketrans(
    {sign: f"\\{sign}" for sign in "\\`*_{}[]|#"} | {"&": "&amp;", "<": "&lt;", ">": "&gt;", "~": "&#126;"}
)
_TAGGED = re.compile(r"<(?=[A-Za-z/!?])")
_LINKED = re.compile(r"\](?=[(:\[])")
_SIDES = {"L": "left", "R": "right", "L>R": "left into right", "R>L": "right into left", "both": "both", "": ""}


def make_environment(
    shipped: Path, compiled_in: Path | None = None, own: jinja2.BaseLoader | None = None
) -> ImmutableSandboxedEnvironment:
    """Create an environment for the templates of a folder.

    Parameters
    ----------
    shipped : Path
        The folder.
    compiled_in : Path, optional
        Folder for the compiled templates.
    own : BaseLoader, optional
        A loader that is asked first.

    Returns
    -------
    ImmutableSandboxedEnvironment
        The environment.
    """
    loader = jinja2.FileSystemLoader(shipped)
    made = ImmutableSandboxedEnvironment(
        loader=jinja2.ChoiceLoader([own, loader]) if own else loader,
        bytecode_cache=TemplateCache(compiled_in) if compiled_in else ProcessCache(),
        undefined=jinja2.StrictUndefined,
        autoescape=lambda name: bool(name and name.endswith(".html")),
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        optimized=False,  # looking for constants to fold takes a quarter of the time, and there are few
    )
    made.globals["scripts"] = page_policy.script_sources(shipped)
    made.filters.update(
        show=quantities.show,
        number=quantities.number,
        hertz=quantities.hertz,
        watts=quantities.watts,
        load=quantities.load,
        percent=quantities.percent,
        band=lambda b: quantities.band((b[0], b[1])),
        clock=format_clock,
        plain=replace_angle_brackets,
        spoken=sentence,
        words=words,
        cell=escape_markdown_cell,
        noted=escape_markdown_note,
        direction=lambda channel: _SIDES.get(channel, channel),
        under=conditions_of,
        reference=reference_of,
    )
    return made


def escape_markdown_cell(text: str) -> str:
    """Escape text for a cell of a Markdown table."""
    return " ".join(text.split()).translate(_MARKDOWN_SIGNS)


def escape_markdown_note(text: str) -> str:
    """Escape text so that Markdown shows it as written.

    Whatever would begin a tag, or continue a link or picture, is escaped.
    """
    return _LINKED.sub(r"\\]", _TAGGED.sub("&lt;", f"{text}"))


def replace_angle_brackets(text: str) -> str:
    """Replace < and >, which video platforms refuse in a description."""
    return text.replace("<", "‹").replace(">", "›")
