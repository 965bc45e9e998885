"""A plan in the terminal: a table if it is one, plain lines otherwise. The cautions come first in both."""

from __future__ import annotations

from collections.abc import Sequence
from io import StringIO

from reviewkit.render.pages.plan_words import ChecklistItem, PlanWords, table_rows

_LEAST_WIDTH = 60


def format_text(words: PlanWords) -> str:
    """Format a plan as plain lines, three for each capture."""
    lines = _head_lines(words)
    for block in (*words.cold, *words.hot):
        lines += ["", f"{'At power, last: ' if block.hot else ''}{block.setup}"]
        for step in block.steps:
            lines += [
                f"  {'[x]' if step.done else '[ ]'} {step.number:2d} {step.kind}: {step.what}",
                f"         {step.level}",
                f"         for {'; '.join(step.serves)}{f' (so far: {step.note})' if step.note else ''}",
            ]
    return "\n".join([*lines, *_foot_lines(words)])


def format_table(words: PlanWords, width: int) -> str:
    """Format a plan as a table `width` characters wide, with the lines that go before and after it."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    page = StringIO()
    console = Console(file=page, width=max(width, _LEAST_WIDTH), force_terminal=True)
    for line in _head_lines(words):
        console.print(Text(line))
    if words.ratings:
        table = Table("", "", "capture", "set-up and level", "for", show_lines=True)
        for row in table_rows(words):
            table.add_row(*(Text(cell) for cell in row))
        console.print(table)
    for line in _foot_lines(words):
        console.print(Text(line))
    return page.getvalue().rstrip("\n")


def _head_lines(words: PlanWords) -> list[str]:
    title = ", ".join(part for part in (words.name, words.what) if part)
    return [
        f"Plan: {title}",
        *(f"! {caution}" for caution in words.cautions),
        *(f"STOP: {stop}" for stop in words.stop),
        "",
        f"as it came in: {_count_done(words.as_it_came)}",
        f"go or no-go: {_count_done(words.gate)}",
        words.summary if words.ratings else "",
        *words.prepare,
    ]


def _foot_lines(words: PlanWords) -> list[str]:
    if not words.ratings:
        return [
            "No ratings yet: copy what the maker printed into ratings.txt, one line each as worded there, for example",
            f"  {words.example[0]}",
        ]
    left = [f"  {r.label}: {r.text}" for r in words.ratings if not r.done]
    return ["", "what is still missing:", *left] if left else ["", "every rating has its answer"]


def _count_done(lines: Sequence[ChecklistItem]) -> str:
    done = sum(line.done for line in lines)
    return f"{len(lines)} lines, {done} of them ticked"
