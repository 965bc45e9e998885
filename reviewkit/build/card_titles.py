"""The titles of cards: the user's own, else what was found, in words of templates/words/titles.j2."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from reviewkit.measure import figures
from reviewkit.model import quantities
from reviewkit.model.card import Card, Hunt, Score
from reviewkit.model.finding import Point, Run
from reviewkit.render.pages.page import Pages

LONGEST = 38  # characters of a title that the program words


def word_titles(cards: Sequence[Card], runs_of: Mapping[str, Sequence[Run]], pages: Pages) -> list[Card]:
    """Return the cards with their titles.

    A measurement's own `title` is that of its card, one of before the repair that of the card as found. Where two cards
    would have the same title, it names what sets them apart.

    Parameters
    ----------
    cards : sequence of Card
        The cards, with what their titles say as a `finding`.
    runs_of : mapping of str to sequence of Run
        The runs of each group of cards, by the name of the group.
    pages : Pages
        The templates.
    """
    titled = [_with_settings(_with_own(card, runs_of.get(card.first, ())), runs_of) for card in cards]
    stills = {still.id: still for card in titled for still in (card, card.found) if still and not still.title}
    plain = {name: _word(still, pages) for name, still in stills.items()}
    by_title: dict[str, list[Card]] = {}
    for name, still in stills.items():
        by_title.setdefault(plain[name], []).append(still)
    worded = {
        name: title for title, same in by_title.items() for name, title in _set_apart(title, same, runs_of, pages)
    }
    return [_with_heading(_with_words(card, worded), pages) for card in titled]


def _with_own(card: Card, runs: Sequence[Run]) -> Card:
    """Return a card with the user's own title, if it has one. A card named after another one doesn't take its title."""
    if card.id != card.first:
        return card
    of_stage: dict[bool, str] = {}
    for run in runs:
        m = run.conditions.measurement
        if m.title:
            of_stage.setdefault(m.stage == "before", m.title)
    if card.found is None:
        return replace(card, title=of_stage.get(False) or of_stage.get(True, ""))
    return replace(card, title=of_stage.get(False, ""), found=replace(card.found, title=of_stage.get(True, "")))


def _with_settings(card: Card, runs_of: Mapping[str, Sequence[Run]]) -> Card:
    """Return a card whose title may be worded from the settings that it shows."""
    settings = tuple(run.conditions.measurement.setting for run in runs_of.get(card.first, ()))
    found = card.found and _with_settings(card.found, runs_of)
    finding = card.finding and replace(card.finding, facts={**card.finding.facts, "settings": settings})
    return replace(card, finding=finding, found=found)


def _with_words(card: Card, worded: Mapping[str, str]) -> Card:
    found = card.found and _with_words(card.found, worded)
    return replace(card, title=card.title or worded.get(card.id, ""), found=found)


def _with_heading(card: Card, pages: Pages) -> Card:
    """Return a card with its heading, if that isn't its title: the score's is a count, the hunt's what was found."""
    name = "count" if isinstance(card.body, Score) else "found" if isinstance(card.body, Hunt) else ""
    if card.finding is None or not name:
        return card
    return replace(card, heading=word_title(replace(card.finding, name=name), pages))


def _word(card: Card, pages: Pages, apart: str = "") -> str:
    """Return what was found in words. Raises InputError if the session's own template is at fault."""
    if card.finding is None:
        return ""
    return word_title(card.finding, pages, apart)


def word_title(finding: Point, pages: Pages, apart: str = "") -> str:
    """Return a finding as a title. `apart`: the condition by which it differs from another of the same words."""
    of_kind = {"words": pages.title_words(finding)} if "kind" in finding.facts else {}
    facts = {**finding.facts, "apart": apart, **of_kind}
    return " ".join(pages.sentences(replace(finding, facts=facts)))


def _set_apart(
    title: str, same: Sequence[Card], runs_of: Mapping[str, Sequence[Run]], pages: Pages
) -> Iterator[tuple[str, str]]:
    """Yield each card's id with its title: by the first condition in which those of one title differ."""
    if len(same) > 1:
        differing = zip(*(_conditions(runs_of.get(card.first, ())) for card in same), strict=True)
        for texts in differing:
            worded = [_word(card, pages, text) for card, text in zip(same, texts, strict=True)]
            if len(set(texts)) == len(texts) and max(map(len, worded)) <= LONGEST:
                yield from zip((card.id for card in same), worded, strict=True)
                return
    yield from ((card.id, title) for card in same)


def _conditions(runs: Sequence[Run]) -> tuple[str, ...]:
    """Return the conditions by which titles may differ, as they end one: " at 5 W", " into 4 Ω", " on phono"."""
    if not runs:
        return ("",) * 6
    run = figures.main_run(runs)
    m = run.conditions.measurement
    tone = run.get("frequency")
    hertz = m.frequency_hz or (tone.value if tone else None)
    settings = ", ".join(figures.settings(m))
    texts = (
        ("at", figures.drive(m).split(" into ")[0]),
        ("into", quantities.load(m.load_ohm) if m.load_ohm is not None else ""),
        ("at", quantities.hertz(hertz) if hertz else ""),
        ("on", m.input),
        ("in" if settings in ("mono", "stereo") else "with", settings),
        ("with", m.volume),
    )
    return tuple(f" {word} {text}" if text else "" for word, text in texts)
