"""The ways of one plotter: standing on the cover, at a fence, bands alone, or cloth drawn through.

It knows the plotter and its plan; errors are `devices.ways.expected`'s. mm and seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from devices.ways.expected import by_tape_marks, in_rows
from marking.errors import RefusedError
from marking.network.error_model import error_model_of
from marking.ways.acts import Act
from marking.ways.by_hand import FOR_ALL, base, proof, ruled_across
from marking.ways.hand_errors import by_stretched_cloth
from marking.ways.row_errors import Row
from marking.ways.way import Way, cannot_be_done

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from devices.job import Job
    from devices.plotter.profile import Plotter
    from devices.ways.expected import Marked
    from marking.arrays import FloatArray
    from marking.job.work_keys import FenceTable, PaceTable
    from marking.network.error_model import ErrorModel
    from marking.sections.plan import Section
    from marking.tape_marks.choice import Task
    from marking.ways.cover import Cover

BY_TWO = 500.0
"""mm of bed past which two people set it down: more than an A3 bed is long."""
STRETCH = 1.5e-3
"""Standard deviation of a stretch measured on a piece of the canvas, a ratio; our assumption."""
BY_PLOTTER, FED_THROUGH = "by plotter", "cloth fed through before stretching"
"""What is said of a plotter whose way cannot be told apart further, and of one beside the table."""

_Maker: TypeAlias = "Callable[[PlotterWork, str, FenceTable | None], Way]"


@dataclass(frozen=True)
class PlotterWork:
    """A plotter at one cover."""

    name: str
    """Of its profile."""
    job: Job
    task: Task
    cover: Cover

    @property
    def plotter(self) -> Plotter:
        """The machine."""
        return self.job.plotter

    @property
    def pace(self) -> PaceTable:
        """How long acts take."""
        return self.job.pace


def plotter_ways(work: PlotterWork, fence: FenceTable | None) -> Iterator[Way]:
    """Each way of a plotter; those at a fence only with one."""
    if not work.plotter.on_cover:
        yield _cloth_through(work)
        return
    yield _tried(work, "", None, _whole)
    if fence is not None:
        yield _tried(work, "-fence", fence, _whole)
    if work.cover.bands is not None:
        yield _tried(work, "-bands", None, _bands)
        if fence is not None:
            yield _tried(work, "-bands-fence", fence, _bands)


def _tried(work: PlotterWork, ending: str, fence: FenceTable | None, make: _Maker) -> Way:
    try:
        return make(work, ending, fence)
    except RefusedError as fault:
        name = work.name + ending
        return cannot_be_done(name, BY_PLOTTER, work.name, str(fault), fence=fence is not None)


def _whole(work: PlotterWork, ending: str, fence: FenceTable | None) -> Way:
    """All lines by the plotter, set down over the whole cover."""
    sections = work.task.plan.sections
    held = by_tape_marks(work.task, fence, _model(work, fence))
    seconds = _drawing(work, sections)
    return Way(
        work.name + ending,
        "all lines by plotter, against a fence" if fence else "all lines by plotter",
        work.name,
        tuple(_acts(work, held, fence, sections, seconds)),
        held.expected,
        fence=fence is not None,
        machine_seconds=seconds,
        needs=_needs(work, fence),
    )


def _bands(work: PlotterWork, ending: str, fence: FenceTable | None) -> Way:
    """Hem bands, numerals and line ends by the plotter, cross lines ruled between them."""
    rows = _band_rows(work)
    held = in_rows(work.task, work.cover, rows, fence, model=_model(work, fence), ruled=True)
    sections = _band_sections(work.task.plan.sections)
    seconds = _drawing(work, sections, bands=True)
    ruled = ruled_across(work.cover, work.pace)
    at = ", against a fence" if fence else ""
    return Way(
        work.name + ending,
        f"hem bands and numerals by plotter{at}, cross lines ruled",
        work.name,
        (*_acts(work, held, fence, sections, seconds), ruled),
        held.expected,
        fence=fence is not None,
        cross_lines="ruled",
        rulings=ruled.count,
        machine_seconds=seconds,
        needs=(*_needs(work, fence), "a straightedge as long as the table is wide"),
    )


def _model(work: PlotterWork, fence: FenceTable | None) -> ErrorModel:
    """The errors to reckon with, the fence's own among them."""
    return error_model_of(work.job.model_copy(update={"fence": fence}))


def _band_rows(work: PlotterWork) -> tuple[Row, ...]:
    """Rows of sections over both bands, with the bed whichever way round needs fewer.

    Joins run between lines, so that a set-down holds whole pitches.
    """
    cover, zone = work.cover, work.task.plan.zone
    assert cover.bands is not None
    start = float(cover.line_x[0]) - cover.pitch / 2
    end = float(cover.line_x[-1]) + cover.pitch / 2
    best: tuple[Row, ...] = ()
    for way in zone.ways_round:
        room = [
            math.floor((size - 2 * way.set_down) / cover.pitch) * cover.pitch for size in way.size
        ]
        if min(room) <= 0:
            continue
        columns = math.ceil((end - start) / room[0])
        each = (end - start) / columns
        spans = tuple((start + k * each, start + (k + 1) * each) for k in range(columns))
        rows: list[Row] = []
        for low, high in cover.bands:
            parts = math.ceil((high - low) / room[1])
            deep = (high - low) / parts
            rows += [Row(low + k * deep, low + (k + 1) * deep, spans) for k in range(parts)]
        if not best or len(rows) * columns < len(best) * len(best[0].columns):
            best = tuple(rows)
    if not best:
        raise RefusedError("the bed holds no whole pitch")
    return best


