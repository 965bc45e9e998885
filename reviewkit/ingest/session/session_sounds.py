"""[[sound]] tables → sounds: their recordings looked up, and where their levels may be matched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from reviewkit.ingest.session.session_measurements import safe_name
from reviewkit.ingest.session.session_paths import find_flaw
from reviewkit.ingest.session.session_place import Place, show_value
from reviewkit.model.kind import Kind
from reviewkit.model.session import CAPTURES, Measurement, Recording, Sound

_LEVEL_COUNTS = ("hum", "noise", "balance", "response")  # where the level is the point


def complete_sounds(
    entries: Sequence[tuple[Sound, Place]], measurements: Sequence[Measurement], folder: Path, kinds: Mapping[str, Kind]
) -> tuple[Sound, ...]:
    """Return all sounds with their recordings; note every fault at its line."""
    by_id = {m.id: m for m in measurements}
    first: dict[str, int] = {}
    sounds = []
    for each, place in entries:
        _check_id(each, place, first)
        for start_s, end_s in zip(each.from_s, each.to_s or (), strict=False):
            if end_s <= start_s:
                place.fault(f"to = {show_value(place.raw['to'])} is not after from; write a later time", "to")
                break
        named = {"before": each.before, "after": each.after}
        recordings = [_look_up(key, name, by_id.get(name), place, folder) for key, name in named.items()]
        measured = [by_id[name] for name in named.values() if name in by_id]
        shown = [each.of, *(kinds[m.kind].sound for m in measured if m.kind in kinds)]
        _check_match(each, place, shown)
        sounds.append(replace(each, of=next(filter(None, shown), ""), recordings=tuple(recordings)))
    return tuple(sounds)


def _check_id(each: Sound, place: Place, first: dict[str, int]) -> None:
    """Note an id that can't be part of a file's name, or that another sound has."""
    if not each.id:
        return
    given, safe = f"id = {show_value(each.id)}", safe_name(each.id)
    if each.id != safe:
        why = "is not a file name that is safe everywhere: letters a to z, digits, and - _ . between them, at most 60"
        place.fault(f'{given} {why}; write id = "{safe}"', "id")
    elif each.id.casefold() in first:
        place.fault(f'{given} is that of the sound in line {first[each.id.casefold()]}; write id = "{safe}-2"', "id")
    first.setdefault(each.id.casefold(), place.line)


def _look_up(key: str, value: str, m: Measurement | None, place: Place, folder: Path) -> Recording:
    """Return the recording that `before` or `after` means: a measurement's capture, or a file."""
    given = f"{key} = {show_value(value)}"
    if m is None:
        if value and (flaw := find_flaw(folder, value)):
            place.fault(f"{given}{'' if flaw.startswith(':') else ' '}{flaw}", key)
        return Recording(value)
    if not m.file.lower().endswith(CAPTURES):
        what = f"holds {show_value(m.file)}" if m.file else "has no file"
        place.fault(f"{given} is a measurement that {what}, which can't be played; name a WAV or FLAC file", key)
    if m.stage and m.stage != key:
        place.fault(f'{given} is a measurement of stage = "{m.stage}"; name one of stage = "{key}"', key)
    return Recording(m.file, m.columns)


def _check_match(each: Sound, place: Place, shown: Sequence[str]) -> None:
    """Note levels that are to be matched although their difference is what is to be heard. `shown`: what the sound is
    of, by itself and by its measurements.
    """
    if not each.match:
        return
    level = next((word for word in shown if word in _LEVEL_COUNTS), "")
    if level:
        place.fault(
            f"match = true would hide the difference: for {level}, the level is the point; leave match out", "match"
        )
    elif not any(shown):
        remedy = 'write of = "music", of = "speech" or of = "tone"'
        place.fault(
            f"match = true needs to know what is heard, because for some sounds the level is the point; {remedy}",
            "match",
        )
