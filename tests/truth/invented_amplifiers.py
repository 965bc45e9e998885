"""Amplifiers made up at random: each figure of one follows from closed forms. Nothing of reviewkit is imported."""

from __future__ import annotations

import math
from dataclasses import dataclass

import known_waveforms as known
import numpy as np
from known_filters import BandPass
from numpy.typing import NDArray

Array = NDArray[np.float64]
AUDIO_TOP_HZ = 20_000.0


@dataclass(frozen=True)
class Side:
    """One channel."""

    through: BandPass  # response, its gain the channel's own
    zone: float  # dead zone at the zero crossing, of the tone's peak
    cap_w: float  # where distortion passes 1 %
    steepness: float  # the power law of the rise to it
    quiet_percent: float  # distortion at 1 W that noise makes; it falls with the root of the power
    treble: float  # how much more distortion at 20 kHz than at 1 kHz, per decade of frequency
    leak_db: float  # into the other channel at low frequency
    leak_1k_db: float  # and what a capacitance adds at 1 kHz
    source_ohm: float
    source_henry: float

    def percent_at_power(self, power_w: Array) -> Array:
        """Distortion at 1 kHz: noise, then a rise that passes 1 % at `cap_w`. The larger of the two."""
        rise = (power_w / self.cap_w) ** self.steepness
        return np.maximum(self.quiet_percent / np.sqrt(power_w), rise)

    def percent_at_frequency(self, frequency_hz: Array | float) -> Array:
        """Distortion at one power: flat to 1 kHz, then a straight line over log frequency."""
        decades = np.maximum(0, np.log10(np.asarray(frequency_hz, dtype=float) / 1000))
        return np.asarray(self.quiet_percent * (1 + self.treble * decades))

    def leak(self, frequency_hz: Array | float) -> Array:
        """What reaches this channel of the driven one, a ratio."""
        rising = 10 ** (self.leak_1k_db / 20) * np.asarray(frequency_hz, dtype=float) / 1000
        return np.asarray(np.hypot(10 ** (self.leak_db / 20), rising))

    def ohms(self, frequency_hz: Array | float) -> Array:
        """|R + jωL| at the terminals."""
        return np.asarray(np.hypot(self.source_ohm, 2 * math.pi * np.asarray(frequency_hz) * self.source_henry))

    def tone_peaks(self, frequency_hz: float) -> known.Complex:
        """Peak phasors of a unit sine through the dead zone, as far as the audio band reaches."""
        return known.phasors(known.dead_zone(self.zone), int(AUDIO_TOP_HZ / frequency_hz))


@dataclass(frozen=True)
class Amplifier:
    """An amplifier and how it was measured."""

    maker: str
    model: str
    year: int
    load_ohm: float
    left: Side
    right: Side
    tone_hz: float
    tone_rate_hz: int
    tone_peak_v: float

    @property
    def sides(self) -> dict[str, Side]:
        """Channel -> side."""
        return {"L": self.left, "R": self.right}


_SYLLABLES = (
    "bar",
    "del",
    "fen",
    "gro",
    "hul",
    "kest",
    "lom",
    "mar",
    "nor",
    "öst",
    "pell",
    "quill",
    "rus",
    "tarn",
    "vex",
)


def _side(rng: np.random.Generator) -> Side:
    poles = int(rng.integers(1, 3))
    return Side(
        through=BandPass(rng.uniform(1.5, 30), rng.uniform(15_000, 90_000), poles, rng.uniform(-10, 30)),
        zone=float(10 ** rng.uniform(-3.5, -1)),
        cap_w=float(10 ** rng.uniform(0.5, 2.3)),
        steepness=float(rng.uniform(6, 60)),
        quiet_percent=float(10 ** rng.uniform(-3, -1.3)),
        treble=float(rng.uniform(0.1, 4)),
        leak_db=float(rng.uniform(-95, -60)),
        leak_1k_db=float(rng.uniform(-80, -45)),
        source_ohm=float(10 ** rng.uniform(-1.7, 0.3)),
        source_henry=float(rng.uniform(0.2e-6, 4e-6)),
    )


def invented(seed: int) -> Amplifier:
    """The amplifier of a seed. Names are made of syllables: they mean nobody."""
    rng = np.random.default_rng([30, seed])

    def name(syllables: int) -> str:
        return "".join(str(part) for part in rng.choice(_SYLLABLES, syllables)).capitalize()

    return Amplifier(
        maker=name(2),
        model=f"{name(1)} {rng.integers(2, 999)}",
        year=int(rng.integers(1955, 1995)),
        load_ohm=float(rng.choice([4.0, 6.0, 8.0, 16.0])),
        left=_side(rng),
        right=_side(rng),
        tone_hz=float(rng.uniform(250, 3000)),
        tone_rate_hz=int(rng.choice([44_100, 48_000, 88_200, 96_000])),
        tone_peak_v=float(10 ** rng.uniform(-1, 1.4)),
    )
