"""A finished true-up: its mapping, what it is worth in words, and how it is kept as plain data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from devices.projector.light.mapping import LightMapping
from devices.projector.light.throw import raised_by, throw
from devices.projector.trueup.bump import far_apart, moved, retrued, stirred
from devices.projector.trueup.calibration import Landing, LandingErrors
from devices.projector.trueup.suspects import blunder_lines, solve
from marking.errors import BadInputError, RefusedError
from marking.least_squares.chi_square import POINT_95
from marking.measures.lengths import format_length
from marking.measures.tape import shared_sds
from marking.network.confidence import radius_95

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.projector.profile import Projector
    from devices.projector.trueup.calibration import Calibration
    from marking.arrays import FloatArray
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape

SET_BY_HAND = 0.5 / 2**0.5
"""Standard deviation in mm, each way, of a target set on a mark by eye: half a millimetre in all.
Our own assumption; residuals that plainly contradict it enlarge the errors shown."""
TRACED_BY_HAND = 0.25
"""Standard deviation in mm, each way, of a traced line about the light; our own assumption."""
_ROUNDED = 12**-0.5
"""Standard deviation in pixels of a place rounded to whole pixels."""
_WRINKLE = 3.0
_MAP_STEPS = (7, 4)


class Aim(Struct, frozen=True):
    """What a true-up of one section is for: what it inks, under which light, to what tolerance."""

    core: tuple[float, float, float, float]
    """Table frame, mm: errors are told over it."""
    corners_table: FloatArray
    """(4, 2): the top."""
    expected: LightMapping
    """By the profile, as the lens is to hang."""
    projector: Projector
    tape: Tape
    tolerance: float
    units: Units


class Trued(Struct, frozen=True):
    """A mapping to light by, and what the person was told of it."""

    mapping: LightMapping
    worst_mm: float
    """Expected 95 % error at the worst place of what the section inks."""
    lines: tuple[str, ...]
    """The report, most important first."""
    good: bool
    """Whether the worst place is within the job's tolerance."""
    error_map: tuple[tuple[float, ...], ...] = ()
    """Expected 95 % error in mm over the section's core, rows from its far side."""
    landings: tuple[Landing, ...] = ()
    """What it was solved from; none once it was re-trued after a bump."""
    residuals: tuple[str, ...] = ()
    """How far each landing lies off what all say together."""


def solved(aim: Aim, landings: Sequence[Landing]) -> Trued:
    """The true-up of a section.

    Raises BadInputError and RefusedError, naming what is wrong, a contradicted landing too.
    """
    units = aim.units
    calibration = _calibration(aim, landings)
    blunders = blunder_lines(calibration, units)
    if blunders:
        raise RefusedError(*blunders)
    errors = error_95(calibration, _map_spots(aim), aim.tape)
    lines = [_slips(calibration, units)]
    if calibration.spare and calibration.worse > 1:
        lines.append(
            "The targets were set less exactly than supposed; the errors above allow for it."
        )
    lines.append(_raised(aim))
    judged = _judged(aim, calibration.mapping, errors, lines, tuple(landings))
    return replace(judged, residuals=_residuals(calibration, units))


def checked(aim: Aim, held: Trued, landings: Sequence[Landing]) -> Trued:
    """A true-up after a bump, by check targets: as it was where nothing moved, else re-trued.

    Raises BadInputError when they moved and were landed only once, or contradict each other.
    """
    units, pixel = aim.units, throw(aim.projector).pixel[1]
    sd = math.hypot(SET_BY_HAND, _ROUNDED * pixel)
    if not far_apart(landings):
        raise BadInputError("land both targets first; then the two say whether it has moved")
    stirring = stirred(held.mapping, landings, sd)
    if not stirring:
        line = "Checked by two targets: nothing has moved as far as landing them can tell."
        return replace(held, lines=(held.lines[0], line, *_unchecked(held.lines[1:])))
    if len(landings) < 4:
        raise BadInputError(
            f"the light lies up to {format_length(stirring, units)} ({stirring:.1f} mm) off its "
            "target. Land both targets a second time, so that a slip is not taken for a move"
        )
    move = moved(held.mapping, landings, sd)
    added = POINT_95 * move.variance(_map_spots(aim), sd)
    errors = np.sqrt(np.array(held.error_map).ravel() ** 2 + added)
    line = (
        f"Re-trued by two targets: the table had moved {np.hypot(*move.shift):.1f} mm and turned "
        f"{np.degrees(move.turn):.2f} degrees under the light."
    )
    return _judged(aim, retrued(held.mapping, move), errors, [line, _raised(aim)], ())


def _unchecked(lines: Sequence[str]) -> list[str]:
    return [line for line in lines if not line.startswith("Checked by")]


def carried(aim: Aim, held: Trued, unlit: float) -> Trued:
    """Another section's true-up for this one, where neither projector nor table has moved.

    `unlit` is how many millimetres of this section's lines its light would miss.

    Raises RefusedError when that cannot be judged, or does not light all of the section.
    """
    if not held.landings:
        raise RefusedError(
            "that true-up was checked or made otherwise since its targets were landed, so what "
            "it is worth here cannot be told. True up this section itself"
        )
    if unlit > 1:
        raise RefusedError(
            f"as the projector hangs, {unlit / 1000:.2f} m of this section's lines fall "
            "outside the picture. Move it over this section, and true up"
        )
    calibration = _calibration(aim, held.landings)
    errors = error_95(calibration, _map_spots(aim), aim.tape)
    lines = [_slips(calibration, aim.units), _raised(aim)]
    return _judged(aim, held.mapping, errors, lines, held.landings)


