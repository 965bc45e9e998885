"""The help pages of templates/help/: Markdown, each with its subject as first heading."""

from __future__ import annotations

from argparse import ArgumentTypeError
from io import StringIO
from typing import ClassVar

from reviewkit.model import places
from reviewkit.model.errors import nearest

_LEAST_WIDTH, _MOST_WIDTH = 60, 120  # of a page on a terminal, in characters
# the order in which a new user needs them; other pages follow, sorted by name
_ORDER = ("commands", "session", "notes", "files", "kinds", "ratings", "outputs", "plan", "cut", "templates")


def list_subjects() -> dict[str, str]:
    """Return the subject of each page by the page's name. A session's own templates don't count."""
    names = {path.stem for path in (places.templates() / "help").glob("*.md")}
    ordered = [*(name for name in _ORDER if name in names), *sorted(names - set(_ORDER))]
    return {name: read_page(name).partition("\n")[0].lstrip("# ") for name in ordered}


def read_page(topic: str) -> str:
    """Return the Markdown of one page."""
    return (places.templates() / "help" / f"{topic}.md").read_text(encoding="utf-8")


def check_topic(text: str) -> str:
    """Return a page's name if there is such a page.

    Raises
    ------
    ArgumentTypeError
        With the nearest name, if there is none.
    """
    topics = list_subjects()
    if text not in topics:
        raise ArgumentTypeError(f'no page "{text}"; {nearest(text, topics)}')
    return text


def format_index() -> str:
    """Return one line for each page."""
    topics = list_subjects()
    width = max(map(len, topics))
    lines = [f"  {name:{width}}  {subject}" for name, subject in topics.items()]
    return "\n".join(["reviewkit help TOPIC prints one of these pages:", *lines])


def render_page(markdown: str, width: int) -> str:
    """Render a page for a terminal `width` characters wide."""
    from rich.console import Console, ConsoleOptions, RenderResult
    from rich.markdown import Markdown, TableElement
    from rich.table import Table

    class Folded(TableElement):
        """A table that breaks a word too long for its column instead of cutting it off."""

        def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
            for table in super().__rich_console__(console, options):
                if isinstance(table, Table):
                    for column in table.columns:
                        column.overflow = "fold"
                yield table

    class HelpPage(Markdown):
        elements: ClassVar = {**Markdown.elements, "table_open": Folded}

    shown = StringIO()
    console = Console(file=shown, width=min(max(width, _LEAST_WIDTH), _MOST_WIDTH), force_terminal=True)
    console.print(HelpPage(markdown))
    return "\n".join(line.rstrip() for line in shown.getvalue().splitlines())
