"""All ways of one cover as they are told: ranked, with what is allowed and whose times they are.

It knows no machine; `devices.ways` fills it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.ways.way import best_of

if TYPE_CHECKING:
    from marking.job.work_keys import FenceTable
    from marking.measures.lengths import Units
    from marking.network.allowed_errors import Allowed
    from marking.ways.ink_counted import InkCount
    from marking.ways.own_pace import Timed
    from marking.ways.way import Reckoned


class Reckoning(Struct, frozen=True):
    """All ways of one cover, those that hold first."""

    ways: tuple[Reckoned, ...]
    limits: Allowed
    cover: InkCount
    fence: FenceTable | None
    """The job's, or a usual one where every machine is tried."""
    chosen: str | None
    own_times: tuple[str, ...]
    """Keys of [pace] that the job gives; all others are our own assumptions."""
    units: Units
    timed: tuple[Timed, ...] = ()
    """What the job's record knows better than an assumption."""

    @property
    def best(self) -> Reckoned | None:
        """The fewest person-hours of what holds; None where nothing does."""
        return best_of(self.ways)
