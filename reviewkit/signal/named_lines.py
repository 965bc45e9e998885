"""Lines and bands of a spectrum that have a name: a pilot tone, a subcarrier, a motor's hum, rumble."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.noise_lines import band_volts

if TYPE_CHECKING:
    from reviewkit.signal.noise_lines import Noise

# IEC 60098's unweighted rumble, from memory: its filter falls slowly, so another meter may read a little more
RUMBLE_BAND_HZ = (10.0, 315.0)
_WITHIN = 0.005  # of the frequency: a clock, or the mains, is off by less


@dataclass(frozen=True)
class NamedLine:
    """A line looked for at a frequency: its level, V r.m.s. `is_distinct`: whether it stands out of the noise; if not,
    `level_v` is the noise in its place, a bound.
    """

    frequency_hz: float
    level_v: float
    is_distinct: bool


def line_at(noise: Noise, frequency_hz: float, within_hz: float | None = None) -> NamedLine | None:
    """Return the strongest line near a frequency.

    Parameters
    ----------
    noise : Noise
        A spectrum, separated into noise and lines.
    frequency_hz : float
        Where to look.
    within_hz : float | None
        How far to either side; None for half a percent, or the width of two lines if that is more.

    Returns
    -------
    NamedLine | None
        None if the data doesn't reach there.
    """
    reach_hz = within_hz if within_hz is not None else max(_WITHIN * frequency_hz, 2 * noise.spacing_hz)
    edges = (frequency_hz - reach_hz, frequency_hz + reach_hz)
    if edges[0] < noise.reach_hz[0] or edges[1] > noise.reach_hz[1]:
        return None
    lines = noise.lines_in(edges)
    if lines:
        strongest = max(lines, key=lambda line: line.power)
        return NamedLine(strongest.frequency_hz, float(np.sqrt(strongest.power)), True)
    return NamedLine(frequency_hz, band_volts(noise, edges), False)
