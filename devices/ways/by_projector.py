"""The ways of one projector: all lines of light traced, or numerals and line ends alone.

It knows the projector and its plan; the error of light is the true-up's own forecast. mm, seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.projector.trueup.forecast import light_sd
from devices.projector.trueup.result import TRACED_BY_HAND
from marking.ways.acts import Act
from marking.ways.by_hand import FOR_ALL, base, proof, ruled_across
from marking.ways.hand_errors import HandDoubts, by_light
from marking.ways.tape_scale import tape_scale_most
from marking.ways.way import Way

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.job import Job
    from marking.measures.tape import Tape
    from marking.sections.plan import Plan
    from marking.ways.cover import Cover

FROM_LIGHT = "traced from a projector's light"


def projector_ways(name: str, job: Job, plan: Plan, cover: Cover, tape: Tape) -> Iterator[Way]:
    """Both ways of the projector whose sections `plan` holds."""
    pace, light = job.pace, light_sd(job, job.projector, plan)
    doubts = HandDoubts(tape_scale_most(tape))
    downs = len(plan.sections)
    numerals = Act("numerals traced", cover.numerals, pace.numeral_traced, parted=True)
    setting_up = (base(pace), Act("projector trued up", downs, pace.true_up))
    needs = (job.projector.name, "a mount made for its weight", *FOR_ALL)
    traced = Act(
        "lines traced",
        cover.cross_lines + cover.long_lines * plan.columns + cover.short,
        pace.line_traced,
        parted=True,
    )
    held = by_light(
        cover.line_x, cover.width, plan.columns, light, TRACED_BY_HAND, doubts, ruled=False
    )
    yield Way(
        name,
        f"all lines {FROM_LIGHT}",
        name,
        (*setting_up, traced, numerals, proof(pace)),
        held.with_counts(set_downs=downs),
        tracings=traced.count + numerals.count,
        needs=needs,
    )
    ends = Act("line ends traced", 2 * cover.cross_lines + cover.short, pace.tick, parted=True)
    across = ruled_across(cover, pace)
    along = Act("long lines ruled", cover.long_lines, pace.long_line_ruled)
    held = by_light(
        cover.line_x, cover.width, plan.columns, light, TRACED_BY_HAND, doubts, ruled=True
    )
    yield Way(
        f"{name}-ends",
        "numerals and line ends traced from light, the rest ruled",
        name,
        (*setting_up, ends, numerals, across, along, proof(pace)),
        held.with_counts(set_downs=downs),
        cross_lines="ruled",
        rulings=across.count + along.count,
        tracings=ends.count + numerals.count,
        needs=(*needs, "a straightedge"),
    )
