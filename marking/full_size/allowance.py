"""The canvas beyond the top: what wraps over its edges, and what is cut off afterwards.

The one place that says how much. Millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from marking.measures.lengths import parse_length

if TYPE_CHECKING:
    from marking.job.keys import MarkingJob

THICKNESS = parse_length("1 1/2 in")
"""What the canvas goes down by: the top with its underlay and pad."""
WRAP = parse_length("4 in")
"""Beyond that, under the table, to pull by and to staple; common practice, no source."""
TRIM = parse_length("1 in")
"""Beyond that on every side, to square and to cut back."""


@dataclass(frozen=True)
class Allowance:
    """Beyond each edge of the top."""

    wrap: float
    """Down the side and under."""
    trim: float
    """To be cut off."""

    @property
    def all(self) -> float:
        """Both."""
        return self.wrap + self.trim


def allowance_of(job: MarkingJob) -> Allowance:
    """What a job's cover needs beyond its top."""
    del job
    return Allowance(THICKNESS + WRAP, TRIM)
