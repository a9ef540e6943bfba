"""What setting out takes: a person's time, and where rows of control marks may stand.

Setting out is the surveyor's word for putting marks where a plan says. It knows the plan's seams
and no readings. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from marking.sections import Plan

SECONDS_A_MARK = 60.0
"""To set one mark by tape; our estimate, no source."""
SECONDS_A_READING = 15.0
"""To bring the pen onto one mark; our estimate, no source."""


def row_seams(plan: Plan) -> list[float]:
    """Where the seams between rows run, in mm from the near edge, nearest first."""
    return sorted({section.core[1] for section in plan.sections if section.row > 1})
