"""The time that a person takes to set tape marks out and to read them, by a pace.

Setting out is the surveyor's word for putting marks where a plan says. It knows the marks and a
person's pace, no readings. Table frame, millimetres, seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.job.work_keys import PaceTable
from marking.measures.counts import counted
from marking.measures.durations import format_duration

if TYPE_CHECKING:
    from marking.tape_marks.marks import TapeMarks

_SAME = 1e-6
OURS = PaceTable()
"""How long acts take before a job says otherwise: our own assumptions, no source."""


_SHORT = 6.0
"""Minutes below which a tenth of an hour says nothing."""


class SettingOut(Struct, frozen=True):
    """A person's work on tape marks."""

    marks: int
    """To set out by tape."""
    readings: int | None = None
    """Of the marks that each section is to read, by bringing the pen onto them; None where no pen
    does."""
    on_edges: int = 0
    """Those of the marks that are set with the tape lying along an edge of the marking."""
    pace: PaceTable = OURS

    @property
    def seconds(self) -> float:
        """At this pace."""
        set_out = self.pace.tick * self.on_edges + self.pace.mark_out * (self.marks - self.on_edges)
        return set_out + self.pace.reading * (self.readings or 0)

    @property
    def minutes(self) -> float:
        """At this pace."""
        return self.seconds / 60

    @property
    def said(self) -> str:
        """The time in a sentence, with what it is reckoned from."""
        marks = counted(self.marks, "tape mark")
        hours = f"About {self.minutes / 60:.1f} h to set out {marks}"
        if self.minutes < _SHORT:
            hours = f"About {max(1.0, self.minutes):.0f} min to set out {marks}"
        pace = self.pace
        each = (
            f"{format_duration(pace.tick)} to set one with the tape along an edge, "
            f"{format_duration(pace.mark_out)} out on the cover"
        )
        if self.readings is None:
            return f"{hours} (our estimates: {each})."
        return (
            f"{hours} and take {counted(self.readings, 'reading')} (our estimates: {each}, "
            f"{format_duration(pace.reading)} to bring the pen onto one)."
        )


def setting_out_of(
    tape_marks: TapeMarks, readings: int | None, pace: PaceTable = OURS
) -> SettingOut:
    """What `control` asks of a person; the corners that come with base line and square apart."""
    counted_in = [
        one for one in tape_marks.marks if not (tape_marks.at_nodes and one.line != "row")
    ]
    at = np.array([one.mark.at_table for one in counted_in]).reshape(-1, 2)
    outermost = np.stack([at.min(axis=0, initial=np.inf), at.max(axis=0, initial=-np.inf)])
    on_edge = (np.abs(at[:, None] - outermost) < _SAME).any(axis=(1, 2))
    return SettingOut(len(counted_in), readings, int(on_edge.sum()), pace)
