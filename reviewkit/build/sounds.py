"""The sounds of a session: read, cut, faded and set in level; which of them a note means."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.model.digits import MINUS
from reviewkit.model.errors import Fault, Faults, InputError, nearest
from reviewkit.model.notes import Notes
from reviewkit.model.session import Session, Sound
from reviewkit.model.sound import BOTH, FOLDER, SIDES, PlayedSide, PlayedSound

if TYPE_CHECKING:
    from reviewkit.ingest.sound_file import Passage


_SHOWN_DB = 0.05
MOST_VALUES = 40_000_000  # samples of all sounds together: three minutes of each side at 48 kHz


def read_sounds(folder: Path, session: Session) -> tuple[PlayedSound, ...]:
    """Return a session's sounds as they are played.

    Raises
    ------
    InputError
        With the faults of them all.
    """
    faults: list[Fault] = []
    sounds: list[PlayedSound] = []
    values = 0
    for sound in session.sounds:
        try:
            sounds.append(_read_sound(folder, sound))
        except InputError as error:
            faults += error.faults
            continue
        values += sum(side.samples.size for side in sounds[-1].sides)
        if values > MOST_VALUES:
            faults.append(_fault(sound, "makes the sounds too long in all; shorten some with from and to"))
            break
    if faults:
        raise InputError(faults)
    return tuple(sounds)


def called_sounds(given: Notes, sounds: Sequence[PlayedSound]) -> Notes:
    """Return notes with each [sound …] as the stem of a file: as found before the repair, then both together.

    Raises
    ------
    InputError
        If there is no such sound.
    """
    from reviewkit.episode.episode import AS_FOUND

    by_stem = {each.stem(part): each.stem(part) for each in sounds for part in (*SIDES, BOTH)}
    faults, notes = Faults("notes.txt"), []
    for note in given.notes:
        known = by_stem | {each.sound.id: each.stem(SIDES[0] if note.segment in AS_FOUND else BOTH) for each in sounds}
        for name in note.sounds:
            if name not in known and not note.cut:
                remedy = nearest(name, known) if known else "write a [[sound]] into session.toml"
                faults.add(note.line, f"[sound {name}]: there is no such sound; {remedy}")
        stems = dict.fromkeys(known[name] for name in note.sounds if name in known)
        notes.append(replace(note, sounds=tuple(stems)))
    faults.stop_if_any()
    return replace(given, notes=tuple(notes))


def remarks_on(sounds: Sequence[PlayedSound]) -> Iterator[str]:
    """Yield what is not as it was asked for: sounds that are below their target, or can't be on the page."""
    from reviewkit.render.footage.sound_files import can_encode_mp3

    if sounds and not can_encode_mp3():
        yield "episode.html: without its sounds, because the sound library here can't write MP3"
    for each in sounds:
        if each.lowered_db >= _SHOWN_DB:
            below = f"{each.lowered_db:.1f} dB below {each.sound.target}".replace("-", MINUS)
            yield f"{FOLDER}/{each.sound.id}: {below}, so that no peak passes {MINUS}1 dBTP"


def _read_sound(folder: Path, sound: Sound) -> PlayedSound:
    from reviewkit.ingest.sound_file import read_passage
    from reviewkit.signal.loudness import measure_loudness, measure_true_peak
    from reviewkit.signal.playing_level import NoLevel, fade, find_tone_levels, quantise, set_levels

    ends = sound.to_s or (None, None)
    passages: list[Passage] = []
    faults: list[Fault] = []
    for recording, start_s, end_s in zip(sound.recordings, sound.from_s, ends, strict=True):
        try:
            passages.append(read_passage(folder / recording.file, recording.file, start_s, end_s, recording.columns))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    before, after = passages
    rate_hz = before.rate_hz
    if after.rate_hz != rate_hz:
        rates = f"{rate_hz / 1000:g} kHz before and {after.rate_hz / 1000:g} kHz after"
        raise InputError(_fault(sound, f"is sampled at {rates}; save both at the same rate"))
    shortest_s = min(len(each.samples) for each in passages) / rate_hz
    if 2 * sound.fade_s > shortest_s:
        raise InputError(_fault(sound, f"fade is longer than half of {shortest_s:.4g} s; write a shorter one"))
    faded = [fade(each.samples, max(round(sound.fade_s * rate_hz), 1)) for each in passages]
    loudness = [measure_loudness(each, rate_hz) for each in faded]
    tone_hz, match = None, loudness if sound.match else None
    try:
        if sound.match and sound.of == "tone":
            tone_hz, match = find_tone_levels([each.samples for each in passages], rate_hz)
        levels = set_levels(loudness, [measure_true_peak(each) for each in faded], sound.target_lufs, match)
    except NoLevel as error:
        raise InputError(_fault(sound, str(error))) from error
    one, other = (
        PlayedSide(name, quantise(each, gain_db), gain_db, _finite(level), _finite(peak))
        for name, each, gain_db, level, peak in zip(
            SIDES, faded, levels.gains_db, levels.loudness_lufs, levels.peaks_dbtp, strict=True
        )
    )
    matched_by = ("tone" if tone_hz else "loudness") if sound.match else ""
    return PlayedSound(sound, rate_hz, (one, other), matched_by, tone_hz, levels.lowered_db)


def _finite(level: float) -> float | None:
    """Return a level; None for silence, which JSON has no number for."""
    return level if math.isfinite(level) else None


def _fault(sound: Sound, message: str) -> Fault:
    return Fault("session.toml", sound.line, f"[[sound]] {sound.id}: {message}")
