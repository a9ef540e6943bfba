"""Which marks tell a section where it stands: inked crossings where there are any, else ticks.

Marks lie on cross lines, since every section has some. Where a long line crosses there, the
inked crossing serves (`grid`); elsewhere a removable tick across the cross line does (`cross`);
where no ink can be seen at all, a mark set out by tape (`control`). Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Mapping

    from marking.arrays import FloatArray, Spot
    from marking.layout.layout import Grid

MarkKind = Literal["grid", "cross", "control"]
_SAME = 1e-6
_OFF_JOIN = 0.25
"""Millimetres that a tick keeps off a join."""
_STANDS_OUT = 1.0
"""Millimetres beside a line's ink that a tick needs to be seen."""


class Mark(Struct, frozen=True):
    """One locating mark: a point on a cross line, and what makes it visible."""

    id: str
    at_table: tuple[float, float]
    kind: MarkKind


def marks_beside(
    grid: Grid, x: float, low: float, high: float, *, ticks: bool
) -> list[tuple[Spot, MarkKind]]:
    """Two marks on the cross line at `x`, as far apart as `low` to `high` allows.

    A crossing with a long line within a pitch of either end is preferred to a tick at that end;
    without `ticks`, crossings are all there is.
    """
    ys = np.array([line.y for line in grid.long_lines])
    low, high = max(low, float(ys[0])), min(high, float(ys[-1]))
    inside = ys[(ys >= low - _SAME) & (ys <= high + _SAME)].tolist()
    pitch = grid.pitch[1]
    if inside and (high - inside[-1] <= pitch or not ticks):
        last: tuple[Spot, MarkKind] = (x, inside.pop()), "grid"
    else:
        last = (x, high - min(pitch / 2, (high - low) / 2)), "cross"
    if inside and (inside[0] - low <= pitch or not ticks):
        return [((x, inside[0]), "grid"), last]
    return [((x, low), "cross"), last] if ticks else [last]


def marks_below(
    grid: Grid, y: float, lines: FloatArray, kind: MarkKind | None = None
) -> list[tuple[Spot, MarkKind]]:
    """Marks at height `y` on the first and the last of the cross lines given."""
    inked = any(abs(line.y - y) < _SAME for line in grid.long_lines)
    seen: MarkKind = kind or ("grid" if inked else "cross")
    return [((x, y), seen) for x in dict.fromkeys(lines[[0, -1]].tolist())] if lines.size else []


def crossed_by_ticks(
    grid: Grid, half_ink: Mapping[float, float], room: tuple[float, float]
) -> FloatArray:
    """The cross lines with space on both sides, within `room`, for a tick to stand out of them.

    `half_ink` is half the ink in mm of the line at each x.
    """
    least = np.array([half_ink[x] for x in grid.cross_x.tolist()]) + _STANDS_OUT
    return grid.cross_x[(grid.cross_x - room[0] >= least) & (room[1] - grid.cross_x >= least)]


def tick(mark: Mark, grid: Grid, room: tuple[float, float]) -> FloatArray:
    """The removable tick (2, 2) that crosses the cross line at `mark`, within `room` along x."""
    x, y = mark.at_table
    reach = min(grid.pitch[0] / 4, x - room[0] - _OFF_JOIN, room[1] - x - _OFF_JOIN)
    return np.array([[x - reach, y], [x + reach, y]])
