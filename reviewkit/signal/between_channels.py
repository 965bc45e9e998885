"""Phase, delay, polarity and level between two channels that carry the same tones, and a tape head's azimuth.

Each tone is compared over the lines around it, so a tone that wavers with a deck's speed is averaged over the record.
Positive phase and delay: the second channel is later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.tone_lines import SEARCH_BETA, NoTones, of_waveform, summits

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_BETA = 14.0  # side lobes 105 dB down
_WITHIN = 0.05  # of a tone's frequency: how far its lines may be spread
_TONES_WITHIN = 0.1  # 20 dB: hum and harmonics are weaker
# tones closer than this are one that wavers
_APART = 1.2
_POLARITY_BELOW_HZ = 1000.0  # above, a delay may look like a change of polarity
_POLARITY_DEG = 45.0


@dataclass(frozen=True)
class Between:
    """One tone in two channels. `phase_deg`: −180 … 180, positive if the second channel is later; `level_db`: the
    second over the first.
    """

    frequency_hz: float
    phase_deg: float
    level_db: float


@dataclass(frozen=True)
class Delay:
    """The delay of the second channel. `lone`: by one tone alone, so whole periods of it can't be told apart.
    `inverted`: whether the second channel's polarity is; None if no tone is low enough to say.
    """

    seconds: float
    lone: bool
    inverted: bool | None


def compare_channels(first: Array, second: Array, rate_hz: float) -> list[Between]:
    """Compare the tones of two channels.

    Parameters
    ----------
    first, second : Array
        Shape (n,), evenly spaced, taken at the same time.
    rate_hz : float
        The sample rate.

    Returns
    -------
    list[Between]
        A row for each tone within 20 dB of the strongest, by frequency.

    Raises
    ------
    NoTones
        If there is no tone in both channels.
    """
    spectra = [of_waveform(channel, rate_hz, _BETA) for channel in (first, second)]
    search = of_waveform(first, rate_hz, SEARCH_BETA)
    both = search.power + of_waveform(second, rate_hz, SEARCH_BETA).power
    line_hz = search.line_hz
    strongest = float(np.sqrt(np.max(both))) if len(both) else 0.0
    if not strongest > 0:
        raise NoTones("there is no tone in it; is it another kind of file?")
    places: list[int] = []
    for place in sorted(summits(search, _TONES_WITHIN, strongest), key=lambda index: -float(both[index])):
        if all(max(place, other) > _APART * min(place, other) for other in places):
            places.append(place)
    values = [spectrum.values for spectrum in spectra]
    assert values[0] is not None
    assert values[1] is not None
    found = []
    for place in sorted(places):
        reach = max(spectra[0].half, int(_WITHIN * place))
        around = slice(max(1, place - reach), place + reach + 1)
        power = [np.abs(one[around]) ** 2 for one in (values[0], values[1])]
        cross = complex(np.sum(values[1][around] * np.conj(values[0][around])))
        if not (power[0].any() and power[1].any()):
            continue
        centre = float(np.average(np.arange(around.start, around.start + len(power[0])), weights=power[0] + power[1]))
        level = 10 * np.log10(float(np.sum(power[1])) / float(np.sum(power[0])))
        found.append(Between(centre * line_hz, -float(np.degrees(np.angle(cross))), float(level)))
    if not found:
        raise NoTones("no tone is in both channels; is one of them silent?")
    return found


def delay_between(tones: list[Between]) -> Delay:
    """Return the delay that the phases of several tones agree on.

    Parameters
    ----------
    tones : list[Between]
        By frequency, at least one.

    Returns
    -------
    Delay
        Below 1 kHz the lowest tone decides the polarity, and it decides which period of a higher tone is meant.

    Notes
    -----
    phase = 360° · f · τ: unwrapped from the lowest tone up, then fitted by least squares through 0 Hz.
    """
    lowest = tones[0]
    inverted: bool | None = None
    if lowest.frequency_hz <= _POLARITY_BELOW_HZ:
        off = abs(lowest.phase_deg)
        inverted = False if off < _POLARITY_DEG else True if off > 180 - _POLARITY_DEG else None
    turn = 0.5 if inverted else 0.0
    turns, seconds = [], 0.0
    for tone in tones:
        phase = tone.phase_deg / 360 - turn
        phase += round(tone.frequency_hz * seconds - phase)
        seconds = phase / tone.frequency_hz
        turns.append(phase)
    hz = np.array([tone.frequency_hz for tone in tones])
    return Delay(float(np.dot(hz, turns) / np.dot(hz, hz)), len(tones) == 1, inverted)


def azimuth_arcmin(delay_s: float, speed_m_s: float, spacing_m: float) -> float:
    """Return the angle at which a head's gap is off a right angle to the tape, in minutes of arc.

    Parameters
    ----------
    delay_s : float
        Between the two tracks.
    speed_m_s : float
        Of the tape: 0.047625 for a cassette.
    spacing_m : float
        Between the middles of the tracks: 0.0009 for a stereo cassette (from memory).

    Notes
    -----
    τ = s · tan(θ) / v, as in McKnight, "Azimuth in a Magnetic Tape Recorder".
    """
    return float(60 * np.degrees(np.arctan(speed_m_s * delay_s / spacing_m)))
