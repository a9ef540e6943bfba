"""The types of arrays, defined once. For type checking alone: nothing imports it at run time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
