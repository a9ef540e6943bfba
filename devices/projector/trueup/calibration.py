"""Truing up: the mapping that best explains where targets landed, and how far to trust it.

Normalised direct linear transform (Hartley and Zisserman, Multiple View Geometry, 2nd ed.,
algorithm 4.2), refined by least squares on pixel error. Each landing's pixel
error is weighed by what an error of setting it on the table comes to in pixels there. It knows
landings as points, not who made them.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from devices.projector.light.mapping import LightMapping, apply, bending, inverse
from marking.least_squares.least_slip import least_shown
from marking.least_squares.linear import whitening
from marking.least_squares.nonlinear import levenberg_marquardt
from marking.least_squares.readings_test import (
    against_others,
    agree_in_sum,
    checked,
    limit,
    own_blocks,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import BoolArray, FloatArray

LEAST_TARGETS = 4
RADIAL_FROM = 7
"""Targets from which the lens's distortion is solved for, so that five equations stay to spare."""
_ROUNDS = 4


class Landing(Struct, frozen=True):
    """A target: where it was lit, and the point of the table it fell on."""

    name: str
    at_px: tuple[float, float]
    at_table: tuple[float, float]
    sd: float = 0.0
    """How exactly that point is known, in mm per axis."""
    rounded: bool = True
    """Whether its light was brought there by whole pixels; it was not where it was left, and the
    place that it fell on read from the tape."""


class LandingErrors(Struct, frozen=True):
    """How exactly targets are set: standard deviations in each direction."""

    table: float = 0.5
    """Millimetres on the table."""
    pixels: float = 0.0
    """Pixels, of landings that are rounded to them."""


USUAL = LandingErrors()


class Calibration(Struct, frozen=True):
    """A solved mapping with its landings and its trust. Rows of arrays in landing order."""

    mapping: LightMapping
    landings: tuple[Landing, ...]
    residual_px: FloatArray
    """(n, 2): lit less computed."""
    residual_table: FloatArray
    """(n, 2) in mm: where it fell less where the mapping puts that pixel."""
    suspicion: FloatArray
    """(n,): how much worse a landing fits than setting explains, chi-squared with two degrees
    of freedom; 0 where nothing checks it."""
    covariance: FloatArray
    """Of `_unknowns`, normalised frames."""
    to_normal: FloatArray
    """(3, 3): table to the normalised frame the unknowns are in."""
    spare: int
    """Equations to spare."""
    misfit: float
    """Weighted sum of squares over `spare`; near 1 when targets were set as well as supposed."""
    checked: BoolArray
    """(n,): whether the others check a landing, in whichever direction it slips."""
    shown: FloatArray
    """(n, 2, 2) per mm^2: how much of a slip on the table shows in a landing's own suspicion."""

    @property
    def radial(self) -> bool:
        """Whether the lens's distortion was solved for."""
        return len(self.covariance) == 9

    def covariance_table(self, points_table: FloatArray) -> FloatArray:
        """(n, 2, 2) in mm^2: of where the light for table points falls.

        By the supposed setting error, or by the residuals when they are plainly worse than it.
        """
        unknowns = _unknowns(self.mapping, self.to_normal)
        by_unknowns = _by_unknowns(unknowns, apply(self.to_normal, points_table))
        radius = self.mapping.radius_px
        by_table = np.linalg.inv(self.mapping.jacobian(points_table) / radius)
        rows = by_table @ by_unknowns[:, :, : len(self.covariance)]
        result: FloatArray = rows @ self.covariance @ rows.transpose(0, 2, 1) * self.worse
        return result

    @property
    def worse(self) -> float:
        """How much larger variances are than setting explains; 1 unless that is plain."""
        return 1.0 if agree_in_sum(self.misfit * self.spare, self.spare) else self.misfit

    @property
    def blunders(self) -> tuple[int, ...]:
        """Landings that fit worse than any honest one of this many would, the worst first."""
        order = np.argsort(-self.suspicion)
        return tuple(int(index) for index in order if self.suspicion[index] > self._limit)

    def agree_without(self, index: int) -> bool:
        """Whether all other landings agree when that one is left out."""
        left = self.misfit * self.spare - float(self.suspicion[index])
        return agree_in_sum(left, self.spare - 2)

    @property
    def _limit(self) -> float:
        return limit(len(self.landings))

    @property
    def slip_named(self) -> FloatArray:
        """(n,) in mm: the least slip of each landing that is named 99 times in 100.

        In the direction that shows least; infinite where nothing checks a landing.
        """
        return least_shown(self.shown, self.checked, math.sqrt(self._limit))


