"""The bounds on cards in words, once: "rumble, at most" over "−37.1 dB", where a sign would be read as part of it."""

from __future__ import annotations

from dataclasses import replace

from reviewkit.model.card import Body, Card, Chart, Ending, Hero, Number, Score, ScoreRow

_WORDS = {"≤ ": "at most", "≥ ": "at least", "at least ": "at least"}


def word_bounds(card: Card) -> Card:
    """Return a card whose figures have no sign of a bound: their captions, names or the overline have it in words."""
    hero, body = card.hero and _of_hero(card.hero), card.body
    if isinstance(body, Number):
        sign, bound = _bound(body.figure)
        texts = (text.replace(sign, "", 1) if sign else text for text in (body.figure, body.sentence, body.was))
        figure, sentence, was = texts
        subject = ", ".join(filter(None, (card.subject, bound)))
        return replace(card, subject=subject, body=replace(body, figure=figure, sentence=sentence, was=was))
    return replace(card, hero=hero, body=_of_body(body))


def _bound(figure: str) -> tuple[str, str]:
    """Return with what a figure begins if it is a bound, and the words for it."""
    return next(((sign, words) for sign, words in _WORDS.items() if figure.startswith(sign)), ("", ""))


def _of_hero(hero: Hero) -> Hero:
    sign, bound = _bound(hero.figure)
    return replace(
        hero, figure=hero.figure.removeprefix(sign), before=hero.before.removeprefix(sign), bound=bound or hero.bound
    )


def _of_body(body: Body) -> Body:
    match body:
        case Ending():
            return replace(body, hero=body.hero and _of_hero(body.hero))
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
    sign, bound = _bound(row.measured)
    return replace(row, label=", ".join(filter(None, (row.label, bound))), measured=row.measured.removeprefix(sign))


def _in_words(label: str) -> str:
    """Return a curve's name with the bound in words where it has a figure: "left channel: at most 0.001 %"."""
    return label.replace("≤", "at most").replace("≥", "at least")
