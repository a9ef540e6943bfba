"""How a finished cover can differ from its layout: stretch, skew, drift, misplaced sections.

A linear model: every unknown is a distance in mm, at its worst place, and has a prior standard
deviation. Table frame, millimetres. It knows no tape and no measurement.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from marking.arrays import Box, FloatArray, IndexArray
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

WHOLE = ("along", "across", "skew", "creep", "bow", "fan")
"""Unknowns of the whole cover, in mm: what it is too long at the far end, too wide at the far
edge, how far the far edge has slid along; how far the middle cross lines lie towards the far end,
how far the long lines bow in the middle, how much wider the far end is than the zero end."""
_WHOLE_SD = 25.0
"""mm: as good as unknown."""
_SLIP_SD = 6.0
"""mm: how far a section may lie off, whatever its placement promised. A device bumped after its
marks were read has slipped by anything up to a hand's push, so this is wide enough that a section
nobody measured never passes, at any tolerance one would ask for. It is not wider, since a cloth
that stretched evenly is likelier than sections that slipped in step. Our own figure, no source."""
_TURN_SD = 3.0
"""mm at a section's corner: how far it may have turned. A bump turns a device about its far end,
so that its corner moves about its middle by half of what the near end slips. No source."""
_FEW = 6
"""Fewer sections than this do not tell an uneven stretch from sections out of place."""


class Patch(Struct, frozen=True):
    """One section as inked: what it owns, and which lines in it can show an error."""

    id: str
    row: int
    column: int
    core: Box
    cross: tuple[float, float] | None
    """x of its first and its last cross line."""
    long: tuple[float, float] | None
    """y of its first and its last long line."""

    @property
    def shows(self) -> tuple[bool, bool]:
        """Whether cross lines show an error along the table, and long lines one across it."""
        return self.cross is not None, self.long is not None

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of its core."""
        x0, y0, x1, y1 = self.core
        return (x0 + x1) / 2, (y0 + y1) / 2


class Distortion(Struct, frozen=True):
    """The unknowns of one cover: `WHOLE`, then shift along, shift across and turn by patch."""

    patches: tuple[Patch, ...]
    rect: Box
    """Zero line, first near long line, last cross line, first far long line."""
    prior_sd: FloatArray
    pitch: tuple[float, float]
    """Along and across."""
    apart: tuple[str, ...] = ()
    """Lines of which a part lies in no section: what is ruled or left undone there moves with none
    of the unknowns, and no distance shows it."""

    @property
    def whole(self) -> Patch:
        """The cover as one piece."""
        x0, y0, x1, y1 = self.rect
        return Patch("", 1, 1, self.rect, (x0, x1), (y0, y1))

    @property
    def count(self) -> int:
        """How many unknowns there are."""
        return len(self.prior_sd)


def distortion_of(layout: Layout, plan: Plan | None) -> Distortion:
    """The model of `layout`, inked in the sections of `plan`, or as one piece."""
    grid = layout.grid
    ys = np.array([line.y for line in grid.long_lines])
    rect = (float(grid.cross_x[0]), float(ys[0]), float(grid.cross_x[-1]), float(ys[-1]))
    patches = []
    for section in plan.sections if plan is not None else ():
        x0, y0, x1, y1 = section.core
        core = (max(x0, rect[0]), max(y0, rect[1]), min(x1, rect[2]), min(y1, rect[3]))
        cross, long = _outermost(grid.cross_x, core[0], core[2]), _outermost(ys, core[1], core[3])
        patches.append(Patch(section.id, section.row, section.column, core, cross, long))
    each = [_SLIP_SD, _SLIP_SD, _TURN_SD]
    prior = np.array([_WHOLE_SD] * len(WHOLE) + each * len(patches))
    return Distortion(tuple(patches), rect, prior, grid.pitch, _apart(plan))


def _apart(plan: Plan | None) -> tuple[str, ...]:
    if plan is None:
        return ()
    undone = (piece.of for gap in plan.unreached for piece in gap.pieces)
    return tuple(dict.fromkeys([*(line.of for line in plan.ruled), *undone]))


def _outermost(lines: FloatArray, low: float, high: float) -> tuple[float, float] | None:
    """The first and the last of rising lines from `low` to `high`, if there is one."""
    inside = lines[(lines >= low) & (lines <= high)]
    return (float(inside[0]), float(inside[-1])) if inside.size else None


def patch_at(model: Distortion, point: tuple[float, float]) -> int:
    """Which patch a point lies in; -1 where the cover is of one piece."""
    for index, patch in enumerate(model.patches):
        x0, y0, x1, y1 = patch.core
        if x0 <= point[0] <= x1 and y0 <= point[1] <= y1:
            return index
    return -1


def effect(model: Distortion, points: FloatArray, patches: IndexArray) -> FloatArray:
    """(n, 2, unknowns): how far each unknown moves points (n, 2) that lie in `patches` (n,)."""
    moved = np.zeros((len(points), 2, model.count))
    moved[..., : len(WHOLE)] = _whole_effect(model, points)
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


