"""When each card comes in the film, as planned."""

from __future__ import annotations

from reviewkit.episode.episode import plan_beat
from reviewkit.model.episode import Episode, Segment
from reviewkit.model.sound import lengths_of


def card_times(episode: Episode) -> dict[str, tuple[float, Segment]]:
    """Return when each card in the film is first shown, s from the start, and its segment, by its id."""
    holds, lengths_s = {card.id: card.hold_s for card in episode.stills}, lengths_of(episode.sounds)
    times: dict[str, tuple[float, Segment]] = {}
    for segment in episode.segments:
        at_s = segment.start_s
        for beat in segment.beats:
            length_s, _ = plan_beat(beat, episode.session, holds, lengths_s)
            for number, card in enumerate(beat.cards):
                times.setdefault(card, (at_s + length_s * number / len(beat.cards), segment))
            at_s += length_s
    return times
