"""The real top from four sides, two diagonals and what more was measured, by least squares.

Table frame throughout: origin at the corner of zero end and near edge, x along the near edge,
y towards the far edge, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import BadInputError, RefusedError
from marking.layout.top_shape import (
    AGAIN,
    MORE,
    NO_TOP,
    SIDES,
    SquareLean,
    Taking,
    corners_of,
    covariance,
    distances,
    first_guess,
    unknowns_of,
)
from marking.least_squares.linear import weighed, whitening
from marking.least_squares.nonlinear import gauss_newton
from marking.least_squares.readings_test import TRUST, one_by_one
from marking.measures.lengths import format_length
from marking.measures.tape import USUAL_TAPE, permissible_error

if TYPE_CHECKING:
    from marking.arrays import FloatArray
    from marking.job.keys import SurveyTable, TopTable
    from marking.layout.survey_slips import SurveySlips
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape, TapeClass

_USUAL_READING = 1.5875
"""mm: how finely a tape is read where no survey says, a sixteenth of an inch."""
_OTHER_TABLE, _OTHER_TABLE_LEAST = 0.03, 76.2
"""How far a measured side may lie from the table's own size: a share of it, or so many mm."""
_TRIANGLES = ((0, 3, 4), (0, 2, 5), (1, 2, 4), (1, 3, 5))
_SAME = 0.999
"""Share of the largest doubt from which on a measurement is as doubtful as the first."""


class Adjustment(Struct, frozen=True):
    """How well the measurements of one top agree. Arrays in the order of `names`."""

    measured: FloatArray
    adjusted: FloatArray
    sd: FloatArray
    closing: FloatArray
    """What each measurement alone would have to change by to close the figure, in mm, to first
    order: good to a part in a thousand for a slip of an inch."""
    misclosure: float
    """The second diagonal as measured, less as the others give it, in mm."""
    in_sds: float
    """How many of its standard deviations the most doubtful one is off the others: with six, the
    misclosure over its own, and the same for each."""
    names: tuple[str, ...] = SIDES
    doubt: FloatArray | None = None
    """Each one's distance from the others over its standard deviation; None where six share one."""


class Top(Struct, frozen=True):
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
    measured, taking = taken(table.survey, tape)
    _check_possible(measured, units)
    corners, adjustment = adjusted(measured * tape.true_per_shown, taking)
    if adjustment.in_sds > TRUST:
        which = _which_again if len(taking.names) == len(SIDES) else _which_of_many
        raise RefusedError(which(adjustment, units))
    _check_shape(corners)
    _check_is_this_table(measured, table, units)
    return Top(corners, adjustment)


def taken(survey: SurveyTable, tape: Tape) -> tuple[FloatArray, Taking]:
    """What a survey measured, in mm as the tape showed it, and how sure each is."""
    lengths = {side: getattr(survey, side) for side in SIDES}
    lengths |= {name: getattr(survey, name) for name in MORE}
    if survey.again is not None:
        lengths |= {f"{AGAIN}{side}": getattr(survey.again, side) for side in SIDES}
    given = {name: length for name, length in lengths.items() if length is not None}
    measured = np.array(list(given.values()))
    square = None
    if survey.square_along is not None and survey.square_across is not None:
        legs = np.array([survey.square_along, survey.square_across])
        along, across = (legs * tape.true_per_shown).tolist()
        sd = float(tape_sd(legs, survey.reading, tape.tape_class).max())
        square = SquareLean(along, across, sd)
    sds = tape_sd(measured, survey.reading, tape.tape_class)
    return measured, Taking(tuple(given), sds, survey.reading / 2, square)


