"""Types of arrays, boxes and points, defined once. For type checking alone: nothing runs it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
ComplexArray = NDArray[np.complex128]
IndexArray = NDArray[np.intp]
"""Places in another array."""
WholeArray = NDArray[np.int64]
"""Whole units of a device."""
Box = tuple[float, float, float, float]
"""x and y of the lower left corner, then of the upper right one."""
Spot = tuple[float, float]
"""x and y of a point."""
