"""The cards of an episode, in order: which runs share one, what each is called, and which one a note means."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from reviewkit.build.card_groups import groups
from reviewkit.build.session_files import SessionFiles
from reviewkit.episode.alt_text import add_alt_text
from reviewkit.episode.stills import make_stills
from reviewkit.measure import KINDS
from reviewkit.measure.figures import join_channels
from reviewkit.model.card import Card, Chart
from reviewkit.model.card_files import stills
from reviewkit.model.change import Change
from reviewkit.model.errors import Faults, nearest
from reviewkit.model.finding import Run
from reviewkit.model.notes import Notes
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.page import Pages

_OF_THE_SESSION = ("title", "rated", "hunt", "fix", "score", "table", "number", "ending", "price", "repair", "closing")


def all_cards(
    files: SessionFiles, runs: Sequence[Run], verdicts: Sequence[Verdict], changed: Sequence[Change], pages: Pages
) -> tuple[Card, ...]:
    """Return every card in the episode's order, as data with its words."""
    session, by_card = files.session, _groups(runs)
    called = {name for note in files.notes.notes if not note.cut for name in note.cards}
    cards = [
        replace(card, corner=session.unit.name)
        for name, group in by_card.items()
        for card in _cards(name, group, list(by_card), verdicts, changed, called)
        if isinstance(card.body, Chart)
    ]
    return tuple(_worded(card, pages) for card in cards)


def _groups(runs: Sequence[Run]) -> dict[str, list[Run]]:
    """Return runs by the card they are drawn on."""
    by_id = {run.conditions.measurement.id: run for run in runs}
    shared = groups([run.conditions.measurement for run in runs], list(KINDS))
    return {name: [by_id[m.id] for m in group] for name, group in shared.items()}


def _cards(
    name: str,
    group: Sequence[Run],
    taken: Collection[str],
    verdicts: Sequence[Verdict],
    changed: Sequence[Change],
    called: Collection[str],
) -> list[Card]:
    """Return the cards of a group: its own, with the group's name, then further ones that a note calls for.

    A further card whose name a measurement has already takes the next number.
    """
    kind = KINDS[group[0].conditions.measurement.kind]
    holds = [run.conditions.measurement.hold_s for run in group if run.conditions.measurement.hold_s]
    titles = _titles(group)
    group = join_channels(group)
    later = [run for run in group if run.conditions.measurement.stage != "before"]
    base = replace(kind.card(group, verdicts), id=name)
    alone = replace(kind.card(later, verdicts), id=name) if _has_after(group) and later != group else base
    made = make_stills(base, alone, group, verdicts, changed, kind.compared)
    for other in kind.further(group):
        own = _free(f"{name}-{other.id}", taken)
        if own in called:
            other = replace(other, id=own)
            made += make_stills(other, other, group, (), changed, kind.compared)
    cards = []
    for still in made:
        own = still.id if still.id == name else _free(still.id, taken)
        found = still.found and replace(still.found, id=_free(f"{own}-found", taken), first=name)
        title, title_found = titles if own == name else ("", "")
        found = found and replace(found, title=title_found)
        hold = holds[0] if holds else None
        cards.append(replace(still, id=own, first=name, found=found, title=title, hold_s=hold))
    return cards


def _titles(group: Sequence[Run]) -> tuple[str, str]:
    """Return the user's own titles: of the card, and of the card as found, where there are both."""
    of_stage: dict[str, str] = {}
    for run in group:
        m = run.conditions.measurement
        if m.title:
            of_stage.setdefault(m.stage, m.title)
    found = of_stage.pop("before", "")
    return next(iter(of_stage.values()), "" if _has_after(group) else found), found


def _has_after(group: Sequence[Run]) -> bool:
    return any(run.conditions.measurement.stage == "after" for run in group)


def _free(name: str, taken: Collection[str]) -> str:
    """Return a name, with the next number if it is taken."""
    names = (f"{name}{number}" for number in ("", *range(2, len(taken) + 3)))
    return next(free for free in names if free not in taken)


def _worded(card: Card, pages: Pages) -> Card:
    """Return a card with its title in words, unless the user has one, and with its alternative text."""
    title = card.title or " ".join(pages.sentences(card.finding) if card.finding else [])
    worded = add_alt_text(replace(card, title=title, found=None))
    if card.found is None:
        return worded
    return replace(worded, found=replace(_worded(card.found, pages), repaired=worded))


def called_cards(given: Notes, cards: Sequence[Card], runs: Sequence[Run]) -> tuple[Notes, tuple[str, ...]]:
    """Return notes with each [card …] as the id of a card, and remarks on cards that aren't there. Raises InputError
    for a near miss.
    """
    known = {card.id: card.id for card in stills(cards)}
    for run in runs:
        m = run.conditions.measurement
        if m.card in known:
            known.setdefault(m.id, m.card)
    faults, missing, notes = Faults("notes.txt"), [], []
    for note in given.notes:
        called = []
        for name in note.cards:
            if name in known:
                called.append(known[name])
            elif not note.cut and name not in _OF_THE_SESSION and "did you mean" in (hint := nearest(name, known)):
                faults.add(note.line, f"[card {name}]: there is no such card; {hint}")
            elif not note.cut:
                there = ", ".join(known)
                missing.append(
                    f"notes.txt:{note.line}: card {name} is called for, but nothing makes it; there are {there}"
                )
        notes.append(replace(note, cards=tuple(dict.fromkeys(called))))
    faults.stop_if_any()
    return replace(given, notes=tuple(notes)), tuple(missing)
