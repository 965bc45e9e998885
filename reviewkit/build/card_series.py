"""The cards of an episode, in order: what each is called, what its title says, and which are for filming."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from reviewkit.build.card_groups import group_runs
from reviewkit.build.card_titles import word_titles
from reviewkit.build.session_files import SessionFiles
from reviewkit.episode import session_cards
from reviewkit.episode.alt_text import add_alt_text
from reviewkit.episode.bounds import name_what_is_included, word_bounds
from reviewkit.episode.card_choices import add_readings, choose_for_film, leave_out, put_in_order, read_choices
from reviewkit.episode.hunt import make_fix_card, make_hunt_card
from reviewkit.episode.outcome import find_outcome
from reviewkit.episode.score import make_ending_card, make_score_card
from reviewkit.episode.stills import AFTER, PAIR, changed_most, make_stills
from reviewkit.measure.kinds import KINDS
from reviewkit.model.card import Card, Chart
from reviewkit.model.card_files import OLD_NAMES, SESSION_CARDS, stills
from reviewkit.model.change import Change
from reviewkit.model.errors import Faults, nearest
from reviewkit.model.finding import Run
from reviewkit.model.notes import Notes
from reviewkit.model.prices import PriceLine
from reviewkit.model.session import Session
from reviewkit.model.unstated_conditions import RADIO
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.paint import Fonts
from reviewkit.render.cards.shape import SHAPES, WIDE
from reviewkit.render.cards.table import split_table
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.changes import is_repaired
from reviewkit.verdict.spec_table import SpecTable


@dataclass(frozen=True, eq=False)
class Series:
    """The cards of an episode.

    Attributes
    ----------
    cards
        In order.
    names
        Every name that a note may call a card by, with the id of the still.
    kept_out
        Stills that [cards] keeps out of the film, with the key that does.
    remarks
        Names in [cards] that nothing makes, ready to print.
    """

    cards: tuple[Card, ...]
    names: Mapping[str, str]
    kept_out: Mapping[str, str]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Results:
    """The results from which cards are made: read, measured and judged."""

    files: SessionFiles
    runs: Sequence[Run]
    verdicts: Sequence[Verdict]
    changes: Sequence[Change]
    table: SpecTable
    price: PriceLine | None

    @property
    def repaired(self) -> bool:
        """Return whether something was repaired."""
        return is_repaired(self.files.repair, self.runs)


def make_series(results: Results, fonts: Fonts, shapes: Sequence[str], pages: Pages) -> Series:
    """Return every card as data with its words.

    Raises
    ------
    InputError
        For a wrong name in [cards] or in `readings`.
    """
    files, runs = results.files, results.runs
    frames = [SHAPES[name] for name in dict.fromkeys((WIDE.name, *shapes))]  # the page's pictures are wide
    called = {OLD_NAMES.get(name, name) for note in files.notes.notes if not note.cut for name in note.cards}
    by_card = group_runs(runs, _order_of_kinds(files.session))
    measured = [card for name, group in by_card.items() for card in _cards(name, group, list(by_card), results, called)]
    measured.sort(key=lambda card: bool(card.finding and card.finding.facts.get("radio")))
    titled = word_titles(_whole_series(measured, results, called), by_card, pages)
    made = add_readings([part for card in titled for part in split_table(card, fonts, frames)], by_card)
    names = _names_of(made, runs)
    choices, remarks = read_choices(files.session.cards, names)
    cards = put_in_order(leave_out(made, choices.hide), choices.order)
    gear = files.session.unit.gear is not None
    cards = choose_for_film(cards, {names[name] for name in called if name in names}, choices.only_page, by_meter=gear)
    kept_out = dict.fromkeys(choices.only_page, "only_page") | dict.fromkeys(choices.hide, "hide")
    return Series(tuple(_finished(card, files) for card in cards), names, kept_out, remarks)


def _order_of_kinds(session: Session) -> list[str]:
    """Return the kinds in the order of their cards: for a type of gear, by what viewers ask of it first."""
    gear = session.unit.gear
    return sorted(KINDS, key=lambda name: gear.asked.index(KINDS[name].asked_of(gear))) if gear else list(KINDS)


def _is_radio(group: Sequence[Run], session: Session) -> bool:
    """Return whether a card is of the radio of a receiver alone."""
    gear = session.unit.gear
    if gear is None or "tuner" not in gear.types or len(gear.types) < 2:
        return False
    inputs = {str(f.at.get("input", "")).upper() for run in group for f in run.findings}
    return bool(inputs) and inputs <= {*RADIO}


def _whole_series(measured: Sequence[Card], results: Results, called: Set[str]) -> list[Card]:
    """Return all cards in their order; tables only if a note calls for them."""
    files, verdicts, price, repaired = results.files, results.verdicts, results.price, results.repaired
    session, repair = files.session, files.repair
    most = changed_most(measured)
    pair = [card for card in measured if card is most]
    # what else it shows, its verdict, comes once the part is found and read again
    measured = sorted(measured, key=lambda card: most is None or card.first != most.first)
    outcome = find_outcome(session, repair, results.runs, results.changes)
    change = most.finding.facts["change"] if most is not None and most.finding is not None else None
    gear = session.unit.gear is not None
    film = [card for card in choose_for_film(measured, called, session.cards.only_page, by_meter=gear) if card.on_film]
    filmed = [card.verdict for card in film if card.verdict is not None]
    cards = [
        session_cards.make_title_card(session, price, files.photo),
        session_cards.make_rated_card(session, verdicts, filmed),
        *pair,
        make_hunt_card(repair),
        make_fix_card(repair),
        session_cards.make_repair_card(repair) if "repair-list" in called else None,
        *(card for card in measured if card is not most),
        make_score_card(verdicts, session.printed, repaired=repaired, called="score" in called),
        session_cards.make_table_card(session, results.table, verdicts, repaired=repaired)
        if "table" in called
        else None,
        session_cards.make_number_card(most),
        make_ending_card(session, outcome, change, repair, verdicts),
        session_cards.make_price_card(price),
    ]
    return [card if card.first else replace(card, first=card.id) for card in cards if card is not None]


def _finished(card: Card, files: SessionFiles) -> Card:
    """Return a card, with that as found, complete with the unit's name, the user's mark and its alternative text."""
    mark = files.mark if card.id in ("title", "ending") else b""
    alone = replace(card, corner=files.session.unit.short_name, mark=mark, found=None)
    alone = word_bounds(add_alt_text(name_what_is_included(alone)))
    return replace(alone, found=replace(_finished(card.found, files), repaired=alone)) if card.found else alone


def _cards(
    name: str,
    group: Sequence[Run],
    taken: Collection[str],
    results: Results,
    called: Set[str],
) -> list[Card]:
    """Return the cards of a group: its own, with the group's name, then further ones that a note calls for.

    A further card whose name a measurement has already takes the next number.
    """
    kind = KINDS[group[0].conditions.measurement.kind]
    after = [run for run in group if run.conditions.measurement.stage != "before"]
    alone = after if {run.conditions.measurement.stage for run in after} - {"bench"} else group
    verdicts = results.verdicts
    drawn = [(name, kind.card(group, verdicts), kind.card(alone, verdicts))]
    for other, now in zip(kind.further(group), kind.further(alone), strict=False):
        own = _free(f"{name}-{other.id}", taken)
        if called & {own, f"{own}-found", f"{own}-rated"}:
            drawn.append((own, other, now))
    hold = next((s for run in group if (s := run.conditions.measurement.hold_s)), None)
    cards = []
    for own, base, now in drawn:
        base, now, picture = replace(base, id=own), replace(now, id=own), base.id
        if isinstance(base.body, Chart) and not base.body.panels:
            continue  # nothing to see
        for still in make_stills(base, now, group, verdicts, results.changes, kind.compared, further=own != name):
            of_still = still.id if still.id == own else _free(still.id, taken)
            found = still.found and _of_group(still.found, _free(f"{of_still}-found", taken), name, hold, picture)
            cards.append(replace(_of_group(still, of_still, name, hold, picture), found=found))
    radio = _is_radio(group, results.files.session)
    return [_of_radio(card) for card in cards] if radio else cards


def _of_radio(card: Card) -> Card:
    """Return a card of the radio of a receiver, which has a segment of its own."""
    finding = card.finding and replace(card.finding, facts={**card.finding.facts, "radio": True})
    return replace(card, finding=finding)


def _of_group(card: Card, own: str, name: str, hold_s: float | None, picture: str) -> Card:
    """Return a card of a group under its own id. `picture`: which of its kind's further pictures it is,
    by which its title is worded."""
    finding = card.finding and replace(card.finding, facts={**card.finding.facts, "picture": picture})
    return replace(card, id=own, first=name, hold_s=hold_s, finding=finding)


def _free(name: str, taken: Collection[str]) -> str:
    """Return a name, with the next number if it is taken."""
    names = (f"{name}{number}" for number in ("", *range(2, len(taken) + 3)))
    return next(free for free in names if free not in taken)


# ------------------------------------------------------------------ which card a note means


def _names_of(cards: Sequence[Card], runs: Sequence[Run]) -> dict[str, str]:
    """Return every name of a still with its id: its own, its measurements', one of earlier days."""
    known = {still.id: still.id for still in stills(cards)}
    for run in runs:
        m = run.conditions.measurement
        if m.card in known:
            known.setdefault(m.id, m.card)
    return known | {old: now for old, now in OLD_NAMES.items() if now in known and old not in known}


