"""What a projector lights on the table before any truing up: picture, pixels, footprint, light.

Pinhole arithmetic on the profile. Beam frame: millimetres on the cover, origin below the lens,
x and y along the table's when the picture is not turned. The throw ratio is the distance from
lens to screen over the width of the picture.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from devices.projector.light.mapping import LightMapping, apply, inverse
from marking.errors import RefusedError
from marking.measures.ties import first_of_greatest
from marking.sections.zones import Zone, ZonePace

if TYPE_CHECKING:
    from devices.projector.profile import Projector
    from marking.arrays import Box, FloatArray
    from marking.job.keys import ReachTable

FINEST_LINE_PX = 2.0
"""A line two pixels wide is evenly bright wherever it falls between pixels; a finer one beats."""
_ROUNDS, _STEPS = 4, 61


class Throw(Struct, frozen=True):
    """The light of one set-down. Beam frame, mm."""

    corners_beam: FloatArray
    """(4, 2): top left, top right, bottom right and bottom left of the picture."""
    usable: Box
    """x0, y0, x1, y1 of the largest upright rectangle inside it, as deep as an arm reaches."""
    pixel: tuple[float, float]
    """Least and greatest size of a pixel in the picture, in mm."""
    area: float
    """Square metres."""
    lux: tuple[float, float]
    """Least and greatest light on the cover, in lumens a square metre."""
    keystone: float
    """The picture's wider parallel side over its narrower one."""

    @property
    def finest_line(self) -> float:
        """Width in mm of the finest even line, where pixels are largest."""
        return FINEST_LINE_PX * self.pixel[1]


def throw_ratio(projector: Projector) -> float:
    """Distance over width: the profile's, or by the picture as measured through its middle."""
    if projector.picture_width is None:
        return projector.throw_ratio
    along_axis = projector.distance / math.cos(math.radians(projector.tilt))
    return along_axis / projector.picture_width


def lens_axis(projector: Projector) -> tuple[tuple[float, float], float]:
    """Where the lens axis meets the picture, in pixels, and the picture's half diagonal."""
    width, height = projector.pixels
    return (width / 2, height * (0.5 + projector.offset)), math.hypot(width, height) / 2


def nominal(projector: Projector, lens_table: tuple[float, float] = (0.0, 0.0)) -> LightMapping:
    """The mapping as the profile alone gives it, with the lens over `lens_table`.

    Raises RefusedError when the tilt sends part of the picture past the horizon.
    """
    (axis_x, axis_y), radius = lens_axis(projector)
    width = projector.pixels[0]
    spread = 1 / (throw_ratio(projector) * width)
    rays = np.array([[spread, 0, -axis_x * spread], [0, -spread, axis_y * spread], [0, 0, 1]])
    tilt, turn = math.radians(projector.tilt), math.radians(projector.turn)
    lean = np.array(
        [
            [1, 0, 0],
            [0, math.cos(tilt), math.sin(tilt)],
            [0, -math.sin(tilt), math.cos(tilt)],
        ]
    )
    cos, sin = round(math.cos(turn)), round(math.sin(turn))
    swing = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])
    onto = np.diag([projector.distance, projector.distance, 1.0]) @ swing @ lean @ rays
    if (_raised(onto, _corners(projector)) <= 0.05).any():
        raise RefusedError(
            f"projector: at a tilt of {projector.tilt:g} degrees part of the picture never comes "
            "down on the table; hang it straighter, or farther over the table"
        )
    shift = np.array([[1, 0, lens_table[0]], [0, 1, lens_table[1]], [0, 0, 1]])
    return LightMapping(_scaled(inverse(shift @ onto)), (axis_x, axis_y), radius)


def _corners(projector: Projector) -> FloatArray:
    width, height = projector.pixels
    return np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])


def _raised(matrix: FloatArray, points: FloatArray) -> FloatArray:
    result: FloatArray = points @ matrix[2, :2] + matrix[2, 2]
    return result


def _scaled(matrix: FloatArray) -> FloatArray:
    """With unit norm, so that neither millimetres nor metres decide its size."""
    result: FloatArray = matrix / np.linalg.norm(matrix)
    return result


