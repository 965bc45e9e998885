"""The outputs of sounds that take long: compressed copies for the page, and clips; made, or taken from the cache."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from reviewkit.build.cache import Cache
from reviewkit.build.drawing import bring_back
from reviewkit.build.making import Making, begin_making
from reviewkit.build.plain_data import fingerprint
from reviewkit.build.pool import Pool
from reviewkit.build.program_digest import program_digest
from reviewkit.model.digests import file_digest
from reviewkit.model.episode import Episode
from reviewkit.model.sound import SIDES, PlayedSound, sound_path
from reviewkit.render.cards.pictures import Order, draw_for_sound
from reviewkit.render.footage.sound_files import can_encode_mp3, encode_mp3


def begin_compressing(sounds: tuple[PlayedSound, ...], pool: Pool, cache: Cache) -> Making:
    """Have copies for the page made by the other processes of a pool, by stem; none where this machine can't."""
    sides = {each.stem(side.name): (side.samples, each.rate_hz) for each in sounds for side in each.sides}
    return begin_making(encode_mp3, sides if sides and can_encode_mp3() else {}, pool, cache)


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
            still, box = draw_for_sound(cards[stem], order)
            end = box.left + box.width * lengths_s[side.name] / longest_s
            plot = Plot(box.left, box.top, end, box.bottom)
            write_sound_clip(still, plot, order.look.ink, side.samples, each.rate_hz, place, motion)
            cache.write(key, file_digest(place).encode())
    return made
