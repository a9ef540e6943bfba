"""The real top from four sides and two diagonals, adjusted by least squares.

Table frame throughout: origin at the corner of zero end and near edge, x along the near edge,
y towards the far edge, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from marking.errors import BadInputError, RefusedError
from marking.lengths import format_length
from marking.tape import USUAL_TAPE, permissible_error

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from marking.job import TopTable
    from marking.lengths import Units
    from marking.tape import Tape, TapeClass

    FloatArray = NDArray[np.float64]

SIDES = (
    "near",
    "far",
    "zero_end",
    "far_end",
    "diagonal_from_zero_near",
    "diagonal_from_zero_far",
)
_OTHER_TABLE, _OTHER_TABLE_LEAST = 0.03, 76.2
"""How far a measured side may lie from the table's own size: a share of it, or so many mm."""
# Corners in order: zero end near, far end near, far end far, zero end far.
_ENDS = ((0, 1), (3, 2), (0, 3), (1, 2), (0, 2), (3, 1))
_TRIANGLES = ((0, 3, 4), (0, 2, 5), (1, 2, 4), (1, 3, 5))
_NO_TOP = (
    "table.survey: the six measurements describe a folded figure and no table top; "
    "check which length was written to which key"
)
_TRUST = 3.0
"""Standard deviations past which a misclosure is a mistake and no longer the tape."""


@dataclass(frozen=True)
class Adjustment:
    """How well six measurements of one top agree. Arrays in the order of `SIDES`."""

    measured: FloatArray
    adjusted: FloatArray
    sd: FloatArray
    closing: FloatArray
    """What each measurement alone would have to change by to close the figure, in mm, to first
    order: good to a part in a thousand for a slip of an inch."""
    misclosure: float
    """The second diagonal as measured, less as the other five give it, in mm."""
    in_sds: float
    """The misclosure over its standard deviation."""


