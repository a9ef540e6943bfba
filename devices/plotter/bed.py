"""From the table to a plotter's own units, and never outside its usable area.

Table frame to bed frame (the device's axes, millimetres) to whole plotter units. It knows where
a window lies, no instructions.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.arrays import Box, FloatArray, WholeArray
    from marking.sections.plan import Section

UnitPoint = tuple[int, int]
_HAIR = 1e-6
"""mm that arithmetic may add to a window's size."""


class Bed(Struct, frozen=True):
    """A plotter set down at one window, before any placement."""

    origin_table: tuple[float, float]
    """The table point at device coordinate 0, 0."""
    to_bed: FloatArray
    """(2, 2): table directions to what the device is told: its axes, less its own errors."""
    unit: float
    low: tuple[int, int]
    high: tuple[int, int]
    """Least and greatest device coordinates, in units, that stay inside the usable area."""

    def units(self, points_table: FloatArray, what: str) -> WholeArray:
        """Table points (n, 2) as device units, each within half a unit of exact.

        Raises RefusedError, naming `what`, when a point is not finite or lies outside.
        """
        bed = (points_table - self.origin_table) @ self.to_bed.T
        exact = bed / self.unit
        # The limits are the usable area rounded inwards: a point inside the area by less than
        # half a unit may round past them, and the machine would clip it.
        inside = np.isfinite(exact) & (np.rint(exact) >= self.low) & (np.rint(exact) <= self.high)
        if not inside.all():
            x, y = points_table[~inside.all(axis=1)][0]
            raise RefusedError(
                f"{what}: the point {x:.2f}, {y:.2f} mm on the table lies outside the plotter's "
                "usable area here; nothing was written. Cut the sections anew for this plotter"
            )
        return np.rint(exact).astype(np.int64)

    def units_of(self, strokes_table: Sequence[FloatArray], what: str) -> list[list[UnitPoint]]:
        """`units` of several strokes at once, as plain pairs."""
        if not strokes_table:
            return []
        flat = iter(self.units(np.concatenate(strokes_table), what).ravel().tolist())
        points = zip(flat, flat, strict=True)
        return [list(itertools.islice(points, len(stroke))) for stroke in strokes_table]

    def table_of(self, points_bed: ArrayLike) -> FloatArray:
        """Where device coordinates (n, 2) in mm would lie if it stood as planned; table frame."""
        back = np.linalg.solve(self.to_bed, np.asarray(points_bed, dtype=float).T)
        placed: FloatArray = back.T + self.origin_table
        return placed

    @property
    def park(self) -> tuple[int, int]:
        """Where the pen waits, in units: the corner where both coordinates are least."""
        return self.low


def bed_of(section: Section, plotter: Plotter, correction: Correction | None = None) -> Bed:
    """The bed of `plotter` set down for `section`, turned where its division has it turned.

    Raises as `bed_at` does.
    """
    return bed_at(plotter.standing(turned=section.turned), section.window, correction)


def bed_at(plotter: Plotter, window: Box, correction: Correction | None = None) -> Bed:
    """The bed of `plotter` when its usable area covers `window` of the table frame.

    With a `correction` the window is what lies truly on the cloth, and the usable area is what
    the device must be told to cover it. Raises RefusedError when that is more than its bed.
    """
    signs = [1.0 if axis[0] == "+" else -1.0 for axis in plotter.axes]
    to_bed = np.zeros((2, 2))
    for device, axis in enumerate(plotter.axes):
        to_bed[device, "xy".index(axis[1])] = signs[device]
    if correction is not None:
        to_bed = correction.nominal_of_true @ to_bed
    x0, y0, x1, y1 = window
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) @ to_bed.T
    start, size = corners.min(axis=0), np.ptp(corners, axis=0)
    if correction is not None and (size > np.array(plotter.bed_size) + _HAIR).any():
        raise RefusedError(
            f"{plotter.name}: with its measured correction it does not cover a window "
            f"{x1 - x0:.1f} by {y1 - y0:.1f} mm; cut the sections anew for the corrected plotter"
        )
    first = np.zeros(2) if plotter.origin == "corner" else -size / 2
    low = [math.ceil(value / plotter.unit - 1e-9) for value in first]
    high = [math.floor(value / plotter.unit + 1e-9) for value in first + size]
    origin = np.linalg.solve(to_bed, start - first)
    return Bed(
        (float(origin[0]), float(origin[1])),
        to_bed,
        plotter.unit,
        (low[0], low[1]),
        (high[0], high[1]),
    )
