"""The nodes of a division: where a tape mark serves as many sections as can reach one place.

Windows overlap in a narrow strip along each join; a node is where the strips of two joins cross,
and all windows round a corner reach it. It stands in the middle there, as near to it as a plain
figure of the tape and bare cloth allow: a cross on bare cloth can be read when all round it is
inked. It knows sections and the grid, no tape. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.measures.lengths import INCH

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import Box, FloatArray, Spot
    from marking.layout.layout import Grid
    from marking.measures.lengths import Units
    from marking.sections.plan import Plan, Section

PLAIN: dict[Units, float] = {"in": float(INCH) / 4, "mm": 5.0}
"""What every node is a whole multiple of, from the zero line and from the base line."""
_INSIDE = 6.0
"""mm inside a window's edge where only that edge decides."""
_SPARE = 2.0
"""mm that a node keeps from the edge of what all its sections reach."""
_BARE = 4.0
"""mm from a line at which a cross stands by itself."""
_SAME = 1e-6


class Node(Struct, frozen=True):
    """A place for a tape mark."""

    at_table: Spot
    sections: tuple[str, ...]
    """Ids of those round it, all of which reach it, in inking order."""
    along_edge: bool
    """Whether it stands in the outermost row or column, where the tape lies along an edge."""


class _NodeAxis(Struct, frozen=True):
    """What decides where nodes stand along one axis."""

    axis: int
    lines: FloatArray
    """Where ink lines cross the axis."""
    plain: float

    def place(self, sections: Sequence[Section], boxes: Sequence[Box], corner: float) -> float:
        """Where along the axis: the middle of what all reach, or just inside what ends there."""
        low = max(box[self.axis] for box in boxes)
        high = min(box[self.axis + 2] for box in boxes)
        begins = all(one.core[self.axis] >= corner - _SAME for one in sections)
        ends = all(one.core[self.axis + 2] <= corner + _SAME for one in sections)
        if begins:
            low = max(low, float(self.lines[0]))
            wanted = low + _INSIDE
            high = min(high, low + 4 * _INSIDE)
        elif ends:
            high = min(high, float(self.lines[-1]))
            wanted = high - _INSIDE
            low = max(low, high - 4 * _INSIDE)
        else:
            wanted = (low + high) / 2
        return self._bare(low + _SPARE, high - _SPARE, wanted)

    def _bare(self, low: float, high: float, wanted: float) -> float:
        """The plain figure nearest to what is wanted on bare cloth; that itself without any."""
        zero = float(self.lines[0])
        first, last = np.ceil((low - zero) / self.plain), np.floor((high - zero) / self.plain)
        figures = zero + self.plain * np.arange(first, last + 1)
        if not figures.size:
            return wanted
        # Lines are far fewer than a bench has places, but each place meets two of them at most.
        after = np.clip(np.searchsorted(self.lines, figures), 1, len(self.lines) - 1)
        clear = np.minimum(
            np.abs(figures - self.lines[after - 1]), np.abs(self.lines[after] - figures)
        )
        covered = np.round(np.maximum(_BARE - clear, 0.0), 6)
        away = np.round(np.abs(figures - wanted), 6)
        return float(figures[np.lexsort((figures, away, covered))[0]])


def nodes(plan: Plan, grid: Grid, units: Units) -> tuple[Node, ...]:
    """Every node of `plan`, row by row from the near edge, each row from the zero end.

    Where the windows on either side of a join do not overlap, each side has a node of its own.
    """
    x_axis = _NodeAxis(0, grid.cross_x, PLAIN[units])
    y_axis = _NodeAxis(1, np.array([line.y for line in grid.long_lines]), PLAIN[units])
    reached = {section.id: reach(section, plan) for section in plan.sections}
    corners = list(_corners(plan.sections))
    ends = [(min(c[0][axis] for c in corners), max(c[0][axis] for c in corners)) for axis in (0, 1)]
    found: dict[Spot, Node] = {}
    for corner, round_it in corners:
        edge = any(abs(corner[a] - end) < _SAME for a in (0, 1) for end in ends[a])
        for across in _apart(round_it, reached, 1, corner[1]):
            for group in _apart(across, reached, 0, corner[0]):
                boxes = [reached[one.id] for one in group]
                spot = (
                    round(x_axis.place(group, boxes, corner[0]), 6),
                    round(y_axis.place(group, boxes, corner[1]), 6),
                )
                names = tuple(one.id for one in sorted(group, key=lambda one: one.order))
                found.setdefault(spot, Node(spot, names, edge))
    return tuple(sorted(found.values(), key=lambda n: (n.at_table[1], n.at_table[0])))


def reach(section: Section, plan: Plan) -> Box:
    """What the section's device reaches however it is set down in its margin."""
    x0, y0, x1, y1 = section.window
    keep = plan.zone.set_down
    return x0 + keep, y0 + keep, x1 - keep, y1 - keep


def _corners(sections: Sequence[Section]) -> Iterator[tuple[Spot, list[Section]]]:
    """Each corner of a core with all sections whose cores meet there."""
    beside: dict[float, list[Section]] = {}
    heights = sorted({round(y, 6) for one in sections for y in (one.core[1], one.core[3])})
    for one in sections:
        for y in heights:
            if one.core[1] - _SAME <= y <= one.core[3] + _SAME:
                beside.setdefault(y, []).append(one)
    for y, here in beside.items():
        corners = {
            round(x, 6)
            for one in here
            if min(abs(one.core[1] - y), abs(one.core[3] - y)) < 2 * _SAME
            for x in (one.core[0], one.core[2])
        }
        starts = sorted(here, key=lambda one: one.core[0])
        first = 0
        for x in sorted(corners):
            while first < len(starts) and starts[first].core[2] < x - _SAME:
                first += 1
            round_it = []
            for one in starts[first:]:
                if one.core[0] > x + _SAME:
                    break
                if one.core[2] >= x - _SAME:
                    round_it.append(one)
            yield (x, y), round_it


def _apart(
    sections: Sequence[Section], reached: dict[str, Box], axis: int, corner: float
) -> list[list[Section]]:
    """The sections, or those on either side of the corner, where the two do not overlap."""
    low = max(reached[one.id][axis] for one in sections)
    high = min(reached[one.id][axis + 2] for one in sections)
    if high - low > 2 * _SPARE:
        return [list(sections)]
    before = [one for one in sections if one.core[axis + 2] <= corner + _SAME]
    after = [one for one in sections if one not in before]
    return [group for group in (before, after) if group]
