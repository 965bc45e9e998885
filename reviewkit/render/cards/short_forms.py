"""Shorter forms of a card that doesn't fit: repetition goes first, and no figure loses its conditions."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import zip_longest

from reviewkit.model.card import Card, Curves, Mark, Panel, Readout, Rows, TitlePage, Trace

_MANY = 10  # rows from which two columns are easier to read than one that is cut
_FIGURE = re.compile(r"\d[\d.,]*")


def shorter_forms(card: Card) -> Iterator[Card]:
    """Yield the card itself, then versions that say less and less.

    First repetition is removed, then what the picture shows as well, then the writer's shorter titles are used: each
    alone, then together. Last, readouts without a key figure are dropped from the bottom; the files have every figure.
    """
    yield card
    steps: tuple[Callable[[Card], Card], ...] = (
        _without_repeats,
        _with_channel_pairs,
        _without_margins,
        _without_reasons,
    )
    steps += tuple(_retitle(title) for title in card.shorter)
    yield from (shorter for step in steps if (shorter := step(card)) != card)
    shortened = 0
    for step in (*steps, _all_side_by_side):
        shorter = step(card)
        shortened += shorter != card
        if shorter != card and (shortened > 1 or step is _all_side_by_side):
            yield shorter
        card = shorter
    while len(card.readings) > 1 and not card.readings[-1].key:
        card = replace(card, readings=card.readings[:-1])
        yield card


def _retitle(title: str) -> Callable[[Card], Card]:
    return lambda card: card if isinstance(card.body, TitlePage) else replace(card, title=title)


# ------------------------------------------------------------------ repetition


def _without_repeats(card: Card) -> Card:
    """Remove from labels what the conditions say, and from marks the figures that are in the readouts.

    A label always keeps its first words, which say what the figure is.
    """
    said = set(re.split(r" · |, ", card.conditions)) | {card.title}
    readings = tuple(_shorten_label(reading, said) for reading in card.readings)
    if readings != card.readings:
        card = replace(card, readings=readings)
    if isinstance(card.body, Curves):
        figures = [text for reading in readings for row in (*reading.rows, (reading.key,)) for text in row]
        card = _map_panels(card, card.body, lambda panel: _without_repeated_words(panel, figures))
    return card


def _shorten_label(reading: Readout, said: set[str]) -> Readout:
    first, *rest = reading.label.split(", ")
    label = ", ".join((first, *(part for part in rest if part not in said)))
    return reading if label == reading.label else replace(reading, label=label)


def _without_repeated_words(panel: Panel, figures: list[str]) -> Panel:
    if not all(trace.label for trace in panel.traces):  # the marks may name the curves
        return panel
    marks = tuple(replace(mark, text="") if _is_reading(mark, figures) else mark for mark in panel.marks)
    return panel if marks == panel.marks else replace(panel, marks=marks)


def _is_reading(mark: Mark, figures: list[str]) -> bool:
    """Tell whether a mark's first number appears in the readouts, as one whole number."""
    number = _FIGURE.search(mark.text)
    return number is not None and any(number[0] in _FIGURE.findall(text) for text in figures)


def _all_side_by_side(card: Card) -> Card:
    readings = tuple(_side_by_side(reading) for reading in card.readings)
    return card if readings == card.readings else replace(card, readings=readings)


def _side_by_side(reading: Readout) -> Readout:
    """Rearrange many rows as two columns of rows."""
    rows = reading.rows
    if len(rows) < _MANY or any(len(row) != len(rows[0]) for row in rows):
        return reading
    half = (len(rows) + 1) // 2
    return replace(reading, rows=tuple((*one, *(other or ())) for one, other in zip_longest(rows[:half], rows[half:])))


# ------------------------------------------------------------------ shown by the picture too


def _with_channel_pairs(card: Card) -> Card:
    """Name the two curves of a run once: hue and dash say which channel each is."""
    return _map_panels(card, card.body, _name_pairs_jointly) if isinstance(card.body, Curves) else card


def _name_pairs_jointly(panel: Panel) -> Panel:
    channels: dict[str, list[str]] = {}  # name without the channel -> its channels
    for trace in panel.traces:
        channels.setdefault(_name_without_channel(trace), []).append(trace.channel)
    traces = list(panel.traces)
    for at, trace in enumerate(traces):
        name = _name_without_channel(trace)
        if name and len(channels[name]) > 1:
            traces[at] = replace(trace, label=name if trace.channel == channels[name][-1] else "")
    return panel if traces == list(panel.traces) else replace(panel, traces=tuple(traces))


def _name_without_channel(trace: Trace) -> str:
    """Return a curve's name without its channel; "" if it has no channel or nothing else."""
    channel, _, rest = trace.label.partition(" ")
    return rest if channel and channel == trace.channel else ""


def _map_panels(card: Card, body: Curves, change: Callable[[Panel], Panel]) -> Card:
    panels = tuple(change(panel) for panel in body.panels)
    if all(one is other for one, other in zip(panels, body.panels, strict=True)):
        return card
    return replace(card, body=replace(body, panels=panels))


def _without_margins(card: Card) -> Card:
    """Remove the margins of a table's verdicts: limit, figure and needle are in the same row."""
    body = card.body
    if not isinstance(body, Rows) or not any(row.margin for row in body.rows):
        return card
    rows = tuple(replace(row, margin="") for row in body.rows)
    pages = tuple(tuple(replace(row, margin="") for row in page) for page in body.pages)
    return replace(card, body=replace(body, rows=rows, pages=pages))


def _without_reasons(card: Card) -> Card:
    """Remove from verdicts which condition differs: the table says that too."""
    verdicts = tuple(replace(v, label=v.label.removesuffix(f": {v.brief}")) if v.brief else v for v in card.verdicts)
    return card if verdicts == card.verdicts else replace(card, verdicts=verdicts)
