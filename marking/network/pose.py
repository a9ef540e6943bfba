"""Where a device stands: rigid, similarity and affine poses, fitted, applied and chained.

It knows points and their covariance, no marks and no sections. A pose takes points of the plan
(`q`) to the table: `about + matrix (q - about) + shift`, millimetres. Small changes of a pose
are made on its table side and counted as shift x, shift y, turn, scale, stretch, shear: the
first 3 for a rigid pose, 4 for a similarity, all 6 for an affine one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.least_squares.linear import weighed, whitening
from marking.least_squares.nonlinear import gauss_newton

if TYPE_CHECKING:
    from marking.arrays import FloatArray

PoseKind = Literal["rigid", "similarity", "affine"]
PARAMETERS: dict[PoseKind, int] = {"rigid": 3, "similarity": 4, "affine": 6}
FEWEST_MARKS: dict[PoseKind, int] = {"rigid": 2, "similarity": 2, "affine": 3}
_SAME_PLACE = 1e-9
"""Points closer than this share of the largest coordinate are one point."""


class Pose(Struct, frozen=True):
    """One pose; see the module's first lines for what it does to a point."""

    matrix: FloatArray
    """(2, 2)."""
    shift: FloatArray
    """(2,) mm."""
    about: FloatArray
    """(2,) mm: the point whose displacement `shift` is."""

    def __call__(self, points: FloatArray) -> FloatArray:
        """Where points (n, 2) or (2,) of the plan lie on the table."""
        moved: FloatArray = (points - self.about) @ self.matrix.T + self.about + self.shift
        return moved

    @property
    def turn(self) -> float:
        """The rotation in radians, anticlockwise."""
        (a, b), (c, d) = self.matrix
        return float(np.arctan2(c - b, a + d))

    @property
    def scale(self) -> float:
        """The mean scale: the square root of how areas grow."""
        return float(np.sqrt(abs(np.linalg.det(self.matrix))))

    def as_data(self) -> dict[str, list[Any]]:
        """The pose as a record keeps it."""
        return {
            "matrix": self.matrix.tolist(),
            "shift": self.shift.tolist(),
            "about": self.about.tolist(),
        }

    @property
    def inverse(self) -> Pose:
        """The pose from the table back to the plan."""
        back = np.asarray(np.linalg.inv(self.matrix), dtype=np.float64)
        return Pose(back, -back @ self.shift, self.about)

    def after(self, first: Pose) -> Pose:
        """The pose that does `first` and then this one, about the point of `first`."""
        matrix = self.matrix @ first.matrix
        return Pose(matrix, self(first(first.about)) - first.about, first.about)


def as_planned(about: FloatArray) -> Pose:
    """The pose of a device that stands exactly where it should."""
    return Pose(np.eye(2), np.zeros(2), np.asarray(about, dtype=float))


def rigid(shift: FloatArray, turn: float, about: FloatArray) -> Pose:
    """The rigid pose with `shift` in mm and `turn` in radians about `about`."""
    cos, sin = np.cos(turn), np.sin(turn)
    return Pose(np.array([[cos, -sin], [sin, cos]]), np.asarray(shift, float), np.asarray(about))


def stance(pose: Pose) -> FloatArray:
    """(3,): shift x and shift y in mm, turn in radians, of a device that stands as `pose`."""
    return np.array([*pose.shift, pose.turn])


def changed(pose: Pose, change: FloatArray) -> Pose:
    """`pose` followed by a small `change` (3, 4 or 6) on the table, about `pose.about`."""
    turn = float(change[2])
    if change.size <= 4:
        small = rigid(change[:2], turn, pose.about)
        growth = float(np.exp(change[3])) if change.size == 4 else 1.0
        return Pose(growth * small.matrix, small.shift, pose.about).after(pose)
    scale, stretch, shear = change[3:]
    matrix = np.array([[1 + scale + stretch, shear - turn], [shear + turn, 1 + scale - stretch]])
    return Pose(matrix, change[:2], pose.about).after(pose)


def effect(kind: PoseKind, points: FloatArray, about: FloatArray) -> FloatArray:
    """How a small change of a pose moves table points (n, 2): (n, 2, 3, 4 or 6), mm."""
    x, y = (np.asarray(points) - about).T
    moved = np.zeros((len(x), 2, 6))
    moved[:, 0, 0] = moved[:, 1, 1] = 1.0
    moved[:, 0, 2], moved[:, 1, 2] = -y, x
    moved[:, 0, 3], moved[:, 1, 3] = x, y
    moved[:, 0, 4], moved[:, 1, 4] = x, -y
    moved[:, 0, 5], moved[:, 1, 5] = y, x
    return moved[:, :, : PARAMETERS[kind]]


def fit(
    plan: FloatArray,
    table: FloatArray,
    kind: PoseKind = "rigid",
    weights: FloatArray | None = None,
    about: FloatArray | None = None,
) -> Pose:
    """The pose that takes `plan` (n, 2) nearest to `table` (n, 2), in closed form.

    `weights` (n,) multiply squared distances; `about` is the origin unless given. The rotation
    is always a proper one (Umeyama 1991). Raises RefusedError when the points cannot tell.
    """
    weights = np.ones(len(plan)) if weights is None else weights
    _check_points(plan, table, kind)
    share = (weights / weights.sum())[:, None]
    middle_plan, middle_table = (share * plan).sum(axis=0), (share * table).sum(axis=0)
    arms_plan, arms_table = plan - middle_plan, table - middle_table
    if kind == "affine":
        matrix = _affine_matrix(arms_plan, arms_table, np.sqrt(share))
    else:
        matrix = _turned_matrix(arms_plan, arms_table, share, kind)
    about = np.zeros(2) if about is None else np.asarray(about, dtype=float)
    shift = middle_table - about - matrix @ (middle_plan - about)
    return Pose(matrix, shift, about)


