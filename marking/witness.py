"""Which marks tell a section where it stands: inked crossings where there are any, else ticks.

Marks lie on cross lines, since every section has some. Where a long line crosses there, the
inked crossing serves (`grid`); elsewhere a removable tick across the cross line does (`cross`);
where no ink can be seen at all, a mark set out by tape (`control`). Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.seams import GUARD

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from marking.layout import Grid

    FloatArray = NDArray[np.float64]

Kind = Literal["grid", "cross", "control"]
Box = tuple[float, float, float, float]
_SAME = 1e-6


@dataclass(frozen=True)
class Mark:
    """One witness mark: a point on a cross line, and what makes it visible."""

    id: str
    at_table: tuple[float, float]
    kind: Kind


def marks_beside(
    grid: Grid, x: float, low: float, high: float
) -> list[tuple[tuple[float, float], Kind]]:
    """Two marks on the cross line at `x`, as far apart as `low` to `high` allows.

    A crossing with a long line within a pitch of either end is preferred to a tick at that end.
    """
    ys = np.array([line.y for line in grid.long_lines])
    low, high = max(low, float(ys[0])), min(high, float(ys[-1]))
    inside = ys[(ys >= low - _SAME) & (ys <= high + _SAME)]
    pitch = grid.pitch[1]
    found: list[tuple[tuple[float, float], Kind]] = []
    for end, crossing, inset in (
        (low, inside[:1], 0.0),
        (high, inside[-1:], min(pitch / 2, (high - low) / 2)),
    ):
        if crossing.size and abs(float(crossing[0]) - end) <= pitch:
            found.append(((x, float(crossing[0])), "grid"))
        else:
            found.append(((x, end - inset), "cross"))
    return found


def marks_below(
    grid: Grid, y: float, low: float, high: float, kind: Kind | None = None
) -> list[tuple[tuple[float, float], Kind]]:
    """Marks at height `y` on the first and the last cross line between `low` and `high`."""
    inside = grid.cross_x[(grid.cross_x >= low - _SAME) & (grid.cross_x <= high + _SAME)]
    if inside.size == 0:
        return []
    inked = any(abs(line.y - y) < _SAME for line in grid.long_lines)
    seen: Kind = kind or ("grid" if inked else "cross")
    return [((float(x), y), seen) for x in dict.fromkeys((inside[0], inside[-1]))]


def tick(mark: Mark, grid: Grid, core: Box) -> FloatArray:
    """The removable tick (2, 2) that crosses the cross line at `mark`, inside `core`."""
    x, y = mark.at_table
    reach = min(grid.pitch[0] / 4, x - core[0] - GUARD, core[2] - GUARD - x)
    return np.array([[x - reach, y], [x + reach, y]])