def _whole_effect(model: Distortion, points: FloatArray) -> FloatArray:
    """(n, 2, len(WHOLE))."""
    x0, y0, x1, y1 = model.rect
    along, across = (points[:, 0] - x0) / (x1 - x0), (points[:, 1] - y0) / (y1 - y0)
    arch = 4 * along * (1 - along)
    moved = np.zeros((len(points), 2, len(WHOLE)))
    moved[:, 0, 0], moved[:, 1, 1], moved[:, 0, 2] = along, across, across
    moved[:, 0, 3], moved[:, 1, 4], moved[:, 1, 5] = arch, arch, (along - 0.5) * across
    return moved


class LineErrors(Struct, frozen=True):
    """How far lines lie from true, as a function of the unknowns: one row for each place."""

    rows: FloatArray
    """(q, unknowns), counted from the zero line and the near line."""
    points: FloatArray
    """(q, 2)."""
    axis: IndexArray
    """(q,): 0 a cross line's error along the table, 1 a long line's across it."""
    patch: IndexArray


def line_errors(model: Distortion) -> LineErrors:
    """The errors of the lines in every section, or of those at the four corners of one piece.

    Counted as the numerals are: from the crossing of the zero line with the near line, along a
    thread that joins the two ends of the near line. No shift and no turn is fitted, so that a
    stretch, a skew and a slipped section each count in full.
    """
    at, way, where = _places(model)
    rows = effect(model, at, where)[np.arange(len(at)), way]
    x0, y0, x1, _ = model.rect
    ends = [(x0, y0), (x1, y0)]
    zero, end = effect(model, np.array(ends), np.array([patch_at(model, one) for one in ends]))
    turn = (end[1] - zero[1]) / (x1 - x0)
    lever = np.where(way == 0, y0 - at[:, 1], at[:, 0] - x0)
    return LineErrors(rows - zero[way] - lever[:, None] * turn, at, way, where)


def whole_rows(model: Distortion) -> FloatArray:
    """(len(WHOLE), unknowns): how much of each of `WHOLE` there is in the lines as they lie.

    The common distortion that fits all lines best; what is left is each section's own.
    """
    at, way, where = _places(model)
    rows = effect(model, at, where)[np.arange(len(at)), way]
    common = _common(model, at)[np.arange(len(at)), way]
    found = np.linalg.lstsq(common, rows, rcond=None)[0][: len(WHOLE)]
    return found.astype(np.float64)


def own_rows(model: Distortion) -> FloatArray:
    """(patches, 2, unknowns): how far each section's middle lies off, along and across.

    From the common distortion of all other sections; nothing where there are no others.
    """
    corners = [
        np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        for x0, y0, x1, y1 in (patch.core for patch in model.patches)
    ]
    many = len(model.patches) >= _FEW
    shapes = [*range(len(WHOLE) if many else 3), len(WHOLE), len(WHOLE) + 1, len(WHOLE) + 2]
    moved = [effect(model, at, np.full(4, n)).reshape(8, -1) for n, at in enumerate(corners)]
    fitted = [_common(model, at)[..., shapes].reshape(8, -1) for at in corners]
    own = np.zeros((len(model.patches), 2, model.count))
    for n, patch in enumerate(model.patches):
        others = [k for k in range(len(model.patches)) if k != n]
        if not others:
            continue
        middle = np.array([patch.middle])
        common = np.concatenate([fitted[k] for k in others])
        fit = np.linalg.lstsq(common, np.concatenate([moved[k] for k in others]), rcond=None)[0]
        own[n] = (
            effect(model, middle, np.array([n]))[0] - _common(model, middle)[0][:, shapes] @ fit
        )
    return own


def _common(model: Distortion, points: FloatArray) -> FloatArray:
    """(n, 2, len(WHOLE) + 3): what each of `WHOLE`, a shift and a turn do to points."""
    x0, y0, x1, y1 = model.rect
    reach = np.hypot(x1 - x0, y1 - y0) / 2
    moved = np.zeros((len(points), 2, len(WHOLE) + 3))
    moved[..., : len(WHOLE)] = _whole_effect(model, points)
    moved[:, 0, -3] = moved[:, 1, -2] = 1.0
    moved[:, 0, -1] = ((y0 + y1) / 2 - points[:, 1]) / reach
    moved[:, 1, -1] = (points[:, 0] - (x0 + x1) / 2) / reach
    return moved


def _places(model: Distortion) -> tuple[FloatArray, IndexArray, IndexArray]:
    """Corners of every section, (q, 2), once for each axis that a line shows there."""
    points: list[tuple[float, float]] = []
    axes: list[int] = []
    patches: list[int] = []
    for index, patch in enumerate(model.patches or (model.whole,)):
        x0, y0, x1, y1 = patch.core
        for point in [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]:
            for axis in (0, 1):
                if patch.shows[axis]:
                    points.append(point)
                    axes.append(axis)
                    patches.append(index if model.patches else -1)
    return np.array(points), np.array(axes), np.array(patches)
