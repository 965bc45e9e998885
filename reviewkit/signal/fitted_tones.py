"""Several tones of a waveform, fitted together by least squares and subtracted.

Each tone is its complex amplitude times the window's closed-form spread, so one Gauss-Newton fit over the lines of all
lobes gives the place and amplitude of every tone. Lobes may overlap: the fit separates tones that are a few lines
apart, which a sum over each lobe would mix.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.tone_lines import (
    SEARCH_BETA,
    WORST_MISFIT,
    Line,
    NoTones,
    of_waveform,
    summits,
    unsteady,
)
from reviewkit.signal.windows import kaiser_spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Complex = NDArray[np.complex128]

REST_BETA = 5.0  # a narrow lobe, two lines to each side: leakage is weak after the tones are subtracted
LEAST_APART = 2.5  # lines: through the first window, closer tones look like one
_ROUNDS = 4
_STEPS = 20
_MOST_TONES = 150
_CONVERGED = 1e-9  # lines
_LONGEST_STEP = 0.5  # lines
_MOST_OFF = 0.005  # how far the mains is from its nominal frequency
_SLOPE = 1e-5  # lines over which a spread's slope is estimated


def fit_together(lines: Complex, places: Array, beta: float) -> tuple[Array, Complex, Array]:
    """Fit several tones, and 0 Hz, to the lines of their lobes.

    Parameters
    ----------
    lines : Complex
        Shape (n,), phases relative to the middle of the record, seen through a Kaiser window.
    places : Array
        Shape (m,), where the tones are looked for, in lines.
    beta : float
        The window's shape.

    Returns
    -------
    tuple[Array, Complex, Array]
        Places and amplitudes, shape (m,), in the scale of `lines`, and the share of the power in each tone's lobe that
        the fit leaves unexplained.
    """
    places = np.array(places, dtype=float)
    reach = int(beta / np.pi) + 1
    index = np.unique(np.clip(np.rint(places)[:, None] + np.arange(-reach, reach + 1), 0, len(lines) - 1)).astype(int)
    data = np.concatenate([lines[index].real, lines[index].imag])
    amplitudes: Complex = np.zeros(len(places), dtype=np.complex128)
    offset = index.astype(float)[:, None]
    zero = np.concatenate([kaiser_spread(offset, beta), np.zeros_like(offset)])
    for _ in range(_STEPS):
        columns = np.hstack([_columns(offset, places, beta), zero])
        found = _least_squares(columns, data)
        amplitudes = found[: len(places)] + 1j * found[len(places) : -1]
        slopes = _slopes(offset, places, beta, amplitudes)
        step = _least_squares(np.hstack([slopes, columns]), data - columns @ found)[: len(places)]
        places = np.clip(places + np.clip(step, -_LONGEST_STEP, _LONGEST_STEP), 0.0, len(lines) - 1.0)
        if float(np.max(np.abs(step))) < _CONVERGED:
            break
    columns = np.hstack([_columns(offset, places, beta), zero])
    found = _least_squares(columns, data)
    amplitudes = found[: len(places)] + 1j * found[len(places) : -1]
    left = np.square(data - columns @ found).reshape(2, -1).sum(axis=0)
    near = np.abs(offset - places) <= reach
    held = np.maximum(np.abs(lines[index]) ** 2 @ near, 1e-300)
    return places, amplitudes, (left @ near) / held


def fit_multiples(lines: Complex, base: float, orders: Array, tones: Array, beta: float) -> tuple[Complex, Array]:
    """Fit the multiples of a frequency known to half a percent, together with tones at known places and 0 Hz.

    Parameters
    ----------
    lines : Complex
        Shape (n,), phases relative to the middle of the record, seen through a Kaiser window.
    base : float
        The place of the first multiple, in lines.
    orders : Array
        Which multiples, shape (m,), rising.
    tones : Array
        The places of the tones, in lines.
    beta : float
        The window's shape.

    Returns
    -------
    tuple[Complex, Array]
        The amplitude of each multiple in the scale of `lines`, and the power per line that the fit leaves around it,
        both shape (m,).
    """
    reach = int(beta / np.pi) + 1
    first, last = int(base * orders[0]) - reach, int(base * orders[-1] * (1 + _MOST_OFF)) + reach + 1
    index = np.arange(max(0, first), min(last, len(lines)))
    data = np.concatenate([lines[index].real, lines[index].imag])
    offset = index.astype(float)[:, None]
    fixed = _columns(offset, np.append(tones, 0.0), beta)[:, :-1]
    place = base
    for _ in range(_STEPS):
        own = _columns(offset, place * orders, beta)
        columns = np.hstack([own, fixed])
        found = _least_squares(columns, data)
        amplitudes = found[: len(orders)] + 1j * found[len(orders) : 2 * len(orders)]
        left = data - columns @ found
        slope = _slopes(offset, place * orders, beta, amplitudes) @ orders
        step = float(_least_squares(np.hstack([slope[:, None], columns]), left)[0])
        if abs(step) < _CONVERGED:
            break
        place = min(max(place + step, base * (1 - _MOST_OFF)), base * (1 + _MOST_OFF))
    # each unknown takes its share of the noise
    power = np.square(left).reshape(2, -1).sum(axis=0) * len(data) / max(1, len(data) - columns.shape[1] - 1)
    near = np.abs(offset - place * orders) <= reach
    return amplitudes, (power @ near) / near.sum(axis=0)


def _least_squares(columns: Array, data: Array) -> Array:
    """Solve for the columns' shares, shape (m,), by the normal equations.

    Scaled to unit length, they are safe here: tones a few lines apart have columns that are far from alike.
    """
    size = np.linalg.norm(columns, axis=0)
    columns = columns / np.where(size > 0, size, 1.0)
    shares = np.linalg.pinv(columns.T @ columns, rcond=1e-13, hermitian=True) @ (columns.T @ data)
    return np.asarray(shares / np.where(size > 0, size, 1.0))


def _columns(offset: Array, places: Array, beta: float) -> Array:
    """Return the lines that a unit real and a unit imaginary amplitude of each tone give, shape (2 · lines, 2 · tones).

    The image below 0 Hz is included. The lines' real parts come first, then their imaginary parts.
    """
    direct, image = kaiser_spread(offset - places, beta), kaiser_spread(offset + places, beta)
    nothing = np.zeros_like(direct)
    return np.block([[direct + image, nothing], [nothing, direct - image]])


def _slopes(offset: Array, places: Array, beta: float, amplitudes: Complex) -> Array:
    """Return the change that a shift of each tone by one line makes, shape (2 · lines, tones)."""
    ahead, behind = (_columns(offset, places + step, beta) for step in (_SLOPE, -_SLOPE))
    change = (ahead - behind) / (2 * _SLOPE)
    tones = len(places)
    return np.asarray(change[:, :tones] * amplitudes.real + change[:, tones:] * amplitudes.imag)


def fitted_tones(samples: Array, rate_hz: float, within: float) -> tuple[list[Line], Array]:
    """Find and fit the tones of a waveform whose level is at least `within` (a ratio) of the strongest's.

    Parameters
    ----------
    samples : Array
        Shape (n,), evenly spaced.
    rate_hz : float
        The sample rate.
    within : float
        Weaker lines are left in the rest.

    Returns
    -------
    tuple[list[Line], Array]
        The tones by frequency, and the samples without them, shape (n,).

    Raises
    ------
    NoTones
        If there is no tone, or if a lobe isn't that of one steady tone.
    """
    lines = of_waveform(samples, rate_hz, SEARCH_BETA)
    assert lines.values is not None
    places = np.array(summits(lines, within), dtype=float)
    if len(places) > _MOST_TONES:
        raise NoTones(f"it holds more than {_MOST_TONES} strong lines, as noise does; is it another kind of file?")
    strongest = 0.0
    for _ in range(_ROUNDS):
        places, amplitudes, misfit = fit_together(lines.values, places, SEARCH_BETA)
        strongest = max(strongest, float(np.max(np.abs(amplitudes))))
        left = of_waveform(samples - _waves(places, amplitudes, len(samples)), rate_hz, SEARCH_BETA)
        # a tone hidden by a stronger neighbour shows after that is subtracted
        more = [i for i in summits(left, within, strongest) if np.min(np.abs(places - i)) >= LEAST_APART - 0.5]
        if not more:
            break
        places = np.append(places, more[:_MOST_TONES])
    else:
        raise NoTones("its strong lines aren't those of steady tones; is it a sweep, or another kind of file?")
    tones = np.abs(amplitudes) >= within * strongest
    for place, bad in zip(places[tones], misfit[tones], strict=True):
        if bad > WORST_MISFIT**2:
            raise NoTones(unsteady(place * lines.line_hz))
    order = np.flatnonzero(tones)[np.argsort(places[tones])]
    found = [Line(float(places[i] * lines.line_hz), float(abs(amplitudes[i])), float(places[i])) for i in order]
    return found, np.asarray(samples - _waves(places[tones], amplitudes[tones], len(samples)))


def _waves(places: Array, amplitudes: Complex, n: int) -> Array:
    """Return the sum of the tones in time, shape (n,), from their r.m.s. amplitudes."""
    turns = 2 * np.pi * (np.arange(n) - n / 2) / n
    total = np.zeros(n)
    for place, amplitude in zip(places, amplitudes, strict=True):
        total += np.sqrt(2) * abs(amplitude) * np.cos(place * turns + np.angle(amplitude))
    return total
