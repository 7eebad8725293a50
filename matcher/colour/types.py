"""Names for the arrays that flow through the house; a docstring beside each use says the shape and the unit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]