@dataclass(frozen=True)
class Top:
    """The table's upper face."""

    corners_table: FloatArray
    """(4, 2): zero end near, far end near, far end far, zero end far."""
    adjustment: Adjustment | None = None

    @property
    def inscribed(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1 of the largest true rectangle on the near edge that spans both ends."""
        (_, _), (near_x, _), (far_x, far_y), (zero_x, zero_y) = self.corners_table
        return (
            max(0.0, float(zero_x)),
            0.0,
            float(min(near_x, far_x)),
            float(min(far_y, zero_y)),
        )

    @property
    def out_of_square(self) -> float:
        """How far the zero end leans along the table over its height, in mm; plus is outward."""
        return -float(self.corners_table[3, 0])

    @property
    def out_of_parallel(self) -> float:
        """How much further the far edge lies at the far end than at the zero end, in mm."""
        return float(self.corners_table[2, 1] - self.corners_table[3, 1])


def survey_top(table: TopTable, units: Units, tape: Tape = USUAL_TAPE) -> Top:
    """The top of `table`: adjusted from its survey by `tape`, or a true rectangle without one.

    Raises BadInputError for measurements that no figure can have or that are not of this table,
    and RefusedError when they disagree by more than the tape explains, naming the one to take
    again.
    """
    if table.survey is None:
        length, width = table.length, table.width
        return Top(np.array([[0, 0], [length, 0], [length, width], [0, width]], dtype=float))
    measured = np.array([getattr(table.survey, side) for side in SIDES])
    _check_possible(measured, units)
    sd = tape_sd(measured, table.survey.reading, tape.tape_class)
    corners, adjustment = adjust(measured * tape.true_per_shown, sd)
    if adjustment.in_sds > _TRUST:
        raise RefusedError(_which_again(adjustment, units))
    _check_shape(corners)
    _check_is_this_table(measured, table, units)
    return Top(corners, adjustment)


def tape_sd(lengths: FloatArray, reading: float, tape_class: TapeClass = "II") -> FloatArray:
    """Standard deviations in mm of taped lengths read to `reading` mm.

    Half the finest division for setting and reading; half the permissible error of the tape's
    class.
    """
    return np.hypot(reading / 2, permissible_error(lengths, tape_class) / 2)


def adjust(measured: FloatArray, sd: FloatArray) -> tuple[FloatArray, Adjustment]:
    """Corners (4, 2) and residuals of six measurements, by Gauss-Newton on five unknowns."""
    unknowns = _first_guess(measured)
    weights = 1 / sd
    for _ in range(50):
        computed, jacobian = _distances(unknowns)
        step = np.linalg.lstsq(
            jacobian * weights[:, None], (measured - computed) * weights, rcond=None
        )[0]
        unknowns = unknowns + step
        if np.abs(step).max() < 1e-10:
            break
    computed, jacobian = _distances(unknowns)
    # One measurement more than unknowns: the left null vector of the weighted design is the
    # one condition the six must meet, and its squares are their shares of the redundancy.
    null = np.linalg.svd((jacobian * weights[:, None]).T)[2][-1]
    residual = measured - computed
    in_sds = abs(float(null @ (residual * weights)))
    with np.errstate(divide="ignore", invalid="ignore"):
        closing = -residual / null**2
    return _corners(unknowns), Adjustment(
        measured, computed, sd, closing, -float(closing[-1]), in_sds
    )


def _corners(unknowns: FloatArray) -> FloatArray:
    length, far_x, far_y, zero_x, zero_y = unknowns
    return np.array([[0.0, 0.0], [length, 0.0], [far_x, far_y], [zero_x, zero_y]])


def _distances(unknowns: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The six distances and their (6, 5) derivatives."""
    corners = _corners(unknowns)
    start, end = np.array(_ENDS).T
    runs = corners[end] - corners[start]
    lengths = np.hypot(runs[:, 0], runs[:, 1])
    if not lengths.min() > 0:
        raise BadInputError(_NO_TOP)
    directions = runs / lengths[:, None]
    by_corner = np.zeros((6, 4, 2))
    rows = np.arange(6)
    by_corner[rows, end] += directions
    by_corner[rows, start] -= directions
    free = by_corner.reshape(6, 8)[:, [2, 4, 5, 6, 7]]
    return lengths, free


def _first_guess(measured: FloatArray) -> FloatArray:
    near, _, zero_end, far_end, from_near, from_far = measured
    far_x = (near**2 + from_near**2 - far_end**2) / (2 * near)
    zero_x = (near**2 + zero_end**2 - from_far**2) / (2 * near)
    far_y = np.sqrt(from_near**2 - far_x**2)
    zero_y = np.sqrt(zero_end**2 - zero_x**2)
    return np.array([near, far_x, far_y, zero_x, zero_y])


def _check_possible(measured: FloatArray, units: Units) -> None:
    for triangle in _TRIANGLES:
        longest = max(triangle, key=lambda side: measured[side])
        others = [side for side in triangle if side != longest]
        if measured[longest] >= measured[others].sum():
            shown = {side: format_length(measured[side], units) for side in triangle}
            raise BadInputError(
                f"table.survey: {SIDES[longest]} ({shown[longest]}) is longer than "
                f"{SIDES[others[0]]} ({shown[others[0]]}) and {SIDES[others[1]]} "
                f"({shown[others[1]]}) together; no triangle closes, so measure these three again"
            )


def _check_is_this_table(measured: FloatArray, table: TopTable, units: Units) -> None:
    """A survey far from the length and width given is of another table, or has two exchanged."""
    given = np.array([table.length, table.length, table.width, table.width])
    off = np.abs(measured[:4] - given)
    allowed = np.maximum(_OTHER_TABLE * given, _OTHER_TABLE_LEAST)
    if (off <= allowed).all():
        return
    exchanged = (np.abs(measured[:4] - given[[2, 2, 0, 0]]) <= allowed[[2, 2, 0, 0]]).all()
    worst = int((off / allowed).argmax())
    name, key = SIDES[worst], "length" if worst < 2 else "width"
    raise BadInputError(
        f"table.survey: {name} measures {format_length(measured[worst], units)} and table.{key} "
        f"says {format_length(given[worst], units)}. "
        + (
            "Long edges and ends look exchanged: near and far are the long edges, zero_end and "
            "far_end the short ones"
            if exchanged
            else f"Correct whichever is wrong; table.{key} need only be the size by name, to "
            f"within {format_length(allowed[worst], units)}"
        )
    )


def _check_shape(corners: FloatArray) -> None:
    """Corners must go round one way; a folded figure is a survey with two sides exchanged."""
    edges = np.roll(corners, -1, axis=0) - corners
    after = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    if (turns <= 0).any():
        raise BadInputError(_NO_TOP)


def _which_again(adjustment: Adjustment, units: Units) -> str:
    """Names the measurement that, changed alone, leaves the most nearly rectangular top.

    With one measurement to spare every one of the six could be the wrong one and the figures
    cannot tell which; that table tops are made square is what decides.
    """
    # To a nanometre: of sides that would do equally well, the first is named on every processor.
    ranked = sorted(range(6), key=lambda side: round(_crookedness(adjustment, side), 6))
    first, second = ranked[:2]
    return (
        f"table.survey: the six measurements disagree by "
        f"{format_length(abs(adjustment.misclosure), units)} on the diagonal, "
        f"{adjustment.in_sds:.1f} times what the tape explains ({_TRUST:g} is the limit). "
        f"Measure {SIDES[first]} again: {_should_read(adjustment, first, units)} would close the "
        f"figure with the squarest top. If it stands, measure {SIDES[second]} "
        f"({_should_read(adjustment, second, units)} would close it)"
    )


def _should_read(adjustment: Adjustment, side: int, units: Units) -> str:
    return format_length(float(adjustment.measured[side] + adjustment.closing[side]), units)


def _crookedness(adjustment: Adjustment, side: int) -> float:
    """How unlike a rectangle the top is if `side` alone was wrong, in mm."""
    lengths = adjustment.measured.copy()
    lengths[side] += adjustment.closing[side]
    if not np.isfinite(lengths).all() or (lengths <= 0).any():
        return float("inf")
    return float(np.abs(lengths[[0, 2, 4]] - lengths[[1, 3, 5]]).max())
