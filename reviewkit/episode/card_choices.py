"""Which cards there are, in which order, and which are for filming: by default, and as [cards] and `readings` ask."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence, Set
from dataclasses import replace

from reviewkit.episode.stills import BEFORE, changed_most
from reviewkit.measure import figures
from reviewkit.measure.likeness import is_like
from reviewkit.model import quantities
from reviewkit.model.card import Card, Hero, Rows
from reviewkit.model.card_files import OLD_NAMES, SESSION_CARDS
from reviewkit.model.errors import Faults, nearest
from reviewkit.model.finding import Finding, Run
from reviewkit.model.session import CardChoices
from reviewkit.verdict.verdict import SHORT

_KEYS = ("hide", "order", "only_page")


def read_choices(given: CardChoices, names: Mapping[str, str]) -> tuple[CardChoices, tuple[str, ...]]:
    """Return the choices with each card's id in place of its name, and remarks on names that nothing makes.

    Parameters
    ----------
    given : CardChoices
        The [cards] table.
    names : mapping of str to str
        Every name of a card, with its id.

    Raises
    ------
    InputError
        For a near miss.
    """
    faults, remarks, read = Faults("session.toml"), [], dict[str, tuple[str, ...]]()
    for key in _KEYS:
        written: Sequence[str] = getattr(given, key)
        for name in written:
            if name in names or name in (*SESSION_CARDS, *OLD_NAMES):
                continue  # a card of the session that isn't made today may be tomorrow
            if "did you mean" in (hint := nearest(name, names)):
                faults.add(given.lines.get(key, 0), f"[cards] {key}: there is no card {name}; {hint}")
            else:
                remarks.append(
                    f"session.toml:{given.lines.get(key, 0)}: {key} in [cards] names {name}, which is not a card"
                )
        read[key] = tuple(dict.fromkeys(names[name] for name in written if name in names))
    faults.stop_if_any()
    return CardChoices(read["hide"], read["order"], read["only_page"], given.lines), tuple(remarks)


def leave_out(cards: Sequence[Card], hidden: Collection[str]) -> list[Card]:
    """Return the cards without those that are hidden; of a pair, the card as found may be hidden alone."""
    kept = [card for card in cards if card.id not in hidden]
    return [replace(card, found=None) if card.found and card.found.id in hidden else card for card in kept]


def put_in_order(cards: Sequence[Card], order: Sequence[str]) -> list[Card]:
    """Return the cards with those named put into the places that they take, in the order in which they are named."""
    by_id = {card.id: card for card in cards}
    asked = iter([by_id[name] for name in order if name in by_id])
    return [next(asked) if card.id in order else card for card in cards]


# ------------------------------------------------------------------ for filming


def choose_for_film(
    cards: Sequence[Card], called: Set[str], only_page: Collection[str], *, by_meter: bool = False
) -> list[Card]:
    """Return the cards, each marked as one for filming or for the page only.

    For filming are the cards of the session; of the measurements, what the repair changed most, one for each kind that
    answers a rating, and what misses one; and whatever a note calls for. Where that leaves no measurement, one card of
    each kind is for filming.

    Parameters
    ----------
    cards : sequence of Card
        The cards.
    called : set of str
        Ids of the stills that notes call for.
    only_page : collection of str
        Ids of those that the user leaves out of the film.
    by_meter : bool
        Whether readings are filmed, too, if they are all that there is, or all that there is of a receiver's radio.
    """
    rows = [card for card in cards if _is_by_meter(card) and isinstance(card.body, Rows)]
    measured = [card for card in cards if card.id not in SESSION_CARDS and not isinstance(card.body, Rows)]
    measured = [card for card in measured if not _is_by_meter(card)] or measured
    chosen = _one_of_each_kind([card for card in measured if card.verdict is not None])
    chosen += [card for card in measured if card.verdict is not None and card.verdict.verdict == SHORT]
    most = changed_most(measured)
    chosen += [most] if most is not None else []
    filmed = {card.id for card in chosen or _one_of_each_kind(measured)}
    if by_meter:
        filmed |= {card.id for card in rows if not measured or (card.finding and card.finding.facts.get("radio"))}
    filmed |= {
        card.id for card in cards if card.id in SESSION_CARDS or called & {card.id, card.found and card.found.id}
    }
    # a long table goes on on further cards
    filmed |= {card.id for card in cards if isinstance(card.body, Rows) and card.first in filmed}
    return [_marked(card, card.id in filmed, only_page) for card in cards]


def for_film(cards: Sequence[Card]) -> list[Card]:
    """Return the cards for filming. If only the as-found card of a pair is for filming, it replaces the pair."""
    kept = [card if card.on_film else card.found for card in cards]
    shown = [card for card in kept if card is not None and card.on_film]
    return [replace(card, found=None) if card.found and not card.found.on_film else card for card in shown]


def _one_of_each_kind(cards: Sequence[Card]) -> list[Card]:
    """Return a card of each kind of measurement: that of the rating which the maker names first, else the first."""
    chosen: dict[str, Card] = {}
    for card in sorted(cards, key=lambda card: card.verdict.rating.order if card.verdict else 0):
        chosen.setdefault(
            (card.finding.facts["picture"] or card.finding.facts["kind"]) if card.finding else card.subject, card
        )
    return list(chosen.values())


def _is_by_meter(card: Card) -> bool:
    """Return whether a card shows only what a meter read: such figures are for the page."""
    return bool(card.finding and card.finding.facts.get("by_meter"))


def _marked(card: Card, filmed: bool, only_page: Collection[str]) -> Card:
    found = card.found and replace(card.found, on_film=filmed and card.found.id not in only_page)
    return replace(card, on_film=filmed and card.id not in only_page, found=found)


# ------------------------------------------------------------------ the figures that a measurement asks for


def add_readings(cards: Sequence[Card], runs_of: Mapping[str, Sequence[Run]]) -> list[Card]:
    """Return the cards with the figures that `readings` asks for, below the large one.

    Parameters
    ----------
    cards : sequence of Card
        The cards.
    runs_of : mapping of str to sequence of Run
        The runs of each group of cards, by the name of the group.

    Raises
    ------
    InputError
        For a figure that a measurement doesn't have.
    """
    faults = Faults("session.toml")
    for runs in runs_of.values():
        for run in runs:
            _check(run, runs, faults)
    faults.stop_if_any()
    return [_with_readings(card, runs_of.get(card.first, ())) for card in cards]


def _check(run: Run, runs: Sequence[Run], faults: Faults) -> None:
    known = dict.fromkeys(name for each in runs for finding in each.findings for name in names_of_figure(finding))
    m = run.conditions.measurement
    for wanted in m.readings:
        if wanted.casefold() not in (name.casefold() for name in known):
            hint = nearest(wanted, known)
            faults.add(m.line, f'[[measurement]] {m.id}: readings: it has no figure "{wanted}"; {hint}')


def names_of_figure(finding: Finding) -> tuple[str, ...]:
    """Return what a figure may be called: "damping factor", "damping factor at 20 Hz", "power at 1 % distortion"."""
    name, place = quantities.quantity_of(finding).name, figures.place(finding)
    return (name, f"{name} {place}") if place else (name,)


def _with_readings(card: Card, runs: Sequence[Run]) -> Card:
    """Return a card, and that as found, with further figures, those of its own stage."""
    wanted = list(dict.fromkeys(name for run in runs for name in run.conditions.measurement.readings))
    if not wanted or card.hero is None:
        return card
    found = card.found and replace(card.found, hero=_noted(card.found, wanted, runs, "before"))
    stage = "before" if card.stage == BEFORE else ""
    return replace(card, hero=_noted(card, wanted, runs, stage), found=found)


def _noted(card: Card, wanted: Sequence[str], runs: Sequence[Run], stage: str) -> Hero | None:
    """Return a card's hero with further figures, of the worse channel each, and none that it is itself."""
    hero = card.hero
    if hero is None:
        return None
    own = [run for run in runs if (run.conditions.measurement.stage == "before") == (stage == "before")]
    found = [finding for run in own if run.conditions.measurement.stage != "bench" for finding in run.findings]
    further = dict.fromkeys(text for name in wanted if (text := _worse(name, found, card)))
    return replace(hero, further=tuple(further))


def _worse(name: str, findings: Sequence[Finding], card: Card) -> str:
    """Return the first figure with this name, for its worse channel: "THD 0.012 % right"; "" if the card has it."""
    called = [f for f in findings if name.casefold() in (each.casefold() for each in names_of_figure(f))]
    alike = [f for f in called if _is_of_a_channel(f, called[0])]
    worse = quantities.worse(alike)
    if worse is None or (card.hero and worse in card.hero.findings):
        return ""
    place = figures.place(worse)
    own = names_of_figure(worse)[0 if place.removeprefix("at ") in card.conditions else -1]
    whose = figures.side(worse.channel) if len(alike) > 1 else ""
    return " ".join(filter(None, (own, quantities.show(worse), whose)))


def _is_of_a_channel(one: Finding, other: Finding) -> bool:
    """Return whether two figures are the same one, whatever the channel and what comes out of it: one channel of a
    measurement amplifies more than the other.
    """
    same_place = figures.where(one) == figures.where(other) or quantities.quantity_of(one).swept
    if one.measurement == other.measurement and same_place:
        one = replace(one, at={**one.at, **{key: other.at[key] for key in ("power", "voltage") if key in other.at}})
    return is_like(replace(one, channel=""), replace(other, channel=""))
