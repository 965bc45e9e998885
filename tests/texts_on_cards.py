"""Everything that is written on a card, as data and as it is laid out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass

from reviewkit.model.card import Axis, Card, Chart, Hero, Number, Row, Rows, ScoreRow
from reviewkit.model.finding import Finding, Point
from reviewkit.model.session import Rating
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.scene import Text

# texts by which cards are told apart and drawn, which nobody reads on them
_UNWRITTEN = frozenset(("id", "first", "alt", "scale", "role", "channel", "unit", "verdict", "found", "repaired"))


def texts_in(value: object) -> Iterator[str]:
    """Every text of a part of a card but the numbers of its scales."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for each in value:
            yield from texts_in(each)
    elif is_dataclass(value) and not isinstance(value, (Axis, Finding, Point, Rating)):
        for each in fields(value):
            if each.name not in _UNWRITTEN:
                yield from texts_in(getattr(value, each.name))


def texts_on(card: Card) -> list[str]:
    """Every text on a card but the numbers of its scales, with those of its verdict."""
    v = card.verdict
    own = [v.label, v.limit, v.measured, v.margin, v.brief] if v else []
    return [text for text in (*texts_in(card), *own) if text]


def printed_on(card: Card) -> list[str]:
    """Every text on a card as it is laid out, the numbers of its scales too."""
    return [item.text for item in lay_out(card, "lamplight") if isinstance(item, Text)]


def described(card: Card) -> Iterator[str]:
    """A card in lines: what is written on it, and what is drawn."""
    yield f"== {card.id}: {card.title}" + ("" if card.on_film else " (page only)")
    yield " · ".join(filter(None, (card.stage, card.subject, *card.conditions))) + "".join(
        f" ({aside})" for aside in card.asides
    )
    if card.hero:
        yield f"hero: {_hero(card.hero)}"
    if card.verdict:
        v = card.verdict
        yield f"verdict: {v.label}, rated {v.limit}: {v.verdict} {v.margin}{v.brief}".rstrip()
    yield from _body(card)
    yield from (f"reading: {what}: {figure}" for what, figure in card.readings)
    yield f"alt: {card.alt}"


def _hero(hero: Hero) -> str:
    figure = f"{hero.before} → {hero.figure}" if hero.before else hero.figure
    return f"{figure} {hero.uncertainty}".rstrip() + f" ({hero.caption})" + f" {hero.note}".rstrip()


def _body(card: Card) -> Iterator[str]:
    body = card.body
    if isinstance(body, Chart):
        for panel in body.panels:
            yield f"panel: {panel.label}".rstrip()
            yield "  across: " + ", ".join(text for _, text in panel.x.ticks) + f" ({panel.x.unit})"
            yield "  up: " + ", ".join(text for _, text in panel.y.ticks) + f" ({panel.y.unit})"
            yield from (f"  curve: {trace.label} [{trace.channel}, {trace.role}]" for trace in panel.traces)
            yield from (f"  stem: {stem.x:.4g}, {stem.label} [{stem.channel}, {stem.role}]" for stem in panel.stems)
            yield from (f"  limit: {limit.label}" for limit in panel.limits)
            yield from (f"  mark: {mark.text}".rstrip() for mark in panel.marks)
            yield from ("  room" + (": fault" if panel.room.fault else "") for _ in [0] if panel.room)
            yield from (f"  fall: {panel.fall.x:.4g}" for _ in [0] if panel.fall)
    elif isinstance(body, Rows):
        yield " | ".join(body.headers)
        yield from map(_row, body.rows)
        yield from [body.more] if body.more else ()
    else:
        for each in fields(body):
            value = getattr(body, each.name)
            items = value if isinstance(value, tuple) and value and is_dataclass(value[0]) else (value,)
            for item in items:
                if isinstance(body, Number) and body.dial is None and each.name in ("dial", "before", "after"):
                    continue
                if text := _item(item):
                    yield f"{each.name}: {text}"


def _item(item: object) -> str:
    if isinstance(item, Axis):
        return ", ".join(text for _, text in item.ticks)
    if isinstance(item, Hero):
        return _hero(item)
    if isinstance(item, ScoreRow):
        figure = f"{item.measured} {item.uncertainty}".strip()
        return f"{item.label}: {figure}, rated {item.rated} [{item.verdict}] {item.note}".rstrip()
    if is_dataclass(item):
        return " | ".join(text for each in fields(item) for text in texts_in(getattr(item, each.name)))
    if isinstance(item, (tuple, list)):
        return ", ".join(str(each) for each in item)
    return f"{item:.4g}" if isinstance(item, float) else "" if isinstance(item, bytes) else str(item)


def _row(row: Row) -> str:
    note = f" ({row.note})" if row.note else ""
    return " | ".join(row.cells) + note + (f" [{row.verdict}]" if row.verdict else "")


def figure_of(verdict: Verdict) -> str:
    """The number of a verdict's figure, as it must be printed: "60.3" of "60.3 ± 1.6 W", "0.09" of "≤ 0.09 %"."""
    return re.sub("^(≤|≥|at least) ", "", verdict.measured).split(" ")[0]
