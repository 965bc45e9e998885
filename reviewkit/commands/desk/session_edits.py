"""Edits of session.toml: which cards there are and what they are called, and what a file is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reviewkit.build.composing import Composed
from reviewkit.episode.card_times import card_times
from reviewkit.ingest.session.toml_edit import insert_measurements, set_value
from reviewkit.ingest.session.toml_lines import parse_toml
from reviewkit.model.card import Card
from reviewkit.model.errors import refusal
from reviewkit.model.session import Measurement

SOURCE = "session.toml"
MOST_READINGS = 3  # on a card next to its own figure
# the keys of [bench] that the page has a field for, with an example for the empty field
BENCH_KEYS = {
    "input": "aux",
    "load": "8 ohm",
    "channels": "both",
    "mains": "230 V 50 Hz",
    "level_uncertainty": "0.1 dB",
    "load_tolerance": "1 %",
}


def hide_card(text: str, name: str, *, hide: bool) -> str:
    """Return the text with a card hidden, or shown again."""
    hidden = [each for each in _list_of(text, "cards", "hide") if each != name]
    hidden += [name] if hide else []
    text = set_value(text, SOURCE, ("cards", "hide"), hidden)
    order = _list_of(text, "cards", "order")
    if hide and name in order:
        text = set_value(text, SOURCE, ("cards", "order"), [each for each in order if each != name])
    return text


def move_card(text: str, shown: Composed, name: str, to: int | str) -> str:
    """Return the text with a card in another place in its part of the film: so many places later, or where another
    card is.

    Raises
    ------
    InputError
        If the notes decide on its place, or if there is no such place in its part.
    """
    episode, times = shown.episode, card_times(shown.episode)
    for note in episode.notes.notes:
        if not note.cut and any(name_of(card) == name for card in episode.stills if card.id in note.cards):
            where = f"the note in line {note.line} calls for it, so it comes with that note; move the note or its card"
            raise refusal("notes.txt", where, note.line)
    filmed = sorted((card for card in episode.stills if card.id in times), key=lambda card: times[card.id][0])
    called = {card for note in episode.notes.notes if not note.cut for card in note.cards}
    part = next((times[card.id][1] for card in filmed if name_of(card) == name), None)
    same = list(dict.fromkeys(name_of(card) for card in filmed if times[card.id][1] == part and card.id not in called))
    at = same.index(name) if name in same else -1
    place = at + to if isinstance(to, int) else same.index(to) if to in same else -1
    if at < 0 or not 0 <= place < len(same):
        raise refusal(SOURCE, f"{name} has no other card to change places with in this part of the film")
    moved = [each for each in same if each != name]
    moved.insert(place, name)
    order = {*_list_of(text, "cards", "order"), *(one for one, other in zip(same, moved, strict=True) if one != other)}
    places = iter(moved)
    sequence = [
        next(places) if each in same else each for each in dict.fromkeys(name_of(card) for card in episode.cards)
    ]
    return set_value(text, SOURCE, ("cards", "order"), [each for each in sequence if each in order])


def name_of(card: Card) -> str:
    """Return the name by which [cards] calls a card: that of the pair, of a card as found."""
    return card.repaired.id if card.repaired else card.id


def title_card(text: str, shown: Composed, card_id: str, title: str) -> str:
    """Return the text with a card's title; an empty one lets the program word it."""
    own = _measurements_of(shown, card_id)
    measurement = next((m for m in own if m.title), own[0])
    return _with_keys(text, _key_of(measurement), {"title": title or None})


def choose_reading(text: str, shown: Composed, card_id: str, name: str) -> str:
    """Return the text with a further figure put on a measurement's card, or taken off it.

    Raises
    ------
    InputError
        If the card has as many figures as it can show.
    """
    own = _measurements_of(shown, card_id)
    there = next((m for m in own if name.casefold() in map(str.casefold, m.readings)), None)
    measurement = there or own[0]
    readings = [each for each in measurement.readings if each.casefold() != name.casefold()]
    readings += [] if there else [name]
    if len(readings) > MOST_READINGS:
        why = f"{MOST_READINGS} further figures are the most that a card has; take one off first"
        raise refusal(SOURCE, why, measurement.line)
    return _with_keys(text, _key_of(measurement), {"readings": readings or None})


def _measurements_of(shown: Composed, card_id: str) -> list[Measurement]:
    """Return the measurements on a card, those of its stage if it is one of a pair."""
    card = next((each for each in shown.episode.stills if each.id == card_id), None)
    every = [run.conditions.measurement for run in shown.episode.runs]
    runs = [m for m in every if card and m.card == card.first]
    if not runs:
        raise refusal(SOURCE, f"{card_id} is not the card of a measurement, so this can't be written")
    return [m for m in runs if (m.stage == "before") == bool(card and card.repaired)] or runs


def _key_of(measurement: Measurement) -> dict[str, str]:
    return {"file": measurement.file} if measurement.file else {"id": measurement.id}


def describe_files(text: str, keys: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the text with what some files are; None takes a key away."""
    for file, own in keys.items():
        text = _with_keys(text, {"file": file}, own)
    return text


def choose_thumbnail(text: str, name: str) -> str:
    """Return the text with the thumbnail that is chosen."""
    return set_value(text, SOURCE, ("episode", "thumbnail"), name)


def leave_out(text: str, files: Sequence[str]) -> str:
    """Return the text with files that are kept, but not used."""
    ignored = _list_of(text, "files", "ignore")
    return set_value(text, SOURCE, ("files", "ignore"), list(dict.fromkeys([*ignored, *files])))


def describe_bench(text: str, values: Mapping[str, str]) -> str:
    """Return the text with what [bench] says; an empty value takes its key away."""
    for key in BENCH_KEYS:
        if values.get(key, "") != bench_values(text)[key]:
            text = set_value(text, SOURCE, ("bench", key), values.get(key) or None)
    return text


def bench_values(text: str) -> dict[str, str]:
    """Return what [bench] says of each of BENCH_KEYS, as written; "" if nothing."""
    return bench_of(parse_toml(text, SOURCE).data) if text else dict.fromkeys(BENCH_KEYS, "")


def bench_of(data: Mapping[str, Any]) -> dict[str, str]:
    """Return what the [bench] of a session or a studio says of each of BENCH_KEYS; "" if nothing."""
    table = data.get("bench", {})
    return {key: str(table.get(key, "")) if isinstance(table, dict) else "" for key in BENCH_KEYS}


def _with_keys(text: str, which: Mapping[str, str], keys: Mapping[str, Any]) -> str:
    """Return the text with keys written into the table of a measurement; if there is none, into a new one."""
    tables = parse_toml(text, SOURCE).data.get("measurement", [])
    at = [n for n, table in enumerate(tables) if all(table.get(key) == value for key, value in which.items())]
    if at:
        for key, value in keys.items():
            text = set_value(text, SOURCE, ("measurement", at[0], key), value)
        return text
    new = {**which, **{key: value for key, value in keys.items() if value is not None}}
    return insert_measurements(text, SOURCE, [new]) if new.keys() - which.keys() else text


def _list_of(text: str, table: str, key: str) -> list[str]:
    values = parse_toml(text, SOURCE).data.get(table, {}).get(key, [])
    return [each for each in values if isinstance(each, str)] if isinstance(values, list) else []