def _turned_matrix(
    arms_plan: FloatArray, arms_table: FloatArray, share: FloatArray, kind: PoseKind
) -> FloatArray:
    """The best rotation, times the best scale for a similarity, from moments in the plane."""
    moments = (share * arms_plan).T @ arms_table
    cos, sin = moments[0, 0] + moments[1, 1], moments[0, 1] - moments[1, 0]
    length = float(np.hypot(cos, sin))
    spread = float((share * arms_plan**2).sum())
    if length <= _SAME_PLACE * np.sqrt(spread * float((share * arms_table**2).sum())):
        raise RefusedError(
            "these marks fit every rotation equally well, as a mirrored square does; "
            "check which mark is which, and read one more"
        )
    scale = length / spread if kind == "similarity" else 1.0
    return scale / length * np.array([[cos, -sin], [sin, cos]])


def _affine_matrix(
    arms_plan: FloatArray, arms_table: FloatArray, root_share: FloatArray
) -> FloatArray:
    solved = np.linalg.lstsq(arms_plan * root_share, arms_table * root_share, rcond=None)[0]
    matrix = np.asarray(solved.T, dtype=np.float64)
    if np.linalg.det(matrix) <= 0:
        raise RefusedError(
            "these marks fit only with the bed turned over; check the plotter's axes and which "
            "mark is which"
        )
    return matrix


def _check_points(plan: FloatArray, table: FloatArray, kind: PoseKind) -> None:
    if not (np.isfinite(plan).all() and np.isfinite(table).all()):
        raise RefusedError("a mark's position is not a finite number; read it again")
    if len(plan) < FEWEST_MARKS[kind]:
        raise RefusedError(
            f"{_many(len(plan))} cannot give {_article(kind)} placement; "
            f"read at least {FEWEST_MARKS[kind]}"
        )
    for points, where in ((plan, "as read"), (table, "on the table")):
        arms = points - points.mean(axis=0)
        widths = np.linalg.svd(arms, compute_uv=False)
        least = _SAME_PLACE * max(1.0, float(np.abs(points).max()))
        if widths[0] <= least:
            raise RefusedError(
                f"the marks {where} are all in one place, so nothing tells the rotation; "
                "read marks far apart"
            )
        if kind == "affine" and widths[1] <= least:
            raise RefusedError(
                f"the marks {where} lie on one line, so nothing tells the scale across it; "
                "read one well off that line, or ask for a rigid placement"
            )


def _many(count: int) -> str:
    return "1 mark" if count == 1 else f"{count or 'no'} marks"


def _article(kind: PoseKind) -> str:
    return f"an {kind}" if kind == "affine" else f"a {kind}"


def refine(
    pose: Pose,
    plan: FloatArray,
    table: FloatArray,
    covariance: FloatArray,
    kind: PoseKind = "rigid",
    levers: FloatArray | None = None,
    held: tuple[FloatArray, FloatArray] | None = None,
) -> tuple[Pose, FloatArray]:
    """The generalised-least-squares pose from a first one, and its change's covariance (k, k).

    `covariance` (2n, 2n) is of table less pose(plan), points in order, x before y. A turn's
    effect is counted from where the pose puts each point, or from `levers` (n, 2) where given:
    nominal places, which keep every solution of one network linear in the same way. `held` is
    what else tells of the pose, after the points in `covariance`: how shift x, shift y and turn
    show in each (r, 3), and what they should come to (r,). Raises RefusedError when it does not
    settle.
    """

    def linearised(pose: Pose, /) -> tuple[FloatArray, FloatArray]:
        moved = pose(plan)
        design = effect(kind, moved if levers is None else levers, pose.about)
        design = design.reshape(2 * len(plan), design.shape[2])
        off: FloatArray = (table - moved).ravel()
        if held is not None:
            shown, wanted = held
            off = np.concatenate([off, wanted - shown @ stance(pose)])
            free = np.zeros((len(shown), design.shape[1] - 3))
            design = np.concatenate([design, np.concatenate([shown, free], axis=1)])
        return off, design

    rest = gauss_newton(pose, linearised, whitening(covariance), changed)
    if not rest.settled:
        raise RefusedError("the placement does not settle; check which mark is which")
    return rest.state, weighed(linearised(rest.state)[1], covariance).spread


def turned_over(plan: FloatArray, table: FloatArray) -> bool:
    """Whether the points fit better with the plan seen from below, as a mirrored bed gives."""
    arms_plan, arms_table = plan - plan.mean(axis=0), table - table.mean(axis=0)
    straight = _length(arms_plan, arms_table)
    return _length(arms_plan * [1.0, -1.0], arms_table) > straight


def _length(arms_plan: FloatArray, arms_table: FloatArray) -> float:
    moments = arms_plan.T @ arms_table
    return float(np.hypot(moments[0, 0] + moments[1, 1], moments[0, 1] - moments[1, 0]))
