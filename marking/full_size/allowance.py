"""The canvas beyond the top: what hangs over its edges, and what is cut off afterwards.

The one place that says how much. Millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.cloth.canvas import hangs_over
from marking.measures.lengths import parse_length

if TYPE_CHECKING:
    from marking.job.work_keys import CoverTable

TRIM = parse_length("1 in")
"""Beyond the canvas on every side, to square and to cut back; our own choice."""


class Allowance(Struct, frozen=True):
    """Beyond each edge of the top."""

    wrap: float
    """Down the side, and under to be stapled, as the job's cover is fastened."""
    trim: float
    """To be cut off."""

    @property
    def all(self) -> float:
        """Both."""
        return self.wrap + self.trim


def allowance_of(cover: CoverTable) -> Allowance:
    """What a job's cover needs beyond its top."""
    return Allowance(hangs_over(cover), TRIM)