def slips_of(table: TopTable, top: Top, tape: Tape = USUAL_TAPE) -> SurveySlips:
    """How large a slip in each measurement of this very top would show, measured or not yet."""
    from marking.layout.survey_slips import survey_slips

    reading = _USUAL_READING
    taking = None
    if table.survey is not None:
        reading = table.survey.reading
        _, taking = taken(table.survey, tape)

    def sd_of(lengths: FloatArray) -> FloatArray:
        return tape_sd(lengths, reading, tape.tape_class)

    unknowns = unknowns_of(top.corners_table)
    if taking is None:
        six = Taking(SIDES, np.ones(len(SIDES)), reading / 2)
        taking = replace(six, sd=sd_of(distances(six, unknowns)[0]))
    return survey_slips(taking, unknowns, sd_of)


def tape_sd(lengths: FloatArray, reading: float, tape_class: TapeClass = "II") -> FloatArray:
    """Standard deviations in mm of taped lengths read to `reading` mm.

    Half the finest division for setting and reading; half the permissible error of the tape's
    class.
    """
    return np.hypot(reading / 2, permissible_error(lengths, tape_class) / 2)


def adjust(measured: FloatArray, sd: FloatArray) -> tuple[FloatArray, Adjustment]:
    """Corners (4, 2) and residuals of the six of `SIDES`, each with its standard deviation."""
    return adjusted(measured, Taking(SIDES, sd, 0.0))


def adjusted(measured: FloatArray, taking: Taking) -> tuple[FloatArray, Adjustment]:
    """Corners (4, 2) and residuals of what was `measured`, by Gauss-Newton on five unknowns."""
    first = first_guess(measured)
    spread = covariance(taking, first)

    def linearised(unknowns: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        computed, design = distances(taking, unknowns)
        return measured - computed, design

    # Measurements so far out that it does not settle are told by the misfits that they leave.
    unknowns = gauss_newton(first, linearised, whitening(spread), np.add).state
    misfits, design = linearised(unknowns)
    projector = weighed(design, spread).projector
    pulls = projector @ misfits
    others = one_by_one(pulls, projector, taking.sd**2)
    closing, doubt = -others.off[:, 0], others.in_sds
    alone = len(measured) == len(unknowns) + 1
    return corners_of(unknowns), Adjustment(
        measured,
        measured - misfits,
        taking.sd,
        closing,
        -float(closing[5]),
        float(np.sqrt(max(0.0, float(misfits @ pulls)))) if alone else float(np.nanmax(doubt)),
        taking.names,
        None if alone else doubt,
    )


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
        raise BadInputError(NO_TOP)


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
        f"{adjustment.in_sds:.1f} times what the tape explains ({TRUST:g} is the limit). "
        f"Measure {SIDES[first]} again: {_should_read(adjustment, first, units)} would close the "
        f"figure with the squarest top. If it stands, measure {SIDES[second]} "
        f"({_should_read(adjustment, second, units)} would close it)"
    )


def _which_of_many(adjustment: Adjustment, units: Units) -> str:
    """Names the measurement that the others contradict most, and those that may be it as well."""
    assert adjustment.doubt is not None
    doubt = np.nan_to_num(adjustment.doubt)
    ranked = sorted(range(len(doubt)), key=lambda one: (-round(float(doubt[one]), 6), one))
    likely = [one for one in ranked if doubt[one] > _SAME * doubt[ranked[0]]]
    # Read twice, one and the same length is measured again, whichever reading was wrong.
    sides = list(dict.fromkeys(adjustment.names[one].removeprefix(AGAIN) for one in likely))
    first = ranked[0]
    fits = f"{_should_read(adjustment, first, units)} would fit all others"
    rest = f" If it stands, measure {' and '.join(sides[1:])}" if sides[1:] else ""
    return (
        f"table.survey: the {len(doubt)} measurements do not agree: {adjustment.names[first]} is "
        f"{format_length(abs(float(adjustment.closing[first])), units)} off the others, "
        f"{doubt[first]:.1f} times what the tape explains ({TRUST:g} is the limit). "
        f"Measure {sides[0]} again: {fits}.{rest}"
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
