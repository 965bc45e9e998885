"""Lines and bands of a spectrum that have a name: a pilot tone, a subcarrier, a motor's hum, rumble."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.noise_lines import band_volts

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array
    from reviewkit.signal.noise_lines import Noise

# IEC 60098's unweighted rumble, from memory: its filter falls slowly, so another meter may read a little more
RUMBLE_BAND_HZ = (10.0, 315.0)
# an FM tuner's pilot tone and its subcarrier (ITU-R BS.450)
STEREO_HZ = {"pilot": 19_000.0, "subcarrier": 38_000.0}
_WITHIN = 0.005  # of the frequency: a clock, or the mains, is off by less


@dataclass(frozen=True)
class NamedLine:
    """A line looked for at a frequency: its level, V r.m.s. `is_distinct`: whether it stands out of the noise; if not,
    `level_v` is the noise in its place, a bound.
    """

    frequency_hz: float
    level_v: float
    is_distinct: bool


def line_at(noise: Noise, frequency_hz: float) -> NamedLine | None:
    """Return the strongest line within half a percent of a frequency, or within the width of two lines if that is more.

    Parameters
    ----------
    noise : Noise
        A spectrum, separated into noise and lines.
    frequency_hz : float
        Where to look.

    Returns
    -------
    NamedLine | None
        None if the data doesn't reach there.
    """
    edges = _around(frequency_hz, noise.spacing_hz)
    if edges[0] < noise.reach_hz[0] or edges[1] > noise.reach_hz[1]:
        return None
    lines = noise.lines_in(edges)
    if lines:
        strongest = max(lines, key=lambda line: line.power)
        return NamedLine(strongest.frequency_hz, float(np.sqrt(strongest.power)), True)
    return NamedLine(frequency_hz, band_volts(noise, edges), False)


def strongest_other(
    noise: Noise, band_hz: tuple[float, float], known_hz: Sequence[float | tuple[float, float]]
) -> NamedLine | None:
    """Return the strongest line in a band that isn't one of those known.

    Parameters
    ----------
    noise : Noise
        A spectrum, separated into noise and lines.
    band_hz : tuple[float, float]
        Where to look.
    known_hz : Sequence[float | tuple[float, float]]
        Lines that don't count, each with half a percent to either side, and bands.

    Returns
    -------
    NamedLine | None
        None if no other line stands out of the noise.
    """
    spans = [each if isinstance(each, tuple) else _around(each, noise.spacing_hz) for each in known_hz]
    others = [
        line for line in noise.lines_in(band_hz) if not any(low <= line.frequency_hz <= high for low, high in spans)
    ]
    if not others:
        return None
    strongest = max(others, key=lambda line: line.power)
    return NamedLine(strongest.frequency_hz, float(np.sqrt(strongest.power)), True)


def _around(frequency_hz: float, spacing_hz: float) -> tuple[float, float]:
    reach_hz = max(_WITHIN * frequency_hz, 2 * spacing_hz)
    return frequency_hz - reach_hz, frequency_hz + reach_hz


def highest_lines(noise: Noise, edges_hz: Array) -> tuple[Array, Array]:
    """Return a spectrum thinned out for drawing: the highest line between each pair of edges.

    Parameters
    ----------
    noise : Noise
        A spectrum, separated into noise and lines.
    edges_hz : Array
        Shape (n,), rising.

    Returns
    -------
    tuple[Array, Array]
        Frequencies in Hz and levels in V r.m.s., both shape (m,), m < n: those between which there is a line.
    """
    power = noise.power.copy()
    for line in noise.lines:
        power[int(np.argmin(np.abs(noise.frequency_hz - line.frequency_hz)))] = line.power
    places = np.searchsorted(noise.frequency_hz, edges_hz)
    highest = [low + int(np.argmax(power[low:high])) for low, high in pairwise(places) if high > low]
    return noise.frequency_hz[highest], np.sqrt(power[highest])
