"""The signal that a capture or a spectrum holds: one sine, two tones, many, a square wave, or nothing but noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reviewkit.model import quantities
from reviewkit.model.arrays import Array
from reviewkit.signal import tone_lines
from reviewkit.signal.between_tones import FEWEST_TONES
from reviewkit.signal.decibels import amplitude_of_db
from reviewkit.signal.fitted_tones import fitted_tones
from reviewkit.signal.flat_parts import NotSquare
from reviewkit.signal.mains_lines import MAINS_HZ, MOST_MULTIPLES, is_multiple
from reviewkit.signal.step_response import read_square
from reviewkit.signal.tone_lines import Line, NoTones
from reviewkit.signal.wander import hann_lines, wander_of

NOTHING, MAINS_ONLY = "nothing", "mains"
_MOST_SAMPLES = 1 << 17  # enough to know a signal by
_FEWEST_SAMPLES = 256
_WITHIN = 0.1  # tones are the lines whose level is at least a tenth of the strongest's
_MAINS_WANDER = 0.006
_MOST_RIPPLE = 3  # multiples of the mains: one of the first three is the strongest of hum
_LOWEST_HZ, _LOWEST_DB = 20.0, -400.0
_STANDS_DB = 25.0  # of the strongest line over the median one: below it, a spectrum is noise
_HARMONIC, _HIGHEST_ORDER = 0.003, 10  # beyond it, a line may be a multiple by chance
_WEAKER = 0.32  # of a sine's own harmonics: at most −10 dB
_MOST_HARMONICS = 4
_FAR_APART = 2.0


@dataclass(frozen=True)
class Signal:
    """A channel's signal. `kind`: "sine", "wavering", "pair", "many", "square", NOTHING, MAINS_ONLY, or "" if it isn't
    known, and then `kinds` has the kinds of measurement that it may be. `level`: of a tone, else of all of it, r.m.s.
    """

    kind: str
    what: str
    level: float = 0.0
    kinds: tuple[str, ...] = ()


def of_waveform(samples: Array, rate_hz: float) -> Signal:
    """Return the signal of a waveform.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        The sample rate.

    Returns
    -------
    Signal
        With levels in the unit of the samples.
    """
    middle = max(0, (len(samples) - _MOST_SAMPLES) // 2)
    samples = samples[middle : middle + _MOST_SAMPLES]
    rms = float(np.std(samples))
    try:
        step = read_square(samples, rate_hz)
        return Signal("square", f"a square wave of {quantities.hertz(step.frequency_hz)}", rms)
    except NotSquare:
        pass
    if len(samples) < _FEWEST_SAMPLES or not rms:
        return Signal("", "too little to know by", rms, ("tone", "noise", "square"))
    lines = hann_lines(samples)
    cycles = float(np.argmax(np.abs(lines)))
    if (wander := wander_of(lines, cycles)) is not None:
        tone_hz = quantities.hertz(cycles * rate_hz / len(samples))
        return Signal("wavering", f"a tone of about {tone_hz} that wavers by {100 * wander:.2g} %", rms)
    try:
        tones, _ = fitted_tones(samples, rate_hz, _WITHIN)
    except NoTones:
        tones = []
    explained = sum(tone.level**2 for tone in tones)
    if explained < 0.5 * rms**2:  # lines of noise are fitted too
        tones = [tone for tone in tones if _is_mains(tone.frequency_hz)]
        return Signal(MAINS_ONLY if tones else NOTHING, "noise", rms)
    return _of_tones(tones, rms)


def of_spectrum(frequency_hz: Array, level_db: Array, window: str | None) -> Signal:
    """Return the signal of an exported spectrum.

    Parameters
    ----------
    frequency_hz : Array
        Shape (n,), evenly spaced.
    level_db : Array
        Shape (n,).
    window : str | None
        The window, if it is known.

    Returns
    -------
    Signal
        With levels as ratios of 0 dB.
    """
    level_db = np.maximum(level_db, _LOWEST_DB)  # a line of zero volts has no decibels
    level = np.asarray(amplitude_of_db(level_db))
    inside = frequency_hz >= min(_LOWEST_HZ, frequency_hz[-1])
    rms = float(np.sqrt(np.sum(level[inside] ** 2)))
    if float(np.max(level_db[inside]) - np.median(level_db[inside])) < _STANDS_DB:
        return Signal(NOTHING, "noise", rms)
    lines = tone_lines.of_spectrum(frequency_hz, level, window)
    try:
        tones = tone_lines.peaks(lines, _WITHIN)
    except NoTones as why:
        return Signal("", str(why), rms, ("tone", "noise", "intermodulation", "multitone"))
    return _of_tones(tones, rms)


def _of_tones(tones: Sequence[Line], rms: float) -> Signal:
    """Return the signal that strong tones make."""
    strongest = max(tones, key=lambda tone: tone.level)
    if _is_mains(strongest.frequency_hz, _MOST_RIPPLE) and all(_is_mains(tone.frequency_hz) for tone in tones):
        return Signal(MAINS_ONLY, f"mains lines, {quantities.hertz(strongest.frequency_hz)} the strongest", rms)
    sine = f"one sine of {quantities.hertz(strongest.frequency_hz)}"
    if len(tones) == 1:
        return Signal("sine", sine, strongest.level)
    lowest = tones[0].frequency_hz
    orders = [tone.frequency_hz / lowest for tone in tones]
    harmonics = all(abs(order - round(order)) <= _HARMONIC * order for order in orders) and orders[-1] <= _HIGHEST_ORDER
    if harmonics and strongest is tones[0]:
        weaker = [tone.level <= _WEAKER * strongest.level for tone in tones[1:]]
        if all(weaker) and len(tones) <= _MOST_HARMONICS:
            return Signal("sine", f"{sine} with strong harmonics", strongest.level)
        return Signal("", f"{sine} with very strong harmonics", rms, ("tone", "square", "multitone"))
    if len(tones) == 2:
        words = quantities.tones((tones[0].frequency_hz, tones[1].frequency_hz))
        far = tones[1].frequency_hz > _FAR_APART * tones[0].frequency_hz
        if far and min(tones[0].level, tones[1].level) > 0.5 * strongest.level:  # far apart, a test of them is 4:1
            return Signal("", f"two equal tones, {words}", rms, ("between-channels", "intermodulation"))
        return Signal("pair", f"two tones, {words}", rms)
    if harmonics or len(tones) < FEWEST_TONES:
        return Signal("", f"{len(tones)} tones, one the multiple of another", rms, ("multitone", "tone"))
    return Signal("many", f"{len(tones)} tones", rms)


def _is_mains(frequency_hz: float, most: int = MOST_MULTIPLES) -> bool:
    """Return whether a line is the mains' or one of its multiples, of 50 Hz or of 60."""
    return any(is_multiple(frequency_hz, hz, _MAINS_WANDER * frequency_hz, most) for hz in MAINS_HZ)
