"""A panel on one table: the line to lay each raw edge and each fold to, in the order of the work.

Lengths along are counted from the zero line, those across from where the job counts its hems
from, the table's long edge or the first long line, on the cover as it lies stretched; millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from marking.cloth.panel import allowance, cut_for
from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.cloth.panel import CutPanel, Panel
    from marking.job.keys import Fold, MarkingJob
    from marking.layout.layout import Layout

Edge = Literal["bottom", "near side", "far side", "top"]
What = Literal["raw edge", "cut", "first fold", "second fold", "fold", "hemmed edge"]
_SAME = 1e-6
_MOST_SHIFTS = 50


class TableLine(Struct, frozen=True):
    """A line that cloth is laid to: a line of the marking, or the table's own edge."""

    id: str
    at: float


class HemLaid(Struct, frozen=True):
    """An edge or a fold, and the line for it."""

    edge: Edge
    what: What
    at: float
    line: TableLine | None
    """None where the table has none there."""
    before: TableLine
    """The last line that is not past it."""
    hem: Fold | None
    """The hem that it belongs to; None where it only follows from the panel's length."""


class Shift(Struct, frozen=True):
    """How cloth longer than the lines is moved on."""

    at: float
    """Marked on the cloth there, at both sides; the marks are then laid to the zero line."""
    times: int


class HemPlan(Struct, frozen=True):
    """One panel on one table."""

    panel: Panel
    cut: CutPanel
    laid: tuple[HemLaid, ...]
    longest: float
    """From the zero line to the last cross line."""
    shift_to_cut: Shift | None
    shift_to_head: Shift | None
    """For the top, counted from the hemmed bottom edge."""

    @property
    def missing(self) -> tuple[HemLaid, ...]:
        """Folds of hems that fall where the table has no line."""
        return tuple(one for one in self.laid if one.line is None and one.hem is not None)

    @property
    def between(self) -> tuple[HemLaid, ...]:
        """Places that follow from the panel's length and fall between lines."""
        return tuple(one for one in self.laid if one.line is None and one.hem is None)


def hem_plan(panel: Panel, layout: Layout, job: MarkingJob) -> HemPlan:
    """How `panel` is cut and hemmed on the table of `layout`.

    Raises BadInputError for what no panel can be, RefusedError for what this table cannot do.
    """
    cut = cut_for(panel, job.units)
    # At a wall the cloth is turned round, and both of its sides are hemmed by the near lines.
    both: tuple[Literal["near", "far"], ...] = ("near", "far")
    worked = both[: 2 - job.table.against_wall]
    along = end_lines(layout)
    longest = numbered_length(layout)
    reach = job.pens.lines.line_width / 2
    to_cut, at_cut = _shifted(cut.length, 0.0, layout, job)
    head = panel.length + allowance(panel.heading)
    to_head, _ = _shifted(head, allowance(panel.heading), layout, job)
    moved = to_head.at * to_head.times if to_head is not None else 0.0
    laid = [
        _laid("bottom", "raw edge", 0.0, along, reach),
        _laid("top", "cut", at_cut, along, reach),
        *_hem("bottom", panel.bottom, along, reach),
        *(one for side in worked for one in _side(panel.sides, layout, side, reach)),
        _laid("bottom", "hemmed edge", 0.0, along, reach),
        *_top(panel, moved, along, reach),
    ]
    return HemPlan(panel, cut, tuple(laid), longest, to_cut, to_head)


def job_with_lines(plan: HemPlan, job: MarkingJob) -> MarkingJob | None:
    """`job` with the folds that this table lacks, where that gives each a line; else None."""
    folds = (*job.hems.folds, *(one.hem for one in plan.missing if one.hem is not None))
    across = job.hems.cross_folds or any(one.edge == "bottom" for one in plan.missing)
    hems = job.hems.model_copy(update={"folds": tuple(dict.fromkeys(folds)), "cross_folds": across})
    mended = job.model_copy(update={"hems": hems})
    try:
        again = hem_plan(plan.panel, lay_out(mended), mended)
    except RefusedError:
        return None
    return None if again.missing else mended


def numbered_length(layout: Layout) -> float:
    """From the zero line to the last cross line: the longest that is cut without a shift."""
    return float(layout.grid.cross_x[-1] - layout.grid.cross_x[0]) / layout.slack[0]


def side_lines(layout: Layout, side: Literal["near", "far"]) -> tuple[TableLine, ...]:
    """What side hems are laid from, the table's own edge or the first long line, and the long
    lines counted from there, going in."""
    start = counted_from(layout, side)
    lines = tuple(TableLine(line.id, line.at - start) for line in _from_edge(layout, side))
    return lines if start else (TableLine(f"{side}-edge", 0.0), *lines)


