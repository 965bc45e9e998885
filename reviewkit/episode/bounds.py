"""The bounds on cards in words: "distortion, products hidden in noise" over "0.001 % or less".

A sign would be read as part of the figure ("≤ −"), and "at most" before it as what is allowed.
"""

from __future__ import annotations

import re
from dataclasses import replace

from reviewkit.model.card import Body, Card, Chart, Ending, Hero, Number, Score, ScoreRow
from reviewkit.model.finding_conditions import why_bound

_INCLUDED = " included"
_WORDS = {"≤ ": "or less", "≥ ": "or more", "at least ": "or more"}


def name_what_is_included(card: Card) -> Card:
    """Return a card with what its figure includes as a condition; the ending has no place for it."""
    why = _reason(card.hero)
    if not why.endswith(_INCLUDED) or isinstance(card.body, Ending):
        return card
    return replace(card, conditions=(why, *card.conditions))


def word_bounds(card: Card) -> Card:
    """Return a card whose figures have no sign of a bound: words after them say so, above them why."""
    hero, body = card.hero and word_bound(card.hero), card.body
    if isinstance(body, Number):
        sign, bound = _bound(body.figure)
        texts = (text.replace(sign, "", 1) if sign else text for text in (body.figure, body.sentence, body.was))
        figure, sentence, was = texts
        subject = ", ".join(filter(None, (card.subject, hero.why if hero else "")))
        body = replace(body, figure=figure, sentence=sentence, was=was, bound=hero.bound if hero else bound)
        return replace(card, subject=subject, hero=hero, body=body)
    return replace(card, hero=hero, body=_of_body(body))


def word_bound(hero: Hero) -> Hero:
    """Return a large figure with its bound in words, after it, and the reason, above it."""
    sign, bound = _bound(hero.figure)
    why = _reason(hero)
    if why.endswith(_INCLUDED):  # of all that the card names, the figure is no bound
        bound, why = "", ""
    figure, before = hero.figure.removeprefix(sign), hero.before.removeprefix(sign)
    return replace(hero, figure=figure, before=before, bound=bound, why=why)


def _reason(hero: Hero | None) -> str:
    return next((why_bound(f) for f in (hero.findings[:1] if hero else ()) if f.bound), "")


def _bound(figure: str) -> tuple[str, str]:
    """Return with what a figure begins if it is a bound, and the words for it."""
    return next(((sign, words) for sign, words in _WORDS.items() if figure.startswith(sign)), ("", ""))


def _of_body(body: Body) -> Body:
    match body:
        case Ending():
            return replace(body, hero=body.hero and word_bound(body.hero))
        case Score():
            missed, close, unjudged, met = (
                tuple(map(_of_row, some)) for some in (body.missed, body.close, body.unjudged, body.met)
            )
            return replace(body, missed=missed, close=close, unjudged=unjudged, met=met)
        case Chart():
            panels = (
                replace(panel, traces=tuple(replace(t, label=_in_words(t.label)) for t in panel.traces))
                for panel in body.panels
            )
            return replace(body, panels=tuple(panels))
        case _:
            return body


def _of_row(row: ScoreRow) -> ScoreRow:
    return replace(row, measured=_in_words(row.measured))


def _in_words(text: str) -> str:
    """Return a text that may end with a figure with the bound after it: "left channel: 0.001 % or less"."""
    return re.sub("(≤ |≥ |at least )(.*)", lambda found: f"{found[2]} {_WORDS[found[1]]}", text)
