"""The pictures of a sound: its level over time, as found and as repaired, on one scale."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reviewkit.measure import scales
from reviewkit.model.card import Card, Chart, Panel, Trace
from reviewkit.model.sound import SIDES, PlayedSide, PlayedSound
from reviewkit.signal.playing_level import level_over_time

_POINTS_PER_S, _MOST_POINTS = 40, 800
_FULL_SCALE = 2.0**31
_LOWEST_DBFS = -79.0  # of what is drawn


def make_sound_cards(sound: PlayedSound, corner: str) -> dict[str, Card]:
    """Return a card for each side, by the stem of its file. Nothing from after the repair is on the first."""
    before, after = (_traces(side, sound.rate_hz) for side in sound.sides)
    lengths_s = sound.lengths_s
    longest_s = max(lengths_s[name] for name in SIDES)
    x = replace(scales.milliseconds(longest_s / 1000), unit="s")
    y = scales.twenties([float(value) for trace in (*before, *after) for value in trace.y])
    ghost = tuple(replace(trace, role="before", label="") for trace in before)
    return {
        sound.stem(name): Card(
            id=sound.stem(name),
            subject=sound.words.get(name, name),
            conditions=(sound.words["short"],) if "short" in sound.words else (),
            body=Chart((Panel(x, y, traces, label="level relative to full scale"),)),
            title=sound.title,
            corner=corner,
        )
        for name, traces in zip(SIDES, (before, (*ghost, *after)), strict=True)
    }


def _traces(side: PlayedSide, rate_hz: int) -> tuple[Trace, ...]:
    """Return the level of each channel over time; of one channel on both sides, once."""
    samples = side.samples / _FULL_SCALE
    points = min(int(len(samples) / rate_hz * _POINTS_PER_S) + 2, _MOST_POINTS)
    time_s, levels = level_over_time(samples, rate_hz, points)
    levels = np.maximum(levels, _LOWEST_DBFS)
    if np.array_equal(samples[:, 0], samples[:, 1]):
        return (Trace(time_s, levels[:, 0], ""),)
    return tuple(Trace(time_s, levels[:, at], channel, label=channel) for at, channel in enumerate("LR"))
