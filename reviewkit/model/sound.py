"""A sound as it is played: before and after the repair, cut, faded and set in level."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from reviewkit.model.session import Sound

SIDES = ("before", "after")
BOTH = "both"
PAUSE_S = 1.0  # between the two in one file
FOLDER = "sounds"  # in out/


@dataclass(frozen=True, eq=False)
class PlayedSide:
    """One of the two.

    Attributes
    ----------
    name
        One of SIDES.
    samples
        Shape (n, 2), left and right: 24 bits, in the upper three bytes of each number.
    gain_db
        What the recording was raised by, dB.
    loudness_lufs, peak_dbtp
        As it is played; None for silence.
    """

    name: str
    samples: NDArray[np.int32]
    gain_db: float
    loudness_lufs: float | None
    peak_dbtp: float | None


@dataclass(frozen=True, eq=False)
class PlayedSound:
    """A sound as it is played.

    Attributes
    ----------
    matched_by
        "tone" or "loudness"; "" if both have one gain.
    tone_hz
        The tone that they are matched by.
    lowered_db
        How far below its target it is, to leave room for its peaks.
    words
        What is written of it: "said", a sentence on its levels, and "short", the same on a card; the name of each of
        its files, by SIDES and BOTH.
    """

    sound: Sound
    rate_hz: int
    sides: tuple[PlayedSide, PlayedSide]
    matched_by: str = ""
    tone_hz: float | None = None
    lowered_db: float = 0.0
    words: Mapping[str, str] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """Return what it is called."""
        return self.sound.title or self.sound.id

    @property
    def lengths_s(self) -> dict[str, float]:
        """Return how long each of its files plays, by SIDES and BOTH, s."""
        alone = {side.name: len(side.samples) / self.rate_hz for side in self.sides}
        return alone | {BOTH: sum(alone.values()) + PAUSE_S}

    def stem(self, part: str) -> str:
        """Return the name of one of its files without folder and ending. `part`: one of SIDES, or BOTH."""
        return f"{self.sound.id}-{part}"


def sound_path(stem: str, ending: str = "wav") -> str:
    """Return the path in out/ of a sound's file."""
    return f"{FOLDER}/{stem}.{ending}"


def lengths_of(sounds: Iterable[PlayedSound]) -> dict[str, float]:
    """Return how long every file of some sounds plays, s, by its stem."""
    return {each.stem(part): length_s for each in sounds for part, length_s in each.lengths_s.items()}
