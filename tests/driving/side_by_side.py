"""Where a pen goes whose passes lie side by side, by shapely's offset curves (GEOS).

A line of n passes has them half a tip apart, symmetric about it; the pen stays down from one to
the next, over the line's ends, and begins and ends on the line itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from shapely import LineString

if TYPE_CHECKING:
    from typing import Any

    from marking.arrays import FloatArray


def parallels(points: Any, passes: int, width: float) -> list[FloatArray]:
    """Each pass (2, 2) of a straight line, from its right to its left."""
    middle = (passes - 1) / 2
    line = LineString(np.asarray(points, dtype=float))
    return [np.array(line.offset_curve((n - middle) * width / 2).coords) for n in range(passes)]


def way(points: Any, passes: int, width: float) -> FloatArray:
    """(n, 2): all that the pen goes through for a straight line."""
    exact = np.asarray(points, dtype=float)
    if passes == 1:
        return exact
    each = parallels(exact, passes, width)
    along = [line[:: -1 if n % 2 else 1] for n, line in enumerate(each)]
    return np.concatenate([exact[:1], *along, exact[:1] if passes % 2 == 0 else exact[-1:]])
