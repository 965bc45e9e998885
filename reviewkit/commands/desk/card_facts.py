"""The cards and the verdicts on the page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.live_session import LiveSession, picture_paths
from reviewkit.commands.desk.session_edits import name_of
from reviewkit.episode.alt_text import heading_of
from reviewkit.episode.card_choices import names_of_figure
from reviewkit.episode.card_times import card_times
from reviewkit.ingest.session.footage_time import show_time
from reviewkit.model.card import Card
from reviewkit.model.finding import Run

TITLE_LENGTH = 38  # letters of a title
THUMBNAILS = {"figure": "The figure", "pair": "Before and after", "photo": "The photograph"}
_MOST_READINGS = 9  # offered for a card


def card_facts(session: LiveSession, state: DeskState) -> list[dict[str, Any]]:
    """Return the cards in the order of the film, then the hidden ones."""
    shown = session.shown
    if shown is None:
        return []
    episode, there, times = shown.episode, picture_paths(shown), card_times(shown.episode)
    by_measurement = {run.conditions.measurement.card: run.conditions.measurement for run in episode.runs}
    cards = []
    before = ""
    for card in sorted(episode.stills, key=lambda card: times.get(card.id, (math.inf, ""))[0]):
        if there[card.id] not in session.versions:  # others follow
            continue
        at_s, segment = times.get(card.id, (None, None))
        state.titles[name_of(card)] = heading_of(card)
        heading = segment.title if segment else ""
        cards.append(
            {
                "id": card.id,
                "name": name_of(card),
                "title": heading_of(card),
                "own_title": card.first in by_measurement and card.body.__class__.__name__ != "Number",
                "alt": card.alt,
                "readings": _readings(card, episode.runs),
                "verdict": card.verdict,
                "picture": f"{there[card.id]}?v={session.versions[there[card.id]][:16]}",
                "time": show_time(Fraction(int(at_s))) if at_s is not None else "",
                "heading": heading if heading != before else "",
                "hidden": False,
            }
        )
        before = heading or before
    hidden = episode.session.cards.hide
    return cards + [{"id": n, "name": n, "title": state.titles.get(n, n), "hidden": True} for n in hidden]


def _readings(card: Card, runs: Sequence[Run]) -> list[dict[str, Any]]:
    """Return the figures that a card can have besides its own, and whether it has them."""
    own = [run for run in runs if card.hero and run.conditions.measurement.card == card.first]
    names = dict.fromkeys(names_of_figure(f)[-1] for run in own for f in run.findings)
    chosen = {name.casefold() for run in own for name in run.conditions.measurement.readings}
    known = sorted(names, key=lambda name: name.casefold() not in chosen)
    return [{"name": name, "on": name.casefold() in chosen} for name in known[:_MOST_READINGS]]


def latest_card(session: LiveSession, cards: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the card to show: of those drawn last, the saved file's first and the summaries last."""
    if session.shown is None:
        return None
    episode = session.shown.episode
    measured = {run.conditions.measurement.card for run in episode.runs}
    first = {card.id: card.first for card in episode.stills}
    seen = [card for card in cards if not card["hidden"]]

    def rank(card: dict[str, Any]) -> tuple[bool, ...]:
        of_card = first[card["id"]]
        return card["id"] not in session.latest, of_card not in session.awaited, of_card not in measured

    return min(seen, key=rank, default=None)


def tally_of(session: LiveSession) -> dict[str, Any]:
    """Return the verdicts by their words, and how many are met."""
    rows = [row for row in session.shown.series.table.rows if row.promised] if session.shown else []
    order = ("falls short", "too close to call", "meets", "not comparable", "not measured", "")
    words = sorted((row.verdict for row in rows), key=order.index)
    judged = [word for word in words if word in order[:3]]
    return {"words": words, "met": words.count("meets"), "judged": len(judged), "all": len(rows)}


def thumbnail_facts(session: LiveSession) -> list[dict[str, Any]]:
    """Return the thumbnails to choose from."""
    if session.shown is None:
        return []
    named = session.shown.episode.session.episode.thumbnail
    chosen = named if "thumbnail-figure.png" in session.versions else "figure"
    facts = []
    for name, word in THUMBNAILS.items():
        file = "thumbnail.png" if name == chosen else f"thumbnail-{name}.png"
        if version := session.versions.get(file):
            facts.append({"name": name, "word": word, "picture": f"{file}?v={version[:16]}", "on": name == chosen})
    return facts
