"""The one array type: float64, any shape; docstrings state which."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

Array: TypeAlias = "NDArray[np.float64]"


def read_only(values: ArrayLike) -> Array:
    """Return a read-only copy of an array.

    What travels must not change, and a part must not keep a whole record in memory.

    Parameters
    ----------
    values : array_like
        Any shape.

    Returns
    -------
    ndarray of float64, same shape
        The copy.
    """
    import numpy as np

    copied = np.array(values, dtype=np.float64)
    copied.setflags(write=False)
    return copied