def _calibration(aim: Aim, landings: Sequence[Landing]) -> Calibration:
    return solve(
        landings,
        aim.expected,
        aim.projector.pixels,
        aim.corners_table,
        LandingErrors(SET_BY_HAND, _ROUNDED),
    )


def _judged(
    aim: Aim,
    mapping: LightMapping,
    errors: FloatArray,
    lines: Sequence[str],
    landings: tuple[Landing, ...],
) -> Trued:
    worst, tolerance = float(errors.max()), aim.tolerance
    rows = errors.reshape(_MAP_STEPS[1], _MAP_STEPS[0]).tolist()
    return Trued(
        mapping,
        worst,
        (_verdict(worst, tolerance, aim.units), *lines),
        worst <= tolerance,
        tuple(tuple(row) for row in rows),
        landings,
    )


def _map_spots(aim: Aim) -> FloatArray:
    """(n, 2): where over a section's core errors are told, rows from its far side."""
    x0, y0, x1, y1 = aim.core
    xs, ys = np.linspace(x0, x1, _MAP_STEPS[0]), np.linspace(y1, y0, _MAP_STEPS[1])
    return np.array([[x, y] for y in ys for x in xs])


def _raised(aim: Aim) -> str:
    moves = raised_by(aim.projector, _WRINKLE)
    return (
        f"Where the cover stands up by {format_length(_WRINKLE, 'mm')}, as on a wrinkle, light "
        f"at the picture's edge falls {moves:.1f} mm off; press it flat. One pixel is "
        f"{throw(aim.projector).pixel[1]:.2f} mm."
    )


def error_95(calibration: Calibration, spots: FloatArray, tape: Tape) -> FloatArray:
    """(n,) in mm: radius of the circle that the light for a spot falls in, 95 times in 100.

    With what the tape shifts all points by. The half-axis of an ellipse is no such radius: the
    narrower the ellipse, the more often the light falls within its long half-axis.
    """
    covariance = calibration.covariance_table(spots)
    for axis in (0, 1):
        covariance[:, axis, axis] += (shared_sds(spots[:, axis], tape) ** 2).sum(axis=0)
    return radius_95(covariance)


def line_sd(trued: Trued) -> float:
    """How far off, in mm per axis, a line traced by this light may lie."""
    return float(np.hypot(trued.worst_mm / math.sqrt(POINT_95), TRACED_BY_HAND))


def _slips(calibration: Calibration, units: Units) -> str:
    """What a slip in a landing must come to, to be named."""
    named = calibration.slip_named
    unchecked = [
        landing.name
        for landing, least in zip(calibration.landings, named, strict=True)
        if not np.isfinite(least)
    ]
    if len(unchecked) == len(named):
        return "Four targets check nothing: a slip in one would not show. Land all of them."
    if unchecked:
        return f"Nothing checks {', '.join(unchecked)}: a slip there would not show. Land more."
    return (
        f"A slip of {format_length(float(named.max()), units)} ({named.max():.1f} mm) in any one "
        "landing would be named; a smaller one may pass unseen."
    )


def _verdict(worst: float, tolerance: float, units: Units) -> str:
    shown = f"{format_length(worst, units)} ({worst:.2f} mm)"
    limit = format_length(tolerance, units)
    if worst <= tolerance:
        return f"Good: at the worst place the light is expected within {shown}; {limit} is allowed."
    return (
        f"Not good enough: at the worst place the light may be {shown} off, and {limit} is "
        "allowed. Land all targets, and find their points more exactly: with a tape of a better "
        "class, or compared with a known length, and read finer ([tape] in job.toml)"
    )


def _residuals(calibration: Calibration, units: Units) -> tuple[str, ...]:
    px = np.linalg.norm(calibration.residual_px, axis=1)
    table = np.linalg.norm(calibration.residual_table, axis=1)
    return tuple(
        f"Target {landing.name}: off by {format_length(float(mm), units)} "
        f"({mm:.2f} mm, {pixel:.2f} px)."
        for landing, mm, pixel in zip(calibration.landings, table, px, strict=True)
    )


def nudged(held: Trued, across_px: float, down_px: float) -> Trued:
    """The same true-up with all its light moved by hand."""
    return replace(held, mapping=held.mapping.shifted(across_px, down_px))


def kept(trued: Trued) -> dict[str, Any]:
    """Plain data for the record."""
    mapping = trued.mapping
    return {
        "matrix": mapping.matrix.tolist(),
        "axis_px": list(mapping.axis_px),
        "radius_px": mapping.radius_px,
        "k": mapping.k,
        "shift_px": list(mapping.shift_px),
        "worst_mm": trued.worst_mm,
        "lines": list(trued.lines),
        "good": trued.good,
        "error_map": [list(row) for row in trued.error_map],
        "residuals": list(trued.residuals),
        "landings": [
            [one.name, one.at_px, one.at_table, one.sd, one.rounded] for one in trued.landings
        ],
    }


def from_kept(data: dict[str, Any]) -> Trued:
    """What `kept` made plain."""
    mapping = LightMapping(
        np.array(data["matrix"], dtype=float),
        (data["axis_px"][0], data["axis_px"][1]),
        data["radius_px"],
        data["k"],
        (data["shift_px"][0], data["shift_px"][1]),
    )
    rows = tuple(tuple(row) for row in data["error_map"])
    landings = tuple(
        Landing(name, (px[0], px[1]), (at[0], at[1]), *known)
        for name, px, at, *known in data.get("landings", ())
    )
    return Trued(
        mapping,
        data["worst_mm"],
        tuple(data["lines"]),
        data["good"],
        rows,
        landings,
        tuple(data.get("residuals", ())),
    )