def counted_from(layout: Layout, side: Literal["near", "far"]) -> float:
    """How far in from the table's long edge hems are counted from: the first long line, or 0."""
    own = [line.offset for line in layout.grid.long_lines if line.side == side]
    return _from_edge(layout, side)[0].at if own and min(own) == 0 else 0.0


def _from_edge(layout: Layout, side: Literal["near", "far"]) -> list[TableLine]:
    """A side's long lines, going in from the table's edge."""
    far_edge = layout.top.inscribed[3]
    return sorted(
        (
            TableLine(line.id, (line.y if side == "near" else far_edge - line.y) / layout.slack[1])
            for line in layout.grid.long_lines
            if line.side == side
        ),
        key=lambda one: one.at,
    )


def end_lines(layout: Layout) -> tuple[TableLine, ...]:
    """Cross lines, extra fold lines and half-pitch ticks at the near side, from the zero line."""
    zero = float(layout.grid.cross_x[0])
    found = {}
    for stroke in layout.strokes:
        upright = stroke.points[0, 0] == stroke.points[-1, 0]
        if stroke.id.startswith(("cross-", "fold-cross-", "tick-near-")) and upright:
            at = (float(stroke.points[0, 0]) - zero) / layout.slack[0]
            found[stroke.id] = TableLine(stroke.id, at)
    return tuple(sorted(found.values(), key=lambda line: line.at))


def _laid(
    edge: Edge,
    what: What,
    at: float,
    lines: Sequence[TableLine],
    reach: float,
    hem: Fold | None = None,
) -> HemLaid:
    """By the line that serves a place: within half its ink, as the layout's report counts it."""
    nearest = min(lines, key=lambda line: abs(line.at - at))
    before = max((line for line in lines if line.at <= at + _SAME), key=lambda line: line.at)
    line = nearest if abs(nearest.at - at) <= reach + _SAME else None
    return HemLaid(edge, what, at, line, before, hem)


def _hem(
    edge: Edge, hem: Fold, lines: Sequence[TableLine], reach: float, start: float = 0.0
) -> Iterator[HemLaid]:
    names: tuple[What, ...] = ("fold",) if len(hem.lines) == 1 else ("first fold", "second fold")
    for what, at in zip(names, hem.lines, strict=True):
        yield _laid(edge, what, start + at, lines, reach, hem)


def _side(
    hem: Fold, layout: Layout, side: Literal["near", "far"], reach: float
) -> Iterator[HemLaid]:
    """From where hems are counted; where that gives no lines, from the first line that does."""
    lines = side_lines(layout, side)
    edge: Edge = "near side" if side == "near" else "far side"
    folds = list(_hem(edge, hem, lines, reach))
    start = lines[0]
    for line in lines:
        tried = list(_hem(edge, hem, lines, reach, line.at))
        if all(one.line is not None for one in tried):
            folds, start = tried, line
            break
    yield _laid(edge, "raw edge", start.at, lines, reach)
    yield from folds


def _top(panel: Panel, moved: float, lines: Sequence[TableLine], reach: float) -> Iterator[HemLaid]:
    """From the hemmed bottom edge: where it is cut off, and the folds of the heading."""
    head = panel.heading
    places: list[tuple[What, float]] = [("raw edge", panel.length + allowance(head))]
    if head is not None:
        places += (
            [("first fold", panel.length + head.depth), ("second fold", panel.length)]
            if len(head.lines) == 2
            else [("fold", panel.length)]
        )
    for what, at in places:
        yield _laid("top", what, at - moved, lines, reach)


def _shifted(
    length: float, keep: float, layout: Layout, job: MarkingJob
) -> tuple[Shift | None, float]:
    """The fewest shifts that a length takes, and where its end then lies.

    Its last `keep` has to lie past the zero line. Marked at a heavy line, which the eye finds,
    where one serves. Raises RefusedError where no shift does.
    """
    longest, pitch = numbered_length(layout), job.grid.pitch
    if length <= longest + _SAME:
        return None, length
    heavy = pitch * job.grid.heavy_every
    for times in range(math.ceil(length / longest - _SAME) - 1, _MOST_SHIFTS):
        for step in filter(None, (heavy, pitch)):
            at = math.floor(min(longest, (length - keep) / times) / step + _SAME) * step
            if at > 0 and length - times * at <= longest + _SAME:
                return Shift(at, times), length - times * at
    raise RefusedError(
        f"--length: {format_length(length, job.units)} along cannot be worked on lines "
        f"{format_length(longest, job.units)} long; take a longer table, or measure by tape"
    )
