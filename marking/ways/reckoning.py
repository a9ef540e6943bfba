"""All ways of one cover as they are told: ranked, with what is allowed and whose times they are.

It knows no machine; `devices.ways` fills it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from marking.ways.way import Limits, best_of

if TYPE_CHECKING:
    from marking.job.keys import MarkingJob
    from marking.job.work_keys import FenceTable
    from marking.ways.cover import Cover
    from marking.ways.way import Reckoned

STEP = 1.0
"""mm: the step allowed at a join where [allowed] says nothing."""


@dataclass(frozen=True)
class Reckoning:
    """All ways of one cover, those that hold first."""

    ways: tuple[Reckoned, ...]
    limits: Limits
    cover: Cover
    fence: FenceTable | None
    """The job's, or a usual one where every machine is tried."""
    chosen: str | None
    own_times: tuple[str, ...]
    """Keys of [pace] that the job gives; all others are our own assumptions."""

    @property
    def best(self) -> Reckoned | None:
        """The fewest person-hours of what holds; None where nothing does."""
        return best_of(self.ways)


def limits_of(job: MarkingJob) -> Limits:
    """What is allowed: [allowed], and where that says nothing the tolerance."""
    allowed = job.allowed
    return Limits(
        allowed.total or job.tolerance,
        allowed.square or job.tolerance,
        allowed.step or STEP,
        allowed.neighbours,
    )