def calibrate(
    landings: Sequence[Landing],
    axis_px: tuple[float, float],
    radius_px: float,
    setting: LandingErrors = USUAL,
    *,
    radial: bool | None = None,
) -> Calibration:
    """The mapping of `landings`, at least four and no three of four on a line.

    `radial` solves for distortion, by default from `RADIAL_FROM` landings. Landings that no
    mapping can explain are for `devices.projector.trueup.suspects` to find first.
    """
    table = np.array([landing.at_table for landing in landings], dtype=float)
    px = np.array([landing.at_px for landing in landings], dtype=float)
    to_normal = _normalising(table)
    seen = (px - axis_px) / radius_px
    at = apply(to_normal, table)
    matrix = direct_linear_transform(at, seen)
    solve_radial = len(landings) >= RADIAL_FROM if radial is None else radial
    unknowns = np.append((matrix / matrix[2, 2]).ravel()[:8], 0.0)
    free = 9 if solve_radial else 8
    whiten = np.tile(np.eye(2), (len(landings), 1, 1))
    for _ in range(_ROUNDS):
        whiten = _whitening(unknowns, at, to_normal, landings, setting, radius_px)
        unknowns = _refined(unknowns, at, seen, whiten, free)
    mapping = LightMapping(
        _scaled(_from_normal(unknowns, to_normal, axis_px, radius_px)),
        axis_px,
        radius_px,
        float(unknowns[8]),
    )
    return _judged(mapping, landings, unknowns, at, seen, whiten, free, to_normal)


def direct_linear_transform(start: FloatArray, end: FloatArray) -> FloatArray:
    """The homography (3, 3) that carries `start` to `end`, (n, 2) each, n >= 4, algebraically.

    Both sides are moved and scaled to a mean of 0 and a mean distance of sqrt(2) first.
    """
    from_start, from_end = _normalising(start), _normalising(end)
    a, b = apply(from_start, start), apply(from_end, end)
    rows = np.zeros((len(a), 2, 9))
    raised = np.column_stack([a, np.ones(len(a))])
    rows[:, 0, 0:3] = raised
    rows[:, 1, 3:6] = raised
    rows[:, 0, 6:9] = -b[:, :1] * raised
    rows[:, 1, 6:9] = -b[:, 1:] * raised
    solution = np.linalg.svd(rows.reshape(-1, 9), full_matrices=True)[2][-1].reshape(3, 3)
    result: FloatArray = inverse(from_end) @ solution @ from_start
    return result


def _normalising(points: FloatArray) -> FloatArray:
    middle = points.mean(axis=0)
    scale = math.sqrt(2) / float(np.linalg.norm(points - middle, axis=1).mean())
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1.0]])


def _scaled(matrix: FloatArray) -> FloatArray:
    result: FloatArray = matrix / np.linalg.norm(matrix)
    return result


def _from_normal(
    unknowns: FloatArray, to_normal: FloatArray, axis_px: tuple[float, float], radius_px: float
) -> FloatArray:
    to_px = np.array([[radius_px, 0, axis_px[0]], [0, radius_px, axis_px[1]], [0, 0, 1]])
    result: FloatArray = to_px @ np.append(unknowns[:8], 1.0).reshape(3, 3) @ to_normal
    return result


def _unknowns(mapping: LightMapping, to_normal: FloatArray) -> FloatArray:
    """(9,): eight of the homography between normalised frames, its last 1, and k."""
    (x, y), radius = mapping.axis_px, mapping.radius_px
    from_px = np.array([[1 / radius, 0, -x / radius], [0, 1 / radius, -y / radius], [0, 0, 1]])
    matrix = from_px @ mapping.matrix @ inverse(to_normal)
    return np.append((matrix / matrix[2, 2]).ravel()[:8], mapping.k)


def _computed(unknowns: FloatArray, at: FloatArray) -> FloatArray:
    straight = apply(np.append(unknowns[:8], 1.0).reshape(3, 3), at)
    result: FloatArray = straight * (1 + unknowns[8] * (straight**2).sum(axis=1, keepdims=True))
    return result


