"""The hours of one plan in a sentence, reckoned as `canvasrule ways` reckons them.

It brings the acts of a plan and the words for hours together; it forecasts nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.ways.acts_of_plan import PlacingAsked, plan_acts, section_seconds
from marking.job.keys import paper_of, tape_of
from marking.tape_marks.clampings import stretches
from marking.ways.acts import hours, least_hours
from marking.ways.by_hand import hand_ways
from marking.ways.ink_counted import cover_of
from marking.ways.tape_scale import tape_scale_most

if TYPE_CHECKING:
    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.tape_marks.time_to_set_out import SettingOut
    from marking.ways.acts import Act


def hours_said(job: Job, layout: Layout, plan: Plan, asks: SettingOut | None) -> str:
    """Person-hours and hours by the clock, from a practised person to a first cover.

    `asks` is what the tape marks take; None before any is chosen.
    """
    acts = acts_of(job, layout, plan, asks)
    first = job.pace.first_time
    least, two = least_hours(acts, first), hours(acts, first, 2)
    said = (
        f"By the reckoning of canvasrule ways {least.person[0]:.1f} to {least.person[1]:.1f} "
        f"person-hours, {least.clock[0]:.1f} to {least.clock[1]:.1f} by the clock, by two "
        f"{two.clock[0]:.1f} to {two.clock[1]:.1f}: from a practised person to a first cover"
    )
    if asks is None and plan.zone.name == "plotter" and job.plotter.on_cover:
        return f"{said}. Tape marks and readings come on top; canvasrule control plans them."
    return f"{said}."


def drawing(job: Job, plan: Plan) -> dict[str, float]:
    """Seconds that a plotter draws, by section; nothing of any other machine."""
    return section_seconds(job, plan) if plan.zone.name == "plotter" else {}


def acts_of(job: Job, layout: Layout, plan: Plan, asks: SettingOut | None) -> tuple[Act, ...]:
    """What a plan asks of a person; where an arm limits it, what the way chosen by hand asks."""
    if plan.zone.name == "reach":
        cover, most = cover_of(layout), tape_scale_most(tape_of(job.tape))
        by_hand = {way.id: way.acts for way in hand_ways(cover, job.pace, most, paper_of(job))}
        return by_hand.get(job.ways.way or "", by_hand["hand"])
    asked = None
    if asks is not None:
        moves = len(stretches(plan, job.fence.length)) if job.fence is not None else 0
        asked = PlacingAsked(asks.marks, asks.marks - asks.on_edges, asks.readings or 0, moves)
    return plan_acts(job, layout, plan, asked)
