"""The ways of one projector: all lines of light traced, or both hem bands with the rest ruled.

It knows the projector and its plans; the error of light is the true-up's own forecast. mm, seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.projector.trueup.forecast import light_sd
from devices.projector.trueup.result import TRACED_BY_HAND
from devices.ways.acts_of_plan import plan_acts
from marking.errors import RefusedError
from marking.ways.by_hand import FOR_ALL
from marking.ways.hand_errors import HandDoubts, by_light
from marking.ways.ink_counted import cover_of
from marking.ways.tape_scale import tape_scale_most
from marking.ways.way import Way, cannot_be_done

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.measures.tape import Tape
    from marking.sections.plan import Plan
    from marking.ways.way import CrossLines

FROM_LIGHT = "traced from a projector's light"
ENDS = "hem bands and numerals traced from light, cross lines ruled"


def projector_ways(
    name: str, job: Job, layout: Layout, plan_as: Callable[[CrossLines], Plan], tape: Tape
) -> Iterator[Way]:
    """Both ways of the projector, whose sections `plan_as` gives. Raises RefusedError."""
    yield _traced(name, f"all lines {FROM_LIGHT}", job, layout, plan_as("device"), tape)
    try:
        ruled = plan_as("ruled")
    except RefusedError as fault:
        yield cannot_be_done(f"{name}-ends", ENDS, name, str(fault))
        return
    if ruled.ruled:
        yield _traced(f"{name}-ends", ENDS, job, layout, ruled, tape)


def _traced(name: str, says: str, job: Job, layout: Layout, plan: Plan, tape: Tape) -> Way:
    cover, light = cover_of(layout), light_sd(job, job.projector, plan)
    doubts = HandDoubts(tape_scale_most(tape))
    ruled = bool(plan.ruled)
    held = by_light(
        *(cover.line_x, cover.width, plan.columns, light, TRACED_BY_HAND, doubts), ruled=ruled
    )
    acts = plan_acts(job, layout, plan, None)
    return Way(
        name,
        says,
        name.removesuffix("-ends") if ruled else name,
        acts,
        held.with_counts(set_downs=len(plan.sections)),
        cross_lines="ruled" if ruled else "device",
        rulings=len(plan.ruled),
        tracings=sum(act.count for act in acts if act.what.endswith("traced")),
        needs=(
            job.projector.name,
            "a mount made for its weight",
            *FOR_ALL,
            *("a straightedge",) * ruled,
        ),
    )
