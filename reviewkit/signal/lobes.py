"""The lobe that a tone makes among the lines of a record seen through a Kaiser window: fitted, and subtracted.

Lines are complex, with phases relative to the middle of the record, and scaled so that a tone of peak A gives A/2 at
its line. Places and offsets are in lines; `half` is the lobe's half-width in whole lines, `beta` the window's shape.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reviewkit.signal.windows import kaiser_spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reviewkit.model.arrays import Array

    Complex = NDArray[np.complex128]


def _neighbourhood(lines: Complex, cycles: float, half: int) -> tuple[NDArray[np.int64], Array]:
    """Return the indices of the lines inside the lobe around `cycles`, and their offsets from it."""
    centre = round(cycles)
    index = np.arange(max(1, centre - half), min(len(lines) - 1, centre + half) + 1, dtype=np.int64)
    return index, index.astype(float) - cycles


def _projected(lines: Complex, cycles: float, beta: float, half: int) -> tuple[complex, Complex, Array]:
    """Return a tone's amplitude by least squares, what it leaves of its lobe, and the offsets of those lines."""
    index, offset = _neighbourhood(lines, cycles, half)
    shape = kaiser_spread(offset, beta)
    amplitude = complex(np.sum(lines[index] * shape) / np.sum(shape**2))
    return amplitude, lines[index] - amplitude * shape, offset


def project(lines: Complex, cycles: float, beta: float, half: int) -> complex:
    """Return the least-squares amplitude of a tone at a known place.

    Parameters
    ----------
    lines : Complex
        Shape (n,), scaled as described in the module.
    cycles : float
        The tone's place, in lines.
    beta : float
        The Kaiser window's shape.
    half : int
        The lobe's half-width, in whole lines.

    Returns
    -------
    complex
        Half the peak, with its phase.
    """
    return _projected(lines, cycles, beta, half)[0]


def subtract(lines: Complex, cycles: float, beta: float, half: int, amplitude: complex) -> None:
    """Subtract a tone from its lobe, in place.

    Parameters
    ----------
    lines : Complex
        Shape (n,), scaled as described in the module. Changed.
    cycles : float
        The tone's place, in lines.
    beta : float
        The Kaiser window's shape.
    half : int
        The lobe's half-width, in whole lines.
    amplitude : complex
        Half the tone's peak, with its phase.
    """
    index, offset = _neighbourhood(lines, cycles, half)
    lines[index] -= amplitude * kaiser_spread(offset, beta)


def fit_line(lines: Complex, cycles: float, beta: float, half: int) -> tuple[float, complex]:
    """Fit the tone near `cycles` by Gauss–Newton over its lobe.

    Parameters
    ----------
    lines : Complex
        Shape (n,), scaled as described in the module.
    cycles : float
        Roughly where the tone is, in lines.
    beta : float
        The Kaiser window's shape.
    half : int
        The lobe's half-width, in whole lines.

    Returns
    -------
    tuple[float, complex]
        Its place in lines, and half its peak with its phase.
    """
    for _ in range(8):
        amplitude, left, offset = _projected(lines, cycles, beta, half)
        drift = _drift(left, offset, beta, amplitude)
        cycles = min(max(cycles + drift, 0.0), len(lines) - 1.0)  # without a tone a step may leave the record
        if abs(drift) < 1e-12:
            break
    return cycles, project(lines, cycles, beta, half)


def refit(lines: Complex, cycles: float, beta: float, half: int, amplitude: complex) -> tuple[complex, float]:
    """Fit what a subtracted tone left in its lobe.

    Parameters
    ----------
    lines : Complex
        The lines without the tone, shape (n,).
    cycles : float
        The place that was subtracted, in lines.
    beta : float
        The Kaiser window's shape.
    half : int
        The lobe's half-width, in whole lines.
    amplitude : complex
        The amplitude that was subtracted.

    Returns
    -------
    tuple[complex, float]
        The corrections of its amplitude and of its place.
    """
    correction, left, offset = _projected(lines, cycles, beta, half)
    return correction, _drift(left, offset, beta, amplitude)


def _drift(rest: Complex, offset: Array, beta: float, amplitude: complex) -> float:
    """Return the shift, in lines, that best explains a remainder: its projection on the spread's slope."""
    step = 1e-5
    slope = amplitude * (kaiser_spread(offset - step, beta) - kaiser_spread(offset + step, beta)) / (2 * step)
    weight = float(np.sum(np.abs(slope) ** 2))
    return float(np.real(np.sum(rest * np.conj(slope))) / weight) if weight else 0.0
