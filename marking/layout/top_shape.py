"""The figure that a top is measured as: which points a tape joins, and how they follow the corners.

It knows a quadrangle, its derivatives and how sure each measurement is; no job and no message.
Table frame, millimetres: the near edge lies on the x axis, so that five unknowns place the four
corners: the near edge's length, then x and y of the far end's and of the zero end's far corner.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import BadInputError
from marking.least_squares.linear import weighed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray

SIDES = (
    "near",
    "far",
    "zero_end",
    "far_end",
    "diagonal_from_zero_near",
    "diagonal_from_zero_far",
)
"""The six that a survey always has."""
JOINED = {
    "near": ("zero near", "far near"),
    "far": ("zero far", "far far"),
    "zero_end": ("zero near", "zero far"),
    "far_end": ("far near", "far far"),
    "diagonal_from_zero_near": ("zero near", "far far"),
    "diagonal_from_zero_far": ("zero far", "far near"),
    "middle": ("near middle", "far middle"),
    "half_from_zero_near": ("zero near", "far middle"),
    "half_from_far_near": ("far near", "far middle"),
    "half_from_zero_far": ("zero far", "near middle"),
    "half_from_far_far": ("far far", "near middle"),
    "square_between": ("along", "across"),
}
"""What each measurement joins. Middles are marks at half a long edge; `along` and `across` are
marks on the near edge and on the zero end, so far from their corner as the tape was told."""
MORE = (
    *("middle", "half_from_zero_near", "half_from_far_near"),
    *("half_from_zero_far", "half_from_far_far", "square_between"),
)
"""What can be measured beside the six and any of them again."""
AGAIN = "again."
"""Begins the name of a second measurement of the same."""
NO_TOP = (
    "table.survey: the measurements describe a folded figure and no table top; "
    "check which length was written to which key"
)
_CORNERS = ("zero near", "far near", "far far", "zero far")


class SquareLean(Struct, frozen=True):
    """Marks on the two edges of the zero corner, in mm from it: what a tape lies between."""

    along: float
    across: float
    sd: float
    """Of either mark, along its edge."""


class Taking(Struct, frozen=True):
    """What is measured of a top, and how sure each is before any figure."""

    names: tuple[str, ...]
    """Keys of `JOINED`, some perhaps behind `AGAIN`; the six of `SIDES` come first."""
    sd: FloatArray
    """(m,) mm, of the tape."""
    mark_sd: float
    """mm, of a mark at the middle of a long edge, along it."""
    square: SquareLean | None = None


def corners_of(unknowns: FloatArray) -> FloatArray:
    """(4, 2): zero end near, far end near, far end far, zero end far."""
    length, far_x, far_y, zero_x, zero_y = unknowns
    return np.array([[0.0, 0.0], [length, 0.0], [far_x, far_y], [zero_x, zero_y]])


def unknowns_of(corners: FloatArray) -> FloatArray:
    """(5,) from (4, 2)."""
    return corners.ravel()[[2, 4, 5, 6, 7]]


def distances(taking: Taking, unknowns: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The (m,) distances of what is taken, and their (m, 5) derivatives.

    Raises BadInputError for a figure that has shrunk to nothing.
    """
    points = _points(unknowns, taking.square)
    lengths, rows = [], []
    for name in taking.names:
        (start, start_moves), (end, end_moves) = (
            points[point] for point in JOINED[name.removeprefix(AGAIN)]
        )
        run = end - start
        length = float(np.hypot(*run))
        if not length > 0:
            raise BadInputError(NO_TOP)
        lengths.append(length)
        rows.append(run / length @ (end_moves - start_moves))
    return np.array(lengths), np.array(rows)


def covariance(taking: Taking, unknowns: FloatArray) -> FloatArray:
    """(m, m) mm²: the tape's own, and what marks that were set along an edge shift."""
    corners = corners_of(unknowns)
    points = {name: at for name, (at, _) in _points(unknowns, taking.square).items()}
    edges = {
        "near middle": (corners[1] - corners[0], taking.mark_sd),
        "far middle": (corners[2] - corners[3], taking.mark_sd),
    }
    if taking.square is not None:
        edges["along"] = (corners[1] - corners[0], taking.square.sd)
        edges["across"] = (corners[3] - corners[0], taking.square.sd)
    whole = np.asarray(np.diag(taking.sd**2), dtype=np.float64)
    for mark, (edge, sd) in edges.items():
        shifts = np.zeros(len(taking.names))
        for row, name in enumerate(taking.names):
            start, end = JOINED[name.removeprefix(AGAIN)]
            if mark in (start, end):
                run = points[end] - points[start]
                side = 1.0 if mark == end else -1.0
                shifts[row] = side * float(run @ edge) / np.hypot(*run) / np.hypot(*edge)
        whole += np.outer(shifts * sd, shifts * sd)
    return whole


def checked_by(taking: Taking, unknowns: FloatArray) -> FloatArray:
    """(m, m): the inverse covariance less what the five unknowns take up of it.

    On its diagonal stands how far each measurement is checked by the others: over its own
    weight, its redundancy number.
    """
    _, design = distances(taking, unknowns)
    return weighed(design, covariance(taking, unknowns)).projector


def first_guess(measured: FloatArray) -> FloatArray:
    """(5,) unknowns from the six of `SIDES`."""
    near, _, zero_end, far_end, from_near, from_far = measured[:6]
    far_x = (near**2 + from_near**2 - far_end**2) / (2 * near)
    zero_x = (near**2 + zero_end**2 - from_far**2) / (2 * near)
    far_y = np.sqrt(from_near**2 - far_x**2)
    zero_y = np.sqrt(zero_end**2 - zero_x**2)
    return np.array([near, far_x, far_y, zero_x, zero_y])


def with_more(taking: Taking, names: Sequence[str], sds: Sequence[float]) -> Taking:
    """`taking` with measurements more."""
    return Taking((*taking.names, *names), np.append(taking.sd, sds), taking.mark_sd, taking.square)


def _points(
    unknowns: FloatArray, square: SquareLean | None
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Each point by name, with its (2, 5) derivative."""
    moves = np.zeros((8, 5))
    moves[[2, 4, 5, 6, 7], range(5)] = 1.0
    by_corner = moves.reshape(4, 2, 5)
    found = dict(zip(_CORNERS, zip(corners_of(unknowns), by_corner, strict=True), strict=True))

    def middle(one: str, other: str) -> tuple[FloatArray, FloatArray]:
        return (found[one][0] + found[other][0]) / 2, (found[one][1] + found[other][1]) / 2

    found["near middle"] = middle("zero near", "far near")
    found["far middle"] = middle("zero far", "far far")
    if square is not None:
        at, moved = found["zero far"]
        height = float(np.hypot(*at))
        up = at / height
        turn = (np.eye(2) - np.outer(up, up)) / height
        found["along"] = (np.array([square.along, 0.0]), np.zeros((2, 5)))
        found["across"] = (square.across * up, square.across * turn @ moved)
    return found
