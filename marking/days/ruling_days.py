"""Lines that are left to rule by hand, into days of their own after the last section's.

A day of ruling begins on dry stubs and dry lines, and its hours hold the waiting for ink. It knows
ruled lines and paces, not who keeps what is ruled. Seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.ruling.order import WhoRules, ruling_order

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import MarkingJob
    from marking.ruling.order import LineRuled
    from marking.sections.plan import Plan

ALONE = WhoRules()
"""Who days are reckoned for; two are quicker, and `rule --by-two` tells by how much."""


class RulingDay(Struct, frozen=True):
    """One day's lines, and how many are left on its evening."""

    steps: tuple[LineRuled, ...]
    left: int

    @property
    def seconds(self) -> float:
        """At the table, waiting for ink included."""
        return self.steps[-1].ends


def ruling_days(
    plan: Plan, done: frozenset[str], job: MarkingJob, day: float
) -> Iterator[RulingDay]:
    """The lines of `plan` that are not `done`, into days of so many seconds; one line at least."""
    while steps := ruling_order(plan.ruled, job, ALONE, done):
        now = tuple(step for step in steps if step.ends <= day) or steps[:1]
        yield RulingDay(now, len(steps) - len(now))
        done |= {step.line.id for step in now}
