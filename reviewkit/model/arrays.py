"""The one array type: float64, any shape; docstrings say which."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def read_only(values: ArrayLike) -> Array:
    """Return a read-only copy: what travels must not change, and must not keep a whole record in memory for a part."""
    copied = np.array(values, dtype=np.float64)
    copied.setflags(write=False)
    return copied