def throw(projector: Projector, arm: float | None = None) -> Throw:
    """What `projector` lights; `arm` in mm limits how deep the usable rectangle is."""
    mapping = nominal(projector)
    corners_px = _corners(projector)
    corners = apply(inverse(mapping.matrix), corners_px)
    edges = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    sizes = 1 / np.linalg.svd(mapping.jacobian(corners), compute_uv=False)
    pixel_areas = 1 / np.abs(np.linalg.det(mapping.jacobian(corners)))
    per_pixel = projector.lumens / (projector.pixels[0] * projector.pixels[1])
    x, y = corners.T
    area = abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())) / 2
    lux = per_pixel / pixel_areas * 1e6
    return Throw(
        corners,
        largest_upright(corners, arm),
        (float(sizes.min()), float(sizes.max())),
        area / 1e6,
        (float(lux.min()), float(lux.max())),
        float(max(edges[0], edges[2]) / min(edges[0], edges[2])),
    )


def largest_upright(corners: FloatArray, deepest: float | None = None) -> Box:
    """x0, y0, x1, y1 of the largest upright rectangle in a convex quadrilateral (4, 2).

    No deeper in y than `deepest`. Its heights are searched on a grid that closes in round the
    best; its sides lie on the quadrilateral for those heights exactly.
    """
    low, high = float(corners[:, 1].min()), float(corners[:, 1].max())
    bottoms = tops = np.linspace(low, high, _STEPS)
    best: Box = (0.0, low, 0.0, low)
    for _ in range(_ROUNDS):
        y0, y1 = (grid.ravel() for grid in np.meshgrid(bottoms, tops))
        if deepest is not None:
            y1 = np.minimum(y1, y0 + deepest)
        (left0, right0), (left1, right1) = _sides(corners, y0), _sides(corners, y1)
        left, right = np.maximum(left0, left1), np.minimum(right0, right1)
        area = np.maximum(right - left, 0) * np.maximum(y1 - y0, 0)
        at = first_of_greatest(area)
        best = (float(left[at]), float(y0[at]), float(right[at]), float(y1[at]))
        step = float(bottoms[1] - bottoms[0])
        bottoms = np.linspace(max(low, best[1] - step), min(high, best[1] + step), _STEPS)
        tops = np.linspace(max(low, best[3] - step), min(high, best[3] + step), _STEPS)
    return best


def _sides(corners: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The quadrilateral's left and right side at heights (n,)."""
    left, right = np.full(y.shape, np.inf), np.full(y.shape, -np.inf)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        within = (y >= min(y0, y1) - 1e-9) & (y <= max(y0, y1) + 1e-9)
        level = abs(y1 - y0) < 1e-9
        share = np.zeros_like(y) if level else np.clip((y - y0) / (y1 - y0), 0, 1)
        for x in (x0, x1) if level else (x0 + share * (x1 - x0),):
            left = np.where(within, np.minimum(left, x), left)
            right = np.where(within, np.maximum(right, x), right)
    return left, right


def beam_zone(reach: ReachTable, projector: Projector) -> Zone:
    """What one set-down of the projector lights within an arm's reach of a long edge.

    A person walks along the edge while the light stays, so only the reach's depth limits it.
    """
    free = 2 * projector.set_down
    lit = throw(projector, reach.depth + free).usable
    size = lit[2] - lit[0] - free, min(lit[3] - lit[1] - free, reach.depth)
    pace = ZonePace(draw=reach.speed, travel=400.0, lift=0.8)
    return Zone("beam", size, 0.0, True, pace, arm=reach.depth)


def lens_over(projector: Projector, arm: float, window: Box) -> tuple[float, float]:
    """The table point to hang the lens over so that its usable picture lies round `window`."""
    x0, y0, x1, y1 = throw(projector, arm + 2 * projector.set_down).usable
    return (window[0] + window[2] - x0 - x1) / 2, (window[1] + window[3] - y0 - y1) / 2


def raised_by(projector: Projector, height: float) -> float:
    """How far in mm the light falls beside its place where the cover stands up by `height` mm.

    The worst of the picture's corners: a ray that leans by its distance from the lens's foot
    over the lens's height moves by that share of what the cloth rises.
    """
    corners = throw(projector).corners_beam
    farthest = float(np.hypot(corners[:, 0], corners[:, 1]).max())
    return height * farthest / (projector.distance - height)
