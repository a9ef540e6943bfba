"""From which edge which part of a ruled line is within an arm's reach. Table frame, mm."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from marking.job.keys import ReachTable
    from marking.layout.layout import Layout
    from marking.sections.ruled import RuledLine


class Reach(Struct, frozen=True):
    """What is ruled of a line from one long edge."""

    edge: Literal["near", "far"]
    start: float
    """y, table frame."""
    end: float


def reaches(line: RuledLine, layout: Layout, reach: ReachTable) -> tuple[Reach, ...]:
    """The parts of a line in the order in which they are ruled; together all of it, once.

    From the near edge alone where that is within reach, else half from each edge: the rule stays
    as it lies, and the second half ends in the first. Where an arm comes to the middle from
    neither, they still meet there, so that neither is asked for more than `out_of_reach` tells.
    """
    (_, low), (_, high) = line.points.tolist()
    if high <= reach.depth:
        return (Reach("near", low, high),)
    width = layout.top.inscribed[3]
    near, far = reach.depth, width - reach.depth
    middle = min(max((low + high) / 2, far), near) if far <= near else width / 2
    if not low < middle < high:
        middle = (low + high) / 2
    return (Reach("near", low, middle), Reach("far", high, middle))


def out_of_reach(layout: Layout, reach: ReachTable) -> float | None:
    """The reach that ruling takes, in mm, where an arm's is less; None where it does."""
    needed = layout.top.inscribed[3] / 2
    return needed if reach.depth < needed else None
