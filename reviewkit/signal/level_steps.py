"""Steps of level compared with what they should be: a player's linearity."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array


def linearity_db(nominal_db: Array, measured_db: Array) -> tuple[Array, Array]:
    """Return how far each step of a level is from where the highest one puts it.

    Parameters
    ----------
    nominal_db : Array
        The levels that were set, dB or dBFS, shape (n,), in any order.
    measured_db : Array
        The levels read in a narrow band, dB relative to anything, shape (n,).

    Returns
    -------
    tuple[Array, Array]
        Nominal levels, rising, and the deviations there, dB, both shape (n,).
    """
    order = np.argsort(-nominal_db, kind="stable")[::-1]
    nominal, measured = nominal_db[order], measured_db[order]
    return nominal, (measured - measured[-1]) - (nominal - nominal[-1])
