"""Shorter forms of a card, for where it does not fit: less is said twice, and no number loses what it holds under."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace

from reviewkit.model import Card, Curves, Mark, Panel, Reading, Rows, TitlePage

_FIGURE = re.compile(r"\d[\d.,]*")


def forms(card: Card) -> Iterator[Card]:
    """The card itself, then versions that say less and less, each shorter than the one before.

    First what the card says twice, then what its picture tells as well, then the writer's own shorter titles. Last the
    readings under the first, from the foot up, of which the files hold every figure; those with a key number stay.
    """
    yield card
    steps: tuple[Callable[[Card], Card], ...] = (_said_once, _before_named_once, _without_margins)
    for step in (*steps, *(_titled(title) for title in card.shorter)):
        shorter = step(card)
        if shorter != card:
            yield shorter
        card = shorter
    while len(card.readings) > 1 and not card.readings[-1].key:
        card = replace(card, readings=card.readings[:-1])
        yield card


def _titled(title: str) -> Callable[[Card], Card]:
    return lambda card: card if isinstance(card.body, TitlePage) else replace(card, title=title)


# ------------------------------------------------------------------ said once


def _said_once(card: Card) -> Card:
    """Labels of readings without what the line under the title says; marks without words whose figure is a reading.

    A label that would be left with nothing keeps its first words: it says what the number is.
    """
    said = set(re.split(r" · |, ", card.conditions)) | {card.title}
    readings = tuple(_reading(reading, said) for reading in card.readings)
    if readings != card.readings:
        card = replace(card, readings=readings)
    if isinstance(card.body, Curves):
        figures = [text for reading in readings for row in (*reading.rows, (reading.key,)) for text in row]
        card = _with_panels(card, card.body, lambda panel: _marks(panel, figures))
    return card


def _reading(reading: Reading, said: set[str]) -> Reading:
    first, *rest = reading.label.split(", ")
    label = ", ".join((first, *(part for part in rest if part not in said)))
    return reading if label == reading.label else replace(reading, label=label)


def _marks(panel: Panel, figures: list[str]) -> Panel:
    marks = tuple(replace(mark, text="") if _is_reading(mark, figures) else mark for mark in panel.marks)
    return panel if marks == panel.marks else replace(panel, marks=marks)


def _is_reading(mark: Mark, figures: list[str]) -> bool:
    """Whether a mark's first number stands among the readings, as one whole number."""
    number = _FIGURE.search(mark.text)
    return number is not None and any(number[0] in _FIGURE.findall(text) for text in figures)


# ------------------------------------------------------------------ told by the picture


def _before_named_once(card: Card) -> Card:
    """The curves of before as one pair, named once: hue and dash say which channel each is."""
    return _with_panels(card, card.body, _pair_of_before) if isinstance(card.body, Curves) else card


def _pair_of_before(panel: Panel) -> Panel:
    before = [trace for trace in panel.traces if trace.role == "before" and trace.label]
    names = {trace.label.removeprefix(f"{trace.channel} ") for trace in before}
    if len(before) < 2 or len(names) > 1:
        return panel
    named = before[-1]
    traces = (
        replace(trace, label=names.copy().pop() if trace is named else "") if trace in before else trace
        for trace in panel.traces
    )
    return replace(panel, traces=tuple(traces))


def _with_panels(card: Card, body: Curves, change: Callable[[Panel], Panel]) -> Card:
    panels = tuple(change(panel) for panel in body.panels)
    if all(one is other for one, other in zip(panels, body.panels, strict=True)):
        return card
    return replace(card, body=replace(body, panels=panels))


def _without_margins(card: Card) -> Card:
    """A table's verdicts without how far off they are: limit, figure and needle stand in the same row."""
    body = card.body
    if not isinstance(body, Rows) or not any(row.margin for row in body.rows):
        return card
    rows = tuple(replace(row, margin="") for row in body.rows)
    pages = tuple(tuple(replace(row, margin="") for row in page) for page in body.pages)
    return replace(card, body=replace(body, rows=rows, pages=pages))
