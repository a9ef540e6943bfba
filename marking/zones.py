"""What limits a section: a bed, a roll, an arm or a beam. It is a size and a pace, no machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from marking.job import MarkingJob

ZoneName = Literal["plotter", "reach", "beam"]


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
    """Whether it works in from either long edge, as deep as `depth` and no further."""
    pace: Pace
    home: tuple[Literal[0, 1], Literal[0, 1]] = (0, 0)
    """The corner of the window where the pen starts and parks: low or high along x and y."""
    feed: Literal[0, 1] | None = None
    """The table axis along which a roll is fed, where a window need not outrun the cloth."""
    arm: float | None = None
    """How deep an arm reaches in from either long edge, in mm, where `size[1]` may be less."""

    @property
    def depth(self) -> float:
        """How far in from a long edge it works, in mm, when it works from both."""
        return self.size[1] if self.arm is None else self.arm


def reach_zone(job: MarkingJob) -> Zone:
    """A person at either long edge, drawing along a rule."""
    pace = Pace(draw=job.reach.speed, travel=400.0, lift=0.8)
    return Zone("reach", (job.reach.span, job.reach.depth), 0.0, True, pace)
