"""How a finished cover can differ from its layout: stretch, skew, drift, misplaced sections.

A linear model: every unknown is a distance in mm, at its worst place, and has a prior standard
deviation. Table frame, millimetres. It knows no tape and no measurement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from marking.layout import Layout
    from marking.sections import Plan
    from marking.witness import Box

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int64]

WHOLE = ("along", "across", "skew", "creep", "bow", "fan")
"""Unknowns of the whole cover, in mm: what it is too long at the far end, too wide at the far
edge, how far the far edge has slid along; how far the middle cross lines lie towards the far end,
how far the long lines bow in the middle, how much wider the far end is than the zero end."""
_WHOLE_SD = 25.0
"""mm: as good as unknown."""
_TURN_SHARE = 0.25
"""How far a section's turn moves its corner, over its prior shift: less, for it was set to two
marks far apart."""


@dataclass(frozen=True)
class Patch:
    """One section as inked: what it owns, and which lines in it can show an error."""

    id: str
    row: int
    column: int
    core: Box
    shows: tuple[bool, bool]
    """Whether cross lines show an error along the table, and long lines one across it."""

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of its core."""
        x0, y0, x1, y1 = self.core
        return (x0 + x1) / 2, (y0 + y1) / 2


@dataclass(frozen=True)
class Distortion:
    """The unknowns of one cover: `WHOLE`, then shift along, shift across and turn by patch."""

    patches: tuple[Patch, ...]
    rect: Box
    """Zero line, first near long line, last cross line, first far long line."""
    prior_sd: FloatArray

    @property
    def count(self) -> int:
        """How many unknowns there are."""
        return len(self.prior_sd)


def distortion_of(layout: Layout, plan: Plan | None, shift_sd: float) -> Distortion:
    """The model of `layout`, inked in the sections of `plan`, or as one piece.

    `shift_sd` is how far, in mm and one standard deviation, a section may have been misplaced.
    """
    grid = layout.grid
    ys = np.array([line.y for line in grid.long_lines])
    rect = (float(grid.cross_x[0]), float(ys[0]), float(grid.cross_x[-1]), float(ys[-1]))
    patches = []
    for section in plan.sections if plan is not None else ():
        x0, y0, x1, y1 = section.core
        core = (max(x0, rect[0]), max(y0, rect[1]), min(x1, rect[2]), min(y1, rect[3]))
        shows = (
            bool(((grid.cross_x >= core[0]) & (grid.cross_x <= core[2])).any()),
            bool(((ys >= core[1]) & (ys <= core[3])).any()),
        )
        patches.append(Patch(section.id, section.row, section.column, core, shows))
    each = [shift_sd, shift_sd, shift_sd * _TURN_SHARE]
    prior = np.array([_WHOLE_SD] * len(WHOLE) + each * len(patches))
    return Distortion(tuple(patches), rect, prior)


def patch_at(model: Distortion, point: tuple[float, float]) -> int:
    """Which patch a point lies in; -1 where the cover is of one piece."""
    for index, patch in enumerate(model.patches):
        x0, y0, x1, y1 = patch.core
        if x0 <= point[0] <= x1 and y0 <= point[1] <= y1:
            return index
    return -1


def effect(model: Distortion, points: FloatArray, patches: IntArray) -> FloatArray:
    """(n, 2, unknowns): how far each unknown moves points (n, 2) that lie in `patches` (n,)."""
    x0, y0, x1, y1 = model.rect
    along, across = (points[:, 0] - x0) / (x1 - x0), (points[:, 1] - y0) / (y1 - y0)
    arch = 4 * along * (1 - along)
    moved = np.zeros((len(points), 2, model.count))
    moved[:, 0, 0], moved[:, 1, 1], moved[:, 0, 2] = along, across, across
    moved[:, 0, 3], moved[:, 1, 4], moved[:, 1, 5] = arch, arch, (along - 0.5) * across
    for n, index in enumerate(patches.tolist()):
        if index < 0:
            continue
        patch = model.patches[index]
        dx, dy = points[n] - patch.middle
        reach = np.hypot(patch.core[2] - patch.core[0], patch.core[3] - patch.core[1]) / 2
        at = len(WHOLE) + 3 * index
        moved[n, 0, at] = moved[n, 1, at + 1] = 1.0
        moved[n, :, at + 2] = -dy / reach, dx / reach
    return moved


@dataclass(frozen=True)
class LineErrors:
    """How far lines lie from true, as a function of the unknowns: one row for each place."""

    rows: FloatArray
    """(q, unknowns), less the best-fitting shift and turn of the whole cover."""
    points: FloatArray
    """(q, 2)."""
    axis: IntArray
    """(q,): 0 a cross line's error along the table, 1 a long line's across it."""
    patch: IntArray


def line_errors(model: Distortion) -> LineErrors:
    """The errors of the lines in every section, or of those at the four corners of one piece."""
    points: list[tuple[float, float]] = []
    axes: list[int] = []
    patches: list[int] = []
    whole = Patch("", 1, 1, model.rect, (True, True))
    for index, patch in enumerate(model.patches or (whole,)):
        x0, y0, x1, y1 = patch.core
        middle = [patch.middle]
        for point in [(x0, y0), (x1, y0), (x1, y1), (x0, y1), *middle]:
            for axis in (0, 1):
                if patch.shows[axis]:
                    points.append(point)
                    axes.append(axis)
                    patches.append(index if model.patches else -1)
    at, way, where = np.array(points), np.array(axes), np.array(patches)
    rows = effect(model, at, where)[np.arange(len(at)), way]
    # A cover that lies true but turned or shifted on the table is a true cover.
    centre = at.mean(axis=0)
    rigid = np.stack(
        [way == 0, way == 1, np.where(way == 0, centre[1] - at[:, 1], at[:, 0] - centre[0])], 1
    ).astype(float)
    rows = rows - rigid @ np.linalg.lstsq(rigid, rows, rcond=None)[0]
    return LineErrors(rows, at, way, where)
