"""What the projector can do for a job: picture, light, set-downs by height, and which will do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from msgspec.structs import asdict

from devices.projector.light.throw import beam_zone, lens_over, nominal, raised_by, throw
from devices.projector.trueup.calibration import Landing, LandingErrors, calibrate
from devices.projector.trueup.points import by_tape
from devices.projector.trueup.result import SET_BY_HAND, error_95
from devices.projector.trueup.targets import on_top, suggest
from marking.errors import RefusedError
from marking.job.keys import tape_of
from marking.measures.lengths import format_length
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.job import Job
    from devices.projector.profile import Projector
    from devices.projector.trueup.calibration import Calibration
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

_SHARES = (0.5, 0.75, 1.0, 1.25, 1.5, 2.0)
_ROUNDED = 12**-0.5


class Height(Struct, frozen=True):
    """The projector at one height over the cover. Millimetres."""

    distance: float
    picture: tuple[float, float]
    pixel: float
    set_downs: int
    """0 when the picture is too small to cut the marking into."""
    error_95: float
    """Expected at the worst place of a set-down after a true-up with all targets."""
    fits: bool
    """Within the job's tolerance."""


def heights(job: Job, layout: Layout) -> list[Height]:
    """The projector at its own height and round it."""
    return [
        _height(job, layout, job.projector.model_copy(update={"distance": share * own}))
        for own in (job.projector.distance,)
        for share in _SHARES
    ]


def _height(job: Job, layout: Layout, projector: Projector) -> Height:
    thrown = throw(projector)
    size = np.ptp(thrown.corners_beam, axis=0)
    picture = float(size[0]), float(size[1])
    try:
        plan = divide_into_sections(layout, job, beam_zone(job.reach, projector))
    except RefusedError:
        return Height(projector.distance, picture, thrown.pixel[1], 0, 0.0, False)
    error = _expected_error(job, projector, plan)
    return Height(
        projector.distance,
        picture,
        thrown.pixel[1],
        len(plan.sections),
        error,
        error <= job.tolerance,
    )


def _expected_error(job: Job, projector: Projector, plan: Plan) -> float:
    solved, corners = _trued_up(job, projector, plan)
    return float(error_95(solved, corners, tape_of(job.tape)).max())


def light_sd(job: Job, projector: Projector, plan: Plan) -> float:
    """Standard deviation each way, in mm, of light at the worst corner, by the true-up alone:
    without what the tape shifts all points by."""
    solved, corners = _trued_up(job, projector, plan)
    spread = np.trace(solved.covariance_table(corners), axis1=1, axis2=2)
    return float(np.sqrt(spread.max() / 2))


def _trued_up(job: Job, projector: Projector, plan: Plan) -> tuple[Calibration, FloatArray]:
    """The true-up of the section farthest from the tape's zero, and the corners of its core."""
    # What the tape shifts all points by is largest in the section farthest from its zero.
    section = max(plan.sections, key=lambda one: one.core[2] + one.core[3])
    window = section.window
    mapping = nominal(projector, lens_over(projector, job.reach.depth, window))
    tape = tape_of(job.tape)
    top = on_top(window, job.table.length, job.table.width)
    targets = suggest(top, mapping, lambda x, y: by_tape(x, y, tape))
    points = np.array([target.at_table for target in targets])
    landings = [
        Landing(target.name, (float(px[0]), float(px[1])), target.at_table, target.sd)
        for target, px in zip(targets, mapping.to_px(points), strict=True)
    ]
    setting = LandingErrors(SET_BY_HAND, _ROUNDED)
    solved = calibrate(landings, mapping.axis_px, mapping.radius_px, setting)
    x0, y0, x1, y1 = section.core
    return solved, np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def height_warnings(job: Job, plan: Plan) -> tuple[str, ...]:
    """What to know of the projector's height before the beam's sections are worked to: nothing
    where it holds the tolerance."""
    error, units = _expected_error(job, job.projector, plan), job.units
    if error <= job.tolerance:
        return ()
    return (
        f"With the lens {format_length(job.projector.distance, units)} over the cover, light is "
        f"expected up to {error:.2f} mm off at the worst place, after a true-up with all targets; "
        f"{format_length(job.tolerance, units)} ({job.tolerance:.2f} mm) is allowed. Hang it "
        "lower, or find the targets by a better tape: canvasrule beam --plan says what will do",
    )


