"""What limits a section: a bed, a roll or an arm. A zone is a size and a pace, no machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from marking.job import MarkingJob

ZoneName = Literal["plotter", "reach"]


@dataclass(frozen=True)
class Pace:
    """How fast a zone inks, for estimates. mm/s and seconds."""

    draw: float
    travel: float
    lift: float


@dataclass(frozen=True)
class Zone:
    """What one setup reaches."""

    name: ZoneName
    size: tuple[float, float]
    """Along the table's x and y, in mm."""
    set_down: float
    """Kept free all round, in mm, because nothing is set down exactly."""
    from_both_edges: bool
    """Whether it reaches `size[1]` in from either long edge, and no further."""
    pace: Pace
    home: tuple[Literal[0, 1], Literal[0, 1]] = (0, 0)
    """The corner of the window where the pen starts and parks: low or high along x and y."""
    feed: Literal[0, 1] | None = None
    """The table axis along which a roll is fed, where a window need not outrun the cloth."""


def reach_zone(job: MarkingJob) -> Zone:
    """A person at either long edge, drawing along a rule."""
    pace = Pace(draw=job.reach.speed, travel=400.0, lift=0.8)
    return Zone("reach", (job.reach.span, job.reach.depth), 0.0, True, pace)