def called_cards(given: Notes, series: Series, before_repair: Collection[str]) -> tuple[Notes, tuple[str, ...]]:
    """Return notes with each [card …] as the id of a still, and remarks on cards that aren't there.

    Parameters
    ----------
    given : Notes
        The notes as read.
    series : Series
        The cards.
    before_repair : collection of str
        Segments of the time before the repair, in which a pair is shown as found.

    Raises
    ------
    InputError
        For a near miss, or a card that [cards] keeps out of the film.
    """
    known = series.names
    as_found = {card.id: card.found.id for card in series.cards if card.found}
    later = {still.id for still in stills(series.cards) if still.stage in (AFTER, PAIR)}
    faults, missing, notes = Faults("notes.txt"), [], []
    for note in given.notes:
        called, early = [], (note.segment or "opening") in before_repair
        for name in note.cards if not note.cut else ():
            own = known.get(name, "")
            own = as_found.get(own, own) if early else own
            if key := series.kept_out.get(own):
                faults.add(note.line, f"[card {name}]: {key} in [cards] of session.toml leaves it out; change either")
            elif own in later and early:
                why = "it has only what was measured after the repair"
                missing.append(f"notes.txt:{note.line}: card {name} is not shown in {note.segment}: {why}")
            elif own:
                called.append(own)
            elif name not in (*SESSION_CARDS, *OLD_NAMES) and "did you mean" in (hint := nearest(name, known)):
                faults.add(note.line, f"[card {name}]: there is no such card; {hint}")
            else:
                there = ", ".join(known)
                missing.append(
                    f"notes.txt:{note.line}: card {name} is called for, but nothing makes it; there are {there}"
                )
        notes.append(replace(note, cards=tuple(dict.fromkeys(called))))
    faults.stop_if_any()
    return replace(given, notes=tuple(notes)), tuple(missing)
