"""The one array type: float64, any shape; docstrings say which."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
