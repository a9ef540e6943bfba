"""What a division is made for: the zone of one of the job's machines, and the keys it comes from.

It holds which settings of a machine cut sections; it must not know what was inked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec.structs import asdict

from devices.plotter.holders import check_holders
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone

if TYPE_CHECKING:
    from collections.abc import Mapping

    from devices.job import Job
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.sections.zones import Zone, ZoneName

_PLOTTER = (
    *("kind", "unit", "x_size", "y_size", "origin", "axes", "coordinate_limit", "set_down"),
    "cloth_width",
)
_PROJECTOR = (
    "pixels",
    "throw_ratio",
    "offset",
    "distance",
    "picture_width",
    "tilt",
    "turn",
    "set_down",
)


def zone_of(name: ZoneName, job: Job, correction: Correction | None) -> Zone:
    """What one set-down reaches; a corrected plotter's may be less."""
    if name == "beam":
        from devices.projector.light.throw import beam_zone

        return beam_zone(job.reach, job.projector)
    if name == "reach":
        return reach_zone(job.reach)
    if correction is None:
        return job.plotter.zone
    from devices.plotter.correction import within_reach

    return within_reach(job.plotter, correction).zone


def divided(name: ZoneName, layout: Layout, job: Job, correction: Correction | None) -> Plan:
    """The sections of `layout` for the zone named, as this version makes them.

    Raises RefusedError when a pen that they need has no holder on the plotter: late in a job,
    with marks set out and ink laid, is no time to hear of it.
    """
    plan = divide_into_sections(layout, job, zone_of(name, job, correction))
    if name == "plotter":
        used = sorted({piece.stroke.pen for section in plan.sections for piece in section.pieces})
        check_holders({pen: job.pens.named(pen) for pen in used}, job.plotter)
    return plan


def division_settings(name: ZoneName, job: Job, correction: Correction | None) -> Mapping[str, Any]:
    """The keys that cut sections for the zone named, by dotted key; lengths in mm."""
    from marking.job.settings import flat

    if name == "reach":
        keys = job.model_dump(mode="json", include={"reach": {"depth", "span"}})
    elif name == "beam":
        keys = job.model_dump(
            mode="json", include={"projector": set(_PROJECTOR), "reach": {"depth"}}
        )
    else:
        keys = job.model_dump(mode="json", include={"plotter": set(_PLOTTER)})
        keys["plotter"]["stands"] = stands(job.plotter)
        keys["correction"] = corrected(correction)
    if name != "reach":
        keys["inking"] = {"cross_lines": job.inking.cross_lines}
    return flat(keys)


def stands(plotter: Plotter) -> str:
    """How the job's plotter works, whether its profile says so or its kind alone."""
    return "on-cover" if plotter.on_cover else "cloth-through"


def corrected(correction: Correction | None) -> dict[str, float]:
    """What a correction does, as plain data; without one, what draws true."""
    if correction is None:
        return {"scale_x": 1.0, "scale_y": 1.0, "skew": 0.0}
    kept = asdict(correction)
    return {name: kept[name] for name in ("scale_x", "scale_y", "skew")}