def _by_unknowns(unknowns: FloatArray, at: FloatArray) -> FloatArray:
    """(n, 2, 9): derivatives of the normalised pixels of `at` by the unknowns."""
    matrix = np.append(unknowns[:8], 1.0).reshape(3, 3)
    raised = np.column_stack([at, np.ones(len(at))])
    depth = raised @ matrix[2]
    straight = apply(matrix, at)
    rows = np.zeros((len(at), 2, 8))
    over = raised / depth[:, None]
    rows[:, 0, 0:3] = over
    rows[:, 1, 3:6] = over
    rows[:, :, 6:8] = -straight[:, :, None] * over[:, None, :2]
    bent = bending(straight, unknowns[8]) @ rows
    by_k = straight * (straight**2).sum(axis=1, keepdims=True)
    result: FloatArray = np.concatenate([bent, by_k[:, :, None]], axis=2)
    return result


def _whitening(
    unknowns: FloatArray,
    at: FloatArray,
    to_normal: FloatArray,
    landings: Sequence[Landing],
    setting: LandingErrors,
    radius_px: float,
) -> FloatArray:
    """(n, 2, 2): what turns each landing's error into unit variance."""
    table = np.array([landing.at_table for landing in landings], dtype=float)
    known = np.array([landing.sd for landing in landings])
    local = LightMapping(
        np.append(unknowns[:8], 1.0).reshape(3, 3) @ to_normal, (0.0, 0.0), 1.0, float(unknowns[8])
    ).jacobian(table)
    variance = (setting.table**2 + known**2)[:, None, None]
    covariance = variance * (local @ local.transpose(0, 2, 1))
    rounded = np.array([landing.rounded for landing in landings])[:, None, None]
    covariance = covariance + rounded * (setting.pixels / radius_px) ** 2 * np.eye(2)
    return whitening(covariance)


def _refined(
    unknowns: FloatArray, at: FloatArray, seen: FloatArray, whiten: FloatArray, free: int
) -> FloatArray:
    """The first `free` unknowns by least squares; the others stay."""
    held = unknowns[free:]

    def errors(guess: FloatArray) -> FloatArray:
        off = _computed(np.append(guess, held), at) - seen
        result: FloatArray = (whiten @ off[:, :, None]).ravel()
        return result

    def derivatives(guess: FloatArray) -> FloatArray:
        by_unknowns = _by_unknowns(np.append(guess, held), at)[:, :, :free]
        result: FloatArray = (whiten @ by_unknowns).reshape(-1, free)
        return result

    return np.append(levenberg_marquardt(unknowns[:free], errors, derivatives), held)


def _judged(
    mapping: LightMapping,
    landings: Sequence[Landing],
    unknowns: FloatArray,
    at: FloatArray,
    seen: FloatArray,
    whiten: FloatArray,
    free: int,
    to_normal: FloatArray,
) -> Calibration:
    px = np.array([landing.at_px for landing in landings], dtype=float)
    table = np.array([landing.at_table for landing in landings], dtype=float)
    design = (whiten @ _by_unknowns(unknowns, at)[:, :, :free]).reshape(-1, free)
    by_table = whiten @ mapping.jacobian(table) / mapping.radius_px
    covariance = inverse(design.T @ design)
    covariance = covariance + covariance @ _shared(landings, design, by_table) @ covariance
    errors = (whiten @ (seen - _computed(unknowns, at))[:, :, None]).reshape(-1)
    spare = len(errors) - free
    # By an orthonormal basis, and not by the covariance, whose rounding grows with the design's.
    spanned = np.linalg.qr(design)[0]
    left = own_blocks(np.eye(len(errors)) - spanned @ spanned.T)
    whole = np.ones(len(landings))
    others = against_others(errors.reshape(-1, 2), left, whole)
    return Calibration(
        mapping,
        tuple(landings),
        px - mapping.to_px(table),
        table - mapping.to_table(px),
        np.nan_to_num(others.in_sds) ** 2,
        covariance,
        to_normal,
        spare,
        float(errors @ errors) / spare if spare else 1.0,
        checked(left, whole),
        by_table.transpose(0, 2, 1) @ left @ by_table,
    )


def _shared(landings: Sequence[Landing], design: FloatArray, by_table: FloatArray) -> FloatArray:
    """(m, m): what landings brought onto one point add, since its own error is in each of them.

    The solution weighs them as if each had found the point anew; this is what its covariance
    misses by that.
    """
    rows = design.reshape(len(landings), 2, -1)
    total = np.zeros((design.shape[1], design.shape[1]))
    for i, j in itertools.permutations(range(len(landings)), 2):
        one, other = landings[i], landings[j]
        if one.rounded and other.rounded and one.at_table == other.at_table:
            both = one.sd * other.sd * (by_table[i] @ by_table[j].T)
            total += rows[i].T @ both @ rows[j]
    return total
