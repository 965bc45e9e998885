"""The lobe that a tone makes among the lines of a record seen through a Kaiser window: fitted, and taken out.

Lines are complex, phases re the middle of the record, scaled so that a tone of peak A gives A/2 at its line. Places and
offsets are in lines; `half` is the lobe's half-width in whole lines, `beta` the window's.
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
    """Indices of the lines inside the lobe around `cycles`, and their offsets from it."""
    centre = round(cycles)
    index = np.arange(max(1, centre - half), min(len(lines) - 1, centre + half) + 1, dtype=np.int64)
    return index, index.astype(float) - cycles


def project(lines: Complex, cycles: float, beta: float, half: int) -> complex:
    """Least-squares amplitude (half the peak, complex) of a tone at a known place."""
    index, offset = _neighbourhood(lines, cycles, half)
    shape = kaiser_spread(offset, beta)
    return complex(np.sum(lines[index] * shape) / np.sum(shape**2))


def subtract(lines: Complex, cycles: float, beta: float, half: int, amplitude: complex) -> None:
    """Take a tone out of its lobe, in place."""
    index, offset = _neighbourhood(lines, cycles, half)
    lines[index] -= amplitude * kaiser_spread(offset, beta)


def fit_line(lines: Complex, cycles: float, beta: float, half: int) -> tuple[float, complex]:
    """Place (in lines) and amplitude of the tone near `cycles`, by Gauss–Newton over its lobe."""
    amplitude = project(lines, cycles, beta, half)
    for _ in range(8):
        index, offset = _neighbourhood(lines, cycles, half)
        shape = kaiser_spread(offset, beta)
        amplitude = complex(np.sum(lines[index] * shape) / np.sum(shape**2))
        drift = _drift(lines[index] - amplitude * shape, offset, beta, amplitude)
        cycles = min(max(cycles + drift, 0.0), len(lines) - 1.0)  # where no tone is, a step may lead out of the record
        if abs(drift) < 1e-12:
            break
    return cycles, project(lines, cycles, beta, half)


def refit(lines: Complex, cycles: float, beta: float, half: int, amplitude: complex) -> tuple[complex, float]:
    """What the subtracted tone left in its lobe, as a correction of its amplitude and of its place."""
    index, offset = _neighbourhood(lines, cycles, half)
    shape = kaiser_spread(offset, beta)
    correction = complex(np.sum(lines[index] * shape) / np.sum(shape**2))
    return correction, _drift(lines[index] - correction * shape, offset, beta, amplitude)


def _drift(rest: Complex, offset: Array, beta: float, amplitude: complex) -> float:
    """The shift, in lines, that best explains a remainder: its projection on the spread's slope."""
    step = 1e-5
    slope = amplitude * (kaiser_spread(offset - step, beta) - kaiser_spread(offset + step, beta)) / (2 * step)
    weight = float(np.sum(np.abs(slope) ** 2))
    return float(np.real(np.sum(rest * np.conj(slope))) / weight) if weight else 0.0
