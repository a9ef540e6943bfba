"""Where the lines lie: cross lines along the table, long lines across it, ticks and bias lines.

Table frame, millimetres. A long line is known by its offset from its own long edge, since a
side hem is laid to it from there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import HemsTable, MarkingJob, PensTable

Side = Literal["near", "far"]
BETWEEN_INK = 0.5
"""Least cloth, in mm, that must show between two lines for them to read as two."""
_SAME = 1e-6
"""Positions closer than this, in mm, are one line computed twice."""
MOST_LINES = 10_000


class LongLine(Struct, frozen=True):
    """A line along the table, `y` in the table frame.

    `offset` is what a hem laid to it measures: from its `side`'s edge, or from the side's first
    long line where hems are counted from there.
    """

    id: str
    layer: Literal["long", "hem"]
    side: Side
    offset: float
    y: float
    dashed: bool = False
    """In dashes that lie over every cross line, so that it crosses each in ink."""
    pen: str = "lines"


def cross_positions(job: MarkingJob, rect: tuple[float, float, float, float]) -> FloatArray:
    """x of every cross line, from the zero line to the last that fits."""
    x0, _, x1, _ = rect
    grid = job.grid
    pens = ["lines", "heavy"] if grid.heavy_every else ["lines"]
    widest = max(pens, key=lambda pen: job.pens.named(pen).line_width)
    ink = job.pens.named(widest).line_width
    if grid.pitch < ink + BETWEEN_INK:
        raise RefusedError(
            f"grid.pitch = {format_length(grid.pitch, 'mm')}: lines {format_length(ink, 'mm')} "
            f"wide (pens.{widest}) would run together; use a pitch of "
            f"{format_length(ink + BETWEEN_INK, 'mm')} or more, or a finer pen"
        )
    room = x1 - x0 - 2 * grid.end_margin
    if room < grid.pitch:
        shown = {
            name: format_length(value, job.units)
            for name, value in (
                ("top", x1 - x0),
                ("end", grid.end_margin),
                ("pitch", grid.pitch),
            )
        }
        raise RefusedError(
            f"grid: a top {shown['top']} long has no room for two cross lines {shown['pitch']} "
            f"apart between end margins of {shown['end']}; make grid.pitch or grid.end_margin less"
        )
    last = int((room + _SAME) // grid.pitch)
    if last > MOST_LINES:
        raise RefusedError(
            f"grid.pitch = {format_length(grid.pitch, job.units)}: {last} cross lines are more "
            f"than the {MOST_LINES} that this program lays out, far past what can be inked or "
            "numbered by hand; use a larger pitch"
        )
    first: float = x0 + grid.end_margin
    return first + grid.pitch * np.arange(last + 1, dtype=np.float64)


def long_lines(
    job: MarkingJob, rect: tuple[float, float, float, float]
) -> tuple[list[LongLine], list[str]]:
    """The long lines, near side first, with warnings for those asked for and left out.

    All are parallel to the near edge; far ones are measured from the nearest that the far edge
    comes to it.
    """
    height = rect[3] - rect[1]
    _check_bands(job, height)
    near, warnings = _band(job, "near", rect)
    far, _ = _band(job, "far", rect)
    if job.table.against_wall:
        far = far[:1]
    return sorted(near + far, key=lambda line: line.y), warnings


def _check_bands(job: MarkingJob, height: float) -> None:
    shown = format_length(height, job.units)
    gap = job.pens.lines.line_width + BETWEEN_INK
    counted, depth = counted_from(job), job.hems.depth
    for key, value, start in (
        ("grid.margin", job.grid.margin, 0.0),
        ("hems.depth", depth, counted),
    ):
        if job.table.against_wall and start + value + job.grid.margin + gap > height:
            most = max(0.0, height - gap - start - job.grid.margin - 0.4)
            raise RefusedError(
                f"{key} = {format_length(value, job.units)}: it meets the first long line at the "
                f"wall, on a top {shown} wide; it can be at most {format_length(most, job.units)}"
            )
        if not job.table.against_wall and 2 * (start + value) + gap > height:
            both = "first long lines" if start else "long edges"
            raise RefusedError(
                f"{key} = {format_length(value, job.units)}: from both {both} it meets in the "
                f"middle of a top {shown} wide; it can be at most "
                f"{format_length(max(0.0, (height - gap) / 2 - start - 0.4), job.units)}"
            )


def counted_from(job: MarkingJob) -> float:
    """From a long edge to where its hems are counted from, in mm."""
    return job.grid.margin if job.hems.counted_from == "line" else 0.0


def _band(
    job: MarkingJob, side: Side, rect: tuple[float, float, float, float]
) -> tuple[list[LongLine], list[str]]:
    """One side's first long line, its hem band and the extra fold lines its hems need."""
    pitch, margin, depth = job.grid.pitch, job.grid.margin, job.hems.depth
    apart = job.pens.lines.line_width + BETWEEN_INK
    counted = counted_from(job)
    margin -= counted
    middle = (rect[3] - rect[1] - apart) / 2 - counted
    if job.table.against_wall:
        middle = rect[3] - rect[1] - apart - job.grid.margin - counted

    def line(name: str, layer: Literal["long", "hem"], offset: float) -> LongLine:
        away = counted + offset
        y = rect[1] + away if side == "near" else rect[3] - away
        off_pitch = abs(offset - round(offset / pitch) * pitch) > _SAME
        dashed = layer == "hem" and off_pitch and job.hems.dashed
        return LongLine(name, layer, side, offset, y, dashed)

    lines = [line(f"long-{side}", "long", margin)]
    warnings: list[str] = []
    multiples = range(1, int((depth + _SAME) // pitch) + 1)
    for k in multiples:
        offset = k * pitch
        if offset <= margin + _SAME:
            continue
        if offset - margin < apart:
            warnings.append(
                f"The hem line at {format_length(offset, job.units)} is left out: it would run "
                f"into the first long line at {format_length(margin, job.units)}."
            )
            continue
        lines.append(line(f"hem-{side}-{k}", "hem", offset))
    for offset in sorted({d for fold in job.hems.folds for d in fold.lines}):
        nearest = min(abs(offset - other.offset) for other in lines)
        if margin < offset <= middle and nearest >= apart:
            count = sum(other.id.startswith("fold-") for other in lines) + 1
            lines.append(line(f"fold-{side}-{count}", "hem", offset))
    return lines, warnings


def full_lines(
    job: MarkingJob, rect: tuple[float, float, float, float], taken: Sequence[LongLine]
) -> list[LongLine]:
    """What "full" adds: lines at every pitch counted from the near side, between the bands."""
    if job.grid.long_lines != "full":
        return []
    pitch = job.grid.pitch
    apart = job.pens.lines.line_width + BETWEEN_INK
    bands = [line for line in taken if line.id.startswith(("long-", "hem-"))]
    near = max(line.y for line in bands if line.side == "near")
    far = min(line.y for line in bands if line.side == "far")
    ys = np.array([line.y for line in taken])
    start = rect[1] + counted_from(job)
    lines = []
    for k in range(1, int((rect[3] - start) // pitch) + 1):
        y = start + k * pitch
        if near < y < far and np.abs(ys - y).min() >= apart:
            lines.append(LongLine(f"long-{k}", "long", "near", k * pitch, y))
    if len(lines) > MOST_LINES:
        raise RefusedError(f"grid.pitch: {len(lines)} long lines are more than {MOST_LINES}")
    return lines


def dashes(xs: FloatArray) -> list[tuple[float, float]]:
    """From where to where along the table a dashed line is inked: half of it, about each of the
    cross lines at `xs`."""
    reach = (xs[1] - xs[0]) / 4
    lows, highs = np.maximum(xs - reach, xs[0]), np.minimum(xs + reach, xs[-1])
    return list(zip(lows.tolist(), highs.tolist(), strict=True))


def dashed_line(stroke: str) -> str | None:
    """Id of the dashed line that the stroke of this id is a dash of; None where it is none."""
    line, _, dash = stroke.rpartition("-d")
    return line if line and dash.isdigit() else None


def cross_fold_positions(hems: HemsTable, pens: PensTable, xs: FloatArray) -> FloatArray:
    """x of the extra cross lines that bottom and top hems need and the pitch does not give."""
    if not hems.cross_folds:
        return np.empty(0)
    apart = max(pens.lines.line_width, pens.heavy.line_width) + BETWEEN_INK
    wanted = xs[0] + np.array(sorted({d for fold in hems.folds for d in fold.lines}))
    clear: list[float] = []
    for x in wanted.tolist():
        taken = np.append(xs, clear)
        if x < xs[-1] and np.abs(taken - x).min() >= apart:
            clear.append(x)
    return np.array(clear)


def tick_lines(
    job: MarkingJob, xs: FloatArray, taken: FloatArray, ys: tuple[float, float]
) -> list[tuple[str, FloatArray]]:
    """Ticks a quarter pitch long, inward from the first long lines, each with its id.

    None stands where one of the `taken` upright lines already does. Raises RefusedError when
    they would touch the cross lines beside them.
    """
    if not job.grid.half_ticks:
        return []
    own, heavy = job.pens.lines.line_width, job.pens.heavy.line_width
    beside = (own + max(own, heavy)) / 2
    if job.grid.pitch / 2 < beside + BETWEEN_INK:
        raise RefusedError(
            f"grid.half_ticks: ticks at half of {format_length(job.grid.pitch, job.units)} leave "
            f"less than {BETWEEN_INK} mm bare to the cross lines beside them. Leave them out "
            f"(half_ticks = false), or use a pitch of {2 * (beside + BETWEEN_INK):.1f} mm or more, "
            "or a finer pen"
        )
    apart = job.pens.lines.line_width + BETWEEN_INK
    reach = job.grid.pitch / 4
    middles = [
        (number, x)
        for number, x in enumerate(((xs[:-1] + xs[1:]) / 2).tolist())
        if taken.size == 0 or np.abs(taken - x).min() >= apart
    ]
    near, far = ys
    return [
        (f"tick-{side}-{number}", np.array([[x, start], [x, end]]))
        for side, start, end in (("near", near, near + reach), ("far", far, far - reach))
        for number, x in middles
    ]


def bias_line(number: int, xs: FloatArray, ys: tuple[float, float]) -> FloatArray:
    """The 45-degree line from cross line `number` on the near long line, away from the zero end.

    Raises RefusedError when no such cross line exists.
    """
    if number >= len(xs) - 1:
        raise RefusedError(
            f"grid.bias: {number}: a bias line runs away from the zero end, so it can start at "
            f"cross lines 0 to {len(xs) - 2} of this table"
        )
    run = min(ys[1] - ys[0], xs[-1] - xs[number])
    return np.array([[xs[number], ys[0]], [xs[number] + run, ys[0] + run]])
