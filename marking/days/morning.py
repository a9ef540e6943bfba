"""The morning's check: the base line and both diagonals by tape, before anything more is inked.

Canvas creeps and shrinks overnight, and tables are leant on. What was read on an earlier morning
with the one tape is off by the same scale, so that a change shows sooner than an error. That this
is checked in the morning is common practice, no source. It knows tape marks and the record.
Millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from marking.begun.inked import done_sections
from marking.begun.on_the_cover import COVER, tape_marks_set_out
from marking.measures.lengths import format_length
from marking.measures.tape import independent_sd, reading_sd, tape_reading
from marking.record.kept import as_kept
from marking.record.record import layout_hash

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.record.record import Record
    from marking.sections.plan import Plan
    from marking.tape_marks.marks import TapeMarks

NIGHT = 5 * 3600.0
"""Seconds without ink after which it is another day: our choice."""
CHECKS = {
    "base": "the base line, from the zero line to the last line",
    "up": "the diagonal from the zero line at the base line",
    "down": "the diagonal from the zero line at the far line",
}
_SURE = 2.576
"""Standard deviations that 1 reading in 100 exceeds (NIST/SEMATECH e-Handbook 1.3.6.7.1)."""


class Morning(Struct, frozen=True):
    """What the tape showed, mm, and what that says."""

    shown: Mapping[str, float]
    wrong: tuple[str, ...]


def meant(layout: Layout, tape_marks: TapeMarks) -> dict[str, float]:
    """What the tape should show at each of `CHECKS`."""
    grid = layout.grid
    along = float(grid.cross_x[-1] - grid.cross_x[0])
    diagonal = tape_marks.diagonals.run.reading
    return {"base": tape_reading(along, tape_marks.tape), "up": diagonal, "down": diagonal}


def judged(
    shown: Mapping[str, float],
    layout: Layout,
    tape_marks: TapeMarks,
    before: Morning | None,
    units: Units,
) -> Morning:
    """What the readings say of the cover as it lies, `before` those of an earlier morning."""
    return Morning(dict(shown), tuple(_wrong(shown, layout, tape_marks, before, units)))


def _wrong(
    shown: Mapping[str, float],
    layout: Layout,
    tape_marks: TapeMarks,
    before: Morning | None,
    units: Units,
) -> Iterator[str]:
    tape, should = tape_marks.tape, meant(layout, tape_marks)
    for name, said in CHECKS.items():
        off = shown[name] - should[name]
        if abs(off) > _SURE * float(reading_sd(should[name], tape)) + tape.division / 2:
            yield f"{said} reads {_signed(off, units)} than it was set out"
        elif before is not None:
            change = shown[name] - before.shown[name]
            if abs(change) > _SURE * np.sqrt(2) * float(independent_sd(should[name], tape)):
                yield f"{said} reads {_signed(change, units)} than on the last morning"
    apart = shown["up"] - shown["down"]
    if abs(apart) > tape_marks.diagonals.allowed + tape.division / 2:
        yield (
            f"the diagonals differ by {format_length(abs(apart), units)}, and the tape explains "
            f"{tape_marks.diagonals.allowed:.1f} mm: it no longer lies square"
        )


def _signed(off: float, units: Units) -> str:
    return f"{format_length(abs(off), units)} {'more' if off > 0 else 'less'}"


def keep_morning(record: Record, layout: Layout, morning: Morning) -> None:
    """Keeps a morning's check."""
    result: dict[str, Any] = {"shown": dict(morning.shown), "wrong": list(morning.wrong)}
    record.add_check(layout_hash(layout), "morning", COVER, result)


def last_morning(record: Record, layout: Layout) -> tuple[datetime, Morning] | None:
    """The last check of this layout, and when it was kept; None without any."""
    named = layout_hash(layout)
    kept = [check for check in record.checks("morning", COVER) if check.layout == named]
    if not kept:
        return None
    with as_kept(kept[-1].result, "a morning's check"):
        shown = {name: float(kept[-1].result["shown"][name]) for name in CHECKS}
        wrong = tuple(map(str, kept[-1].result["wrong"]))
        return kept[-1].at, Morning(shown, wrong)


def waits_for(
    record: Record, layout: Layout, plan: Plan, units: Units, now: datetime
) -> str | None:
    """Why no more ink is laid this morning; None where nothing was begun, or all is well."""
    inked = [ink.at for ink in record.ink()]
    if not inked or tape_marks_set_out(record, layout, units) is None:
        return None
    if len(done_sections(record, layout, plan)) == len(plan.sections):
        return None
    kept = last_morning(record, layout)
    if kept is not None and kept[1].wrong and kept[0] > max(inked):
        return f"this morning's check says: {'; '.join(kept[1].wrong)}"
    if (now - max(inked)).total_seconds() < NIGHT:
        return None
    if kept is not None and (now - kept[0]).total_seconds() < NIGHT:
        return None
    return (
        "the last ink was laid a night ago or longer, and canvas creeps: it is not kept that base "
        "line and both diagonals still read as they were set out"
    )
