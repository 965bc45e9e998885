"""A card in sentences, for those who can't see it."""

from __future__ import annotations

from dataclasses import replace

from reviewkit.model.card import Card, Hero
from reviewkit.model.verdict import Verdict


def add_alt_text(card: Card) -> Card:
    """Return a card with its own text as the alternative for those who can't see it."""
    parts = [card.title, " · ".join(filter(None, (card.stage, card.subject, *card.conditions, *card.asides)))]
    if card.hero is not None:
        parts.append(_hero_text(card.hero))
    if card.verdict is not None:
        parts.append(_verdict_text(card.verdict))
    parts += [f"{what}: {figure}" for what, figure in card.readings]
    return replace(card, alt=". ".join(part for part in (*parts, card.foot) if part))


def _hero_text(hero: Hero) -> str:
    """Return the large figure: "right channel, at 1 W: 5.0 before, 0.020 % after"."""
    figure = " ".join(filter(None, (hero.figure, hero.uncertainty)))
    figure = f"{hero.before} before, {figure} after" if hero.before else figure
    caption = hero.caption.removeprefix("after, ") if hero.before else hero.caption
    return "; ".join(filter(None, (f"{caption}: {figure}" if caption else figure, hero.note)))


def _verdict_text(verdict: Verdict) -> str:
    return f"{verdict.label}, rated {verdict.limit}: {verdict.verdict} {verdict.margin or verdict.brief}".rstrip()
