"""A finished true-up: its mapping, what it is worth in words, and how it is kept as plain data."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from devices.beam.calibration import Landing, Setting
from devices.beam.mapping import Mapping
from devices.beam.suspects import blunder_lines, solve
from devices.beam.throw import raised_by, throw
from marking.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.beam.calibration import Calibration
    from devices.beam.targets import Move
    from devices.beam.work import Work
    from marking.lengths import Units

SET_BY_HAND = 0.5 / 2**0.5
"""Standard deviation in mm, each way, of a target set on a mark by eye: half a millimetre in all.
Our own assumption; residuals that plainly contradict it enlarge the errors shown."""
_ROUNDED = 12**-0.5
"""Standard deviation in pixels of a place rounded to whole pixels."""
_WRINKLE = 3.0
_MAP_STEPS = (7, 4)


@dataclass(frozen=True)
class Trued:
    """A mapping to light by, and what the person was told of it."""

    mapping: Mapping
    worst_mm: float
    """Expected 95 % error at the worst place of the section."""
    lines: tuple[str, ...]
    """The report, most important first."""
    good: bool
    """Whether the worst place is within the job's tolerance and no landing is contradicted."""
    error_map: tuple[tuple[float, ...], ...] = ()
    """Expected 95 % error in mm over the window, rows from its far side."""


def solved(work: Work, section: str, landings: Sequence[Landing]) -> Trued:
    """The true-up of a section. Raises BadInputError and RefusedError, naming what is wrong."""
    projector, units = work.job.projector, work.job.units
    setting = Setting(SET_BY_HAND, _ROUNDED)
    calibration = solve(
        landings,
        work.expected(section),
        projector.pixels,
        work.layout.top.corners_table,
        setting,
    )
    x0, y0, x1, y1 = work.section(section).window
    xs, ys = np.linspace(x0, x1, _MAP_STEPS[0]), np.linspace(y1, y0, _MAP_STEPS[1])
    spots = np.array([[x, y] for y in ys for x in xs])
    errors = calibration.error_95(spots)
    worst = float(errors.max())
    tolerance = work.job.tolerance
    blunders = blunder_lines(calibration, units)
    good = worst <= tolerance and not blunders
    lines = [*blunders, _verdict(worst, tolerance, units), *_residuals(calibration, units)]
    if calibration.spare and calibration.worse > 1:
        lines.append(
            "The targets were set less exactly than supposed; the errors above allow for it."
        )
    if not calibration.spare:
        lines.append("Four targets check nothing: a slip in one would not show. Nine are better.")
    moves = raised_by(projector, _WRINKLE)
    thin = throw(projector).pixel[1]
    lines.append(
        f"Where the cover stands up by {format_length(_WRINKLE, 'mm')}, as on a wrinkle, light "
        f"at the picture's edge falls {moves:.1f} mm off; press it flat. One pixel is "
        f"{thin:.2f} mm."
    )
    shape = tuple(tuple(float(e) for e in row) for row in errors.reshape(len(ys), len(xs)))
    return Trued(calibration.mapping, worst, tuple(lines), good, shape)


def _verdict(worst: float, tolerance: float, units: Units) -> str:
    shown = f"{format_length(worst, units)} ({worst:.2f} mm)"
    limit = format_length(tolerance, units)
    if worst <= tolerance:
        return f"Good: at the worst place the light is expected within {shown}; {limit} is allowed."
    return (
        f"Not good enough: at the worst place the light may be {shown} off, and {limit} is "
        "allowed. Land nine targets, out to the corners, more exactly; or hang the projector lower"
    )


def _residuals(calibration: Calibration, units: Units) -> list[str]:
    px = np.linalg.norm(calibration.residual_px, axis=1)
    table = np.linalg.norm(calibration.residual_table, axis=1)
    return [
        f"Target {landing.name}: off by {format_length(float(mm), units)} "
        f"({mm:.2f} mm, {pixel:.2f} px)."
        for landing, mm, pixel in zip(calibration.landings, table, px, strict=True)
    ]


def with_mapping(held: Trued, mapping: Mapping, move: Move | None = None) -> Trued:
    """The same true-up after a nudge, or after a quick re-true."""
    if move is None:
        return replace(held, mapping=mapping)
    line = (
        f"Re-trued by two targets: the table had moved {np.hypot(*move.shift):.1f} mm and turned "
        f"{np.degrees(move.turn):.2f} degrees under the light."
    )
    return replace(held, mapping=mapping, lines=(line, *held.lines))


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
    }


def from_kept(data: dict[str, Any]) -> Trued:
    """What `kept` made plain."""
    mapping = Mapping(
        np.array(data["matrix"], dtype=float),
        (data["axis_px"][0], data["axis_px"][1]),
        data["radius_px"],
        data["k"],
        (data["shift_px"][0], data["shift_px"][1]),
    )
    rows = tuple(tuple(row) for row in data["error_map"])
    return Trued(mapping, data["worst_mm"], tuple(data["lines"]), data["good"], rows)
