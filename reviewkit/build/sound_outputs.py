"""The outputs of sounds: files, compressed copies for the page, clips; made, or taken from the cache."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from reviewkit.build.cache import Cache
from reviewkit.build.drawing import bring_back
from reviewkit.build.plain_data import fingerprint
from reviewkit.build.program import program_digest
from reviewkit.model.digests import file_digest
from reviewkit.model.episode import Episode
from reviewkit.model.sound import SIDES, PlayedSound, sound_path
from reviewkit.render.cards.card import Order, draw_still


@dataclass(frozen=True)
class SoundFiles:
    """The files of sounds. `files`: by their path in out/; `compressed`: for the page, by stem, as far as this
    machine can.
    """

    files: Mapping[str, bytes] = field(default_factory=dict)
    compressed: Mapping[str, bytes] = field(default_factory=dict)


def make_sound_files(sounds: tuple[PlayedSound, ...], cache: Cache) -> SoundFiles:
    """Make the files of sounds; compressing them takes long, so that is done once for the same samples."""
    if not sounds:
        return SoundFiles()
    from reviewkit.render.footage.sound_files import can_encode_mp3, encode_mp3, write_sounds

    compressed = {}
    for each in sounds if can_encode_mp3() else ():
        for side in each.sides:
            key = fingerprint("compressed sound", program_digest(), each.rate_hz, side.samples)
            content = cache.read(key)
            if content is None:
                content = encode_mp3(side.samples, each.rate_hz)
                cache.write(key, content)
            compressed[each.stem(side.name)] = content
    return SoundFiles(write_sounds(sounds), compressed)


def draw_sound_clips(
    episode: Episode, order: Order, type_digests: Sequence[str], drawn_before: Mapping[str, Path], cache: Cache
) -> dict[str, Path]:
    """Make a clip of each side of each sound, or put the last build's there; return them by their path in out/."""
    motion = order.motion
    if motion is None or not episode.sounds:
        return {}
    from reviewkit.episode.sound_cards import make_sound_cards
    from reviewkit.render.footage.sound_clip import Plot, write_sound_clip

    made = {}
    unplaced = replace(order, motion=replace(motion, folder=Path()))
    for each in episode.sounds:
        cards, lengths_s = make_sound_cards(each, episode.session.unit.name), each.lengths_s
        longest_s = max(lengths_s[name] for name in SIDES)
        for side in each.sides:
            stem = each.stem(side.name)
            key = fingerprint("sound clip", program_digest(), cards[stem], unplaced, tuple(type_digests), side.samples)
            place = motion.file(stem, "+sound.mp4")  # no card's clip has such a name
            made[sound_path(stem, "mp4")] = place
            digest = cache.read(key)
            if digest is not None and bring_back(digest.decode(), place, drawn_before):
                continue
            still, box = draw_still(cards[stem], order)
            end = box.left + box.width * lengths_s[side.name] / longest_s
            plot = Plot(box.left, box.top, end, box.bottom)
            write_sound_clip(still, plot, order.look.ink, side.samples, each.rate_hz, place, motion)
            cache.write(key, file_digest(place).encode())
    return made
