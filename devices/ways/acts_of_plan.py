"""What a plan asks of a person, act by act: the one reckoning that ways, sections and sheets share.

It knows the job's machines and how its sections are drawn; no forecast and no words. mm, seconds.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from marking.ways.acts import Act
from marking.ways.by_hand import base, proof, ruled_across
from marking.ways.ink_counted import cover_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.job import Job
    from devices.plotter.profile import Plotter
    from marking.job.work_keys import PaceTable
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.ways.ink_counted import InkCount

BY_TWO = 500.0
"""mm of bed past which two people set it down: more than an A3 bed is long."""


class PlacingAsked(Struct, frozen=True):
    """What placing the sections asks for."""

    marks: int
    """To set out by tape, on edges and out on the cover."""
    marks_out: int
    readings: int
    fence_moves: int = 0
    """How often a fence is clamped, over all rows."""


def plan_acts(job: Job, layout: Layout, plan: Plan, asked: PlacingAsked | None) -> tuple[Act, ...]:
    """The acts of a plan for a plotter or a projector; `asked` is None before marks are chosen."""
    if plan.zone.name == "beam":
        return tuple(_by_light(job.pace, plan, cover_of(layout)))
    if job.plotter.on_cover:
        return tuple(_by_plotter(job, plan, asked))
    return tuple(_drawn_through(job, plan))


def drawing_seconds(job: Job, plan: Plan) -> float:
    """Seconds that the plotter draws, at the pace that ink takes on canvas."""
    return sum(section_seconds(job, plan).values())


def section_seconds(job: Job, plan: Plan) -> dict[str, float]:
    """The same by section."""
    plotter, pens = job.plotter, job.pens
    found = {}
    for section in plan.sections:
        seconds = 0.0
        for piece in section.pieces:
            pen = pens.named(piece.stroke.pen)
            speed = min(job.pace.draw_speed, plotter.draw_speed, pen.speed or math.inf)
            seconds += piece.stroke.length * piece.stroke.times(pen) / speed
        route = section.route
        seconds += route.travel / plotter.travel_speed + route.lifts * plotter.lift_seconds
        found[section.id] = float(seconds)
    return found


def by_two(plotter: Plotter) -> bool:
    """Whether it takes two to set the plotter down."""
    return max(plotter.bed_size) > BY_TWO


def _by_plotter(job: Job, plan: Plan, asked: PlacingAsked | None) -> Iterator[Act]:
    pace = job.pace
    yield base(pace)
    yield Act("scrap check", 1, pace.scrap_check)
    if asked is not None:
        on_edges = asked.marks - asked.marks_out
        yield Act("marks along a line", on_edges, pace.tick, parted=True)
        yield Act("marks out on the cover", asked.marks_out, pace.mark_out, parted=True)
        yield Act("readings", asked.readings, pace.reading)
    two = by_two(job.plotter)
    each = pace.set_down_by_two if two else pace.set_down
    if job.fence is not None:
        each = pace.set_down_at_fence
        yield Act("fence clamped", asked.fence_moves if asked else 0, pace.fence_moved)
    yield Act("set-downs", len(plan.sections), each, 2 if two else 1)
    yield from _drawn(job, plan)
    yield proof(pace)
    if plan.ruled:
        yield ruled_across(len(plan.ruled), pace)


def _drawn_through(job: Job, plan: Plan) -> Iterator[Act]:
    pace = job.pace
    yield Act("scrap check", 1, pace.scrap_check)
    yield Act("stretch measured", 1, pace.cloth_measured)
    yield Act("cloth loaded", len(plan.sections), pace.cloth_loaded, 2)
    yield from _drawn(job, plan)
    yield proof(pace)


def _drawn(job: Job, plan: Plan) -> Iterator[Act]:
    yield Act("drawing watched", 1, drawing_seconds(job, plan))
    changes = _pen_changes(job, plan)
    if changes:
        yield Act("pens changed", changes, job.pace.pen_change)


def _pen_changes(job: Job, plan: Plan) -> int:
    """Worn tips, and the removable pen where it has no holder of its own."""
    pens = job.pens
    ink = sum(
        piece.stroke.length * piece.stroke.times(pens.named(piece.stroke.pen))
        for section in plan.sections
        for piece in section.pieces
    )
    shared = 0
    for section in plan.sections:
        used = {piece.stroke.pen for piece in section.pieces}
        slots = {pens.named(pen).slot for pen in used - {"removable"}}
        shared += 2 * ("removable" in used and pens.removable.slot in slots)
    return int(ink / job.pace.tip) + shared


def _by_light(pace: PaceTable, plan: Plan, cover: InkCount) -> Iterator[Act]:
    """All lines of light traced, or both hem bands and the ends of the lines that are ruled."""
    yield base(pace)
    yield Act("projector trued up", len(plan.sections), pace.true_up)
    across = 0 if plan.ruled else cover.cross_lines
    lines = across + cover.long_lines * plan.columns + cover.short
    if plan.ruled:
        yield Act("line ends traced", 2 * len(plan.ruled), pace.tick, parted=True)
    yield Act("lines traced", lines, pace.line_traced, parted=True)
    yield Act("numerals traced", cover.numerals, pace.numeral_traced, parted=True)
    if plan.ruled:
        yield ruled_across(len(plan.ruled), pace)
    yield proof(pace)
