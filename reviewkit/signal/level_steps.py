"""Steps of level compared with what they should be, or with the other channel's: linearity and tracking."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_LEAST_OVER_NOISE_DB = 10.0


def linearity_db(nominal_db: Array, measured_db: Array, noise_db: float | None = None) -> tuple[Array, Array]:
    """Return how far each step of a level is from where the highest one puts it.

    Parameters
    ----------
    nominal_db : Array
        The levels that were set, dB or dBFS, shape (n,), in any order.
    measured_db : Array
        The levels read in a narrow band, dB relative to anything, shape (n,).
    noise_db : float | None
        The noise in that band, in the scale of `measured_db`; None if it isn't known.

    Returns
    -------
    tuple[Array, Array]
        Nominal levels, falling from the highest, and the deviations there, dB, both shape (m,). Steps within 10 dB of
        the noise are left out (a rule of this project, no source).
    """
    order = np.argsort(-nominal_db, kind="stable")
    nominal, measured = nominal_db[order], measured_db[order]
    clear = np.ones(len(nominal), dtype=bool) if noise_db is None else measured >= noise_db + _LEAST_OVER_NOISE_DB
    deviation = (measured - measured[0]) - (nominal - nominal[0])
    return nominal[clear], deviation[clear]


def tracking_db(left_db: Array, right_db: Array, reference: int | None = None) -> Array:
    """Return how far a control's two channels are apart at each of its positions.

    Parameters
    ----------
    left_db, right_db : Array
        The levels of both channels, dB, shape (n,), at the same positions.
    reference : int | None
        The position at which they count as equal, so that their balance is left out; None to include it.

    Returns
    -------
    Array
        Left over right, dB, shape (n,).
    """
    apart = left_db - right_db
    return apart if reference is None else apart - apart[reference]
