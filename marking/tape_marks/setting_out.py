"""What setting out takes: a person's time, and where rows of tape marks may stand.

Setting out is the surveyor's word for putting marks where a plan says. It knows the plan's joins
and no readings. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from marking.measures.counts import counted

if TYPE_CHECKING:
    from marking.sections.plan import Plan

SECONDS_A_MARK = 60.0
"""To set one mark by tape; our estimate, no source."""
SECONDS_A_READING = 15.0
"""To bring the pen onto one mark; our estimate, no source."""


@dataclass(frozen=True)
class SettingOut:
    """A person's work on tape marks."""

    marks: int
    """To set out by tape."""
    readings: int | None = None
    """Of every mark that a section sees, by bringing the pen onto it; None where no pen does."""

    @property
    def minutes(self) -> float:
        """By our estimates."""
        return (self.marks * SECONDS_A_MARK + (self.readings or 0) * SECONDS_A_READING) / 60

    @property
    def said(self) -> str:
        """The time in a sentence, with what it is reckoned from."""
        hours = f"About {self.minutes / 60:.1f} h to set out {counted(self.marks, 'tape mark')}"
        each = f"{SECONDS_A_MARK / 60:g} min to set one by tape"
        if self.readings is None:
            return f"{hours} (our estimate: {each})."
        return (
            f"{hours} and take {counted(self.readings, 'reading')} (our estimates: {each}, "
            f"{SECONDS_A_READING:g} s to bring the pen onto one)."
        )


def row_joins(plan: Plan) -> list[float]:
    """Where the joins between rows run, in mm from the near edge, nearest first."""
    return sorted({section.core[1] for section in plan.sections if section.row > 1})