def plan_record(job: Job, layout: Layout) -> dict[str, Any]:
    """`beam --plan --json`."""
    thrown = throw(job.projector, job.reach.depth)
    return {
        "schema": 1,
        "picture": {
            "corners": thrown.corners_beam.tolist(),
            "usable": list(thrown.usable),
            "pixel": list(thrown.pixel),
            "area_m2": thrown.area,
            "lux": list(thrown.lux),
            "keystone": thrown.keystone,
            "finest_line": thrown.finest_line,
        },
        "heights": [asdict(height) for height in heights(job, layout)],
        "lens": [{"section": name, "at": [x, y]} for name, x, y in lens_places(job, layout)],
    }


def finer_tapes(job: Job, layout: Layout) -> Iterator[tuple[str, float]]:
    """What finding the targets' points by a better tape would give: what to do, and mm."""
    plan = divide_into_sections(layout, job, beam_zone(job.reach, job.projector))
    half = f"read the tape to half of {format_length(job.tape.division, job.units)}"
    finer = {"division": job.tape.division / 2}
    best = {"accuracy": "I"}
    for advice, change in (
        (half, finer),
        ("use a tape of class I", best),
        (f"use a tape of class I, and {half}", best | finer),
    ):
        with_it = job.model_copy(update={"tape": job.tape.model_copy(update=change)})
        yield advice, _expected_error(with_it, job.projector, plan)


def lens_places(job: Job, layout: Layout) -> list[tuple[str, float, float]]:
    """For each section at the projector's own height: where to hang the lens. Table frame, mm.

    Empty when the picture is too small to cut the marking into.
    """
    try:
        plan = divide_into_sections(layout, job, beam_zone(job.reach, job.projector))
    except RefusedError:
        return []
    return [
        (section.id, *lens_over(job.projector, job.reach.depth, section.window))
        for section in plan.sections
    ]


def _between(ends: tuple[float, float], as_figure: str) -> str:
    """The least and the most, and one figure where they read alike."""
    return " to ".join(dict.fromkeys(format(end, as_figure) for end in ends))


def plan_lines(job: Job, layout: Layout) -> Iterator[str]:
    """What `beam --plan` prints."""
    projector, units = job.projector, job.units
    thrown = throw(projector, job.reach.depth)
    size = np.ptp(thrown.corners_beam, axis=0)
    x0, y0, x1, y1 = thrown.usable
    yield f"# {projector.name} over {job.title}"
    yield ""
    yield (
        f"- Picture {format_length(size[0], units)} by {format_length(size[1], units)} on the "
        f"cover; {format_length(x1 - x0, units)} by {format_length(y1 - y0, units)} of it lies "
        f"square and within an arm's reach of {format_length(job.reach.depth, units)}."
    )
    yield (
        f"- A pixel is {_between(thrown.pixel, '.2f')} mm; the finest even line is "
        f"{thrown.finest_line:.1f} mm wide. Its middle, which is what is traced, lies much truer."
    )
    yield f"- Light {_between(thrown.lux, '.0f')} lx over {thrown.area:.2f} m2."
    if projector.tilt:
        yield (
            f"- Tilted {projector.tilt:g} degrees: one side is {thrown.keystone:.3f} times the "
            "other. The true-up takes this out; the usable picture is smaller for it."
        )
    yield (
        f"- Where the cover stands up by 3 mm, light at the picture's edge falls "
        f"{raised_by(projector, 3.0):.1f} mm off."
    )
    yield ""
    yield "| lens over the cover | picture | pixel | set-downs | expected error | |"
    yield "|---|---|---|---|---|---|"
    round_it = heights(job, layout)
    for height in round_it:
        picture = " by ".join(format_length(side, units) for side in height.picture)
        verdict = "will do" if height.fits else "not within tolerance"
        row = f"| {format_length(height.distance, units)} | {picture} | {height.pixel:.2f} mm | "
        yield row + (
            f"{height.set_downs} | {height.error_95:.2f} mm | {verdict} |"
            if height.set_downs
            else "none | | picture too small |"
        )
    yield ""
    yield (
        "The expected error is for 95 % of cases at the worst corner, after a true-up with "
        "nine targets, the corners twice, found by tape and set to half a millimetre and a whole "
        "pixel."
    )
    yield ""
    own = round_it[_SHARES.index(1.0)]
    if own.set_downs and not own.fits:
        plan = divide_into_sections(layout, job, beam_zone(job.reach, job.projector))
        yield from height_warnings(job, plan)
        yield f"To come within {format_length(job.tolerance, units)} at its own height:"
        for advice, error in finer_tapes(job, layout):
            outcome = "will do" if error <= job.tolerance else "not enough by itself"
            yield f"- {advice}: {error:.2f} mm, {outcome}"
    places = lens_places(job, layout)
    if places:
        yield ""
        yield "| set-down | lens over: along | across |"
        yield "|---|---|---|"
    for name, along, across in places:
        yield f"| {name} | {format_length(along, units)} | {format_length(across, units)} |"
