"""All that marking one cover by hand takes: frame, readings, lines to rule, what it will hold.

It gathers what others work out. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.hand.readings import SIDES, cross_ticks, side_work
from marking.job.keys import tape_of
from marking.network.allowed_errors import allowed_of
from marking.ruling.order import WhoRules, ruling_order
from marking.sections.ruled import RuledLine
from marking.tape_marks.marks import set_out
from marking.ways.hand_errors import HandDoubts, by_tape
from marking.ways.ink_counted import cover_of
from marking.ways.tape_scale import tape_scale_most

if TYPE_CHECKING:
    from marking.hand.readings import CrossTick, SideWork
    from marking.job.keys import MarkingJob, TapeTable
    from marking.layout.layout import Layout
    from marking.network.allowed_errors import Allowed
    from marking.ruling.order import LineRuled
    from marking.tape_marks.marks import TapeMarks
    from marking.ways.way import ExpectedErrors


class ByHand(Struct, frozen=True):
    """One cover, to be marked by hand."""

    frame: TapeMarks
    """Base line, zero line, square and diagonals, and marks along both long sides no further
    apart than an arm spans: what a rule is laid to for the long lines."""
    ticks: tuple[CrossTick, ...]
    near: SideWork
    far: SideWork
    steps: tuple[LineRuled, ...]
    """The lines across the table in the order in which they are ruled."""
    expected: ExpectedErrors
    """By tape alone, every error of a careful hand in it."""
    limits: Allowed
    manner: WhoRules


def by_hand(layout: Layout, job: MarkingJob, manner: WhoRules) -> ByHand:
    """What marking `layout` by hand takes.

    Raises RefusedError where the marking is too small to be squared by 3-4-5.
    """
    tape = tape_of(job.tape)
    ticks = cross_ticks(layout, job.units, tape)
    near, far = (side_work(side, layout, job.grid, tape, ticks) for side in SIDES)
    return ByHand(
        frame(layout, job),
        ticks,
        near,
        far,
        ruling_order(lines_to_rule(layout), job, manner),
        hand_holds(layout, job.tape),
        allowed_of(job),
        manner,
    )


def frame(layout: Layout, job: MarkingJob) -> TapeMarks:
    """The few tape marks that a hand needs."""
    return set_out(layout, job.reach.span, tape_of(job.tape), job.units, ends=False)


def hand_holds(layout: Layout, tape: TapeTable) -> ExpectedErrors:
    """What 95 of 100 covers keep within that a careful hand ticks by tape and rules."""
    cover = cover_of(layout)
    doubts = HandDoubts(tape_scale_most(tape_of(tape)))
    return by_tape(cover.line_x, cover.width, doubts)


def lines_to_rule(layout: Layout) -> tuple[RuledLine, ...]:
    """Every line that runs across the table, whole: between its tick near and its tick far."""
    return tuple(
        RuledLine(stroke, stroke.id, ("near tick", "far tick"))
        for stroke in layout.strokes
        if stroke.layer in ("cross", "bias") or stroke.id.startswith("fold-cross-")
    )
