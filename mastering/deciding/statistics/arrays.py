"""The kinds of columns: flags, fractions and whole numbers."""

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