def _band_sections(sections: Sequence[Section]) -> list[Section]:
    """The first and the last row, which hold the bands."""
    last = max(section.row for section in sections)
    return [section for section in sections if section.row in (1, last)]


def _drawing(work: PlotterWork, sections: Sequence[Section], *, bands: bool = False) -> float:
    """Seconds that the machine draws, at the pace that ink takes on canvas."""
    plotter, pens = work.plotter, work.job.pens
    seconds = 0.0
    stubs = 0.0
    for section in sections:
        for piece in section.pieces:
            pen = pens.named(piece.stroke.pen)
            speed = min(work.pace.draw_speed, plotter.draw_speed, pen.speed or math.inf)
            if bands and piece.stroke.layer == "cross" and work.cover.bands is not None:
                stubs += _in_bands(piece.stroke.points[:, 1], work.cover.bands) * pen.passes / speed
            else:
                seconds += piece.stroke.length * pen.passes / speed
        route = section.route
        seconds += route.travel / plotter.travel_speed + route.lifts * plotter.lift_seconds
    return float(seconds + stubs)


def _in_bands(y: FloatArray, bands: Sequence[tuple[float, float]]) -> float:
    """How much of an upright line lies in the bands, in mm."""
    low, high = float(y.min()), float(y.max())
    return sum(max(0.0, min(high, top) - max(low, bottom)) for bottom, top in bands)


def _acts(
    work: PlotterWork,
    held: Marked,
    fence: FenceTable | None,
    sections: Sequence[Section],
    seconds: float,
) -> Iterator[Act]:
    pace, expected = work.pace, held.expected
    yield base(pace)
    yield Act("scrap check", 1, pace.scrap_check)
    yield Act("marks along a line", expected.marks - held.marks_out, pace.tick, parted=True)
    yield Act("marks out on the cover", held.marks_out, pace.mark_out, parted=True)
    yield Act("readings", expected.readings, pace.reading)
    by_two = max(work.plotter.bed_size) > BY_TWO
    each = pace.set_down_by_two if by_two else pace.set_down
    if fence is not None:
        each = pace.set_down_at_fence
        yield Act("fence clamped", held.fence_moves, pace.fence_moved)
    yield Act("set-downs", expected.set_downs, each, 2 if by_two else 1)
    yield Act("drawing watched", 1, seconds)
    changes = _pen_changes(work, sections)
    if changes:
        yield Act("pens changed", changes, pace.pen_change)
    yield proof(pace)


def _pen_changes(work: PlotterWork, sections: Sequence[Section]) -> int:
    """Worn tips, and the removable pen where it has no holder of its own."""
    pens = work.job.pens
    ink = sum(
        piece.stroke.length * pens.named(piece.stroke.pen).passes
        for section in sections
        for piece in section.pieces
    )
    shared = 0
    for section in sections:
        used = {piece.stroke.pen for piece in section.pieces}
        slots = {pens.named(pen).slot for pen in used - {"removable"}}
        shared += 2 * ("removable" in used and pens.removable.slot in slots)
    return int(ink / work.pace.tip) + shared


def _needs(work: PlotterWork, fence: FenceTable | None) -> tuple[str, ...]:
    needs = [work.plotter.name, *FOR_ALL]
    if fence is not None:
        needs.append("a fence and clamps")
    if max(work.plotter.bed_size) > BY_TWO:
        needs.append("a second person to set it down")
    return tuple(needs)


def _cloth_through(work: PlotterWork) -> Way:
    """Loose canvas drawn through a machine beside the table, then stretched on."""
    cover, pace = work.cover, work.pace
    sections = work.task.plan.sections
    found = by_stretched_cloth(cover.line_x, cover.width, STRETCH)
    seconds = _drawing(work, sections)
    acts = (
        Act("scrap check", 1, pace.scrap_check),
        Act("cloth loaded", len(sections), pace.cloth_loaded, 2),
        Act("drawing watched", 1, seconds),
        *([Act("pens changed", n, pace.pen_change)] if (n := _pen_changes(work, sections)) else []),
        proof(pace),
    )
    return Way(
        work.name,
        FED_THROUGH,
        work.name,
        acts,
        found.with_counts(set_downs=len(sections)),
        machine_seconds=seconds,
        needs=(work.plotter.name, "a cover not stretched on yet", "its stretch, measured"),
        note="the stretch is known to 0.3 % at best, 95 times in 100",
    )
