"""The cards of an episode, in order: which runs share one, what each is called, and which one a note means."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from reviewkit.build.card_groups import groups
from reviewkit.build.session_files import SessionFiles
from reviewkit.episode import session_cards
from reviewkit.measure import KINDS
from reviewkit.model.card import Card
from reviewkit.model.errors import Faults, nearest
from reviewkit.model.finding import Run
from reviewkit.model.notes import Notes
from reviewkit.model.prices import PriceLine
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.card import fit
from reviewkit.render.cards.paint import Fonts
from reviewkit.verdict.spec_table import SpecTable


def all_cards(
    files: SessionFiles,
    runs: Sequence[Run],
    verdicts: Sequence[Verdict],
    table: SpecTable,
    price: PriceLine | None,
    fonts: Fonts,
) -> tuple[Card, ...]:
    """Return every card in the episode's order; a table too long for one card is spread over several."""
    session, by_card = files.session, _groups(runs)
    cards = [session_cards.make_title_card(session, price, files.photo), session_cards.make_rated_card(session)]
    for name, group in by_card.items():
        shown = session_cards.verdicts_on(group, verdicts)
        cards += [replace(card, corner=session.unit.name) for card in _cards(name, group, list(by_card), shown)]
    cards += [
        session_cards.make_repair_card(session, files.repair),
        session_cards.make_table_card(session, table, verdicts),
        session_cards.make_closing_card(session, verdicts, price, table.one_unit),
    ]
    return tuple(
        session_cards.add_alt_text(replace(part, first=card.first or card.id))
        for card in cards
        if card is not None
        for part in fit(card, fonts)
    )


def _groups(runs: Sequence[Run]) -> dict[str, list[Run]]:
    """Return runs by the card they are drawn on."""
    by_id = {run.conditions.measurement.id: run for run in runs}
    shared = groups([run.conditions.measurement for run in runs], list(KINDS))
    return {name: [by_id[m.id] for m in group] for name, group in shared.items()}


def _cards(name: str, group: Sequence[Run], taken: Collection[str], verdicts: tuple[Verdict, ...]) -> list[Card]:
    """Return the cards of a group: its own, with the group's name, then further ones.

    A further card whose name a measurement has already takes the next number.
    """
    kind = KINDS[group[0].conditions.measurement.kind]
    card = kind.card(group, verdicts)
    titles = [run.conditions.measurement.title for run in group if run.conditions.measurement.title]
    holds = [run.conditions.measurement.hold_s for run in group if run.conditions.measurement.hold_s]
    hold = holds[0] if holds else None
    own = card.title or kind.title
    shorter = (own,) if titles else ()  # if the user's title is too long
    cards = [replace(card, id=name, title=titles[0] if titles else own, shorter=shorter, hold_s=hold)]
    for other in kind.further(group):
        names = (f"{name}-{other.id}{number}" for number in ("", *range(2, len(taken) + 2)))
        free = next(free for free in names if free not in taken)
        cards.append(replace(other, id=free, first=name, hold_s=hold, verdicts=verdicts))
    return cards


def called_cards(given: Notes, cards: Sequence[Card], runs: Sequence[Run]) -> tuple[Notes, tuple[str, ...]]:
    """Return notes with each [card …] as the id of a card, and remarks on cards that aren't there. Raises InputError
    for a near miss.
    """
    known = {card.id: card.id for card in cards}
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
            elif not note.cut and "did you mean" in (hint := nearest(name, known)):
                faults.add(note.line, f"[card {name}]: there is no such card; {hint}")
            elif not note.cut:
                there = ", ".join(known)
                missing.append(
                    f"notes.txt:{note.line}: card {name} is called for, but nothing makes it; there are {there}"
                )
        notes.append(replace(note, cards=tuple(dict.fromkeys(called))))
    faults.stop_if_any()
    return replace(given, notes=tuple(notes)), tuple(missing)
