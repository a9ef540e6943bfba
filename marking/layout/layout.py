"""The marking of one job: every line and numeral as strokes, how it fits, and what to know.

It joins survey, lines, hems and numerals into one frozen `Layout`; sections and writers only
read it. Table frame, millimetres; on a cover marked slack, the cloth as it lies unstretched.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.job.keys import tape_of
from marking.layout import bands, hems, lines, margin_rows, middle_row, numerals, on_lines
from marking.layout.clear_places import ink_of
from marking.layout.edges import check_margins, edge_notes, on_the_curve
from marking.layout.fit_warnings import fit_warnings
from marking.layout.middle_row import middle_numerals
from marking.layout.named_lines import end_numerals, part_lines, refuse_unnumbered, with_named
from marking.layout.second_scale import other_scale
from marking.layout.survey import Top, survey_top
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import ClothTable, MarkingJob, Pen, PensTable
    from marking.layout.clear_places import InkAround
    from marking.layout.hems import FoldLine
    from marking.layout.lines import LongLine
    from marking.layout.numerals import Legibility, Numeral
    from marking.layout.on_lines import OnLine

Layer = Literal["cross", "long", "hem", "numeral", "tick", "bias", "witness"]
LAYERS: tuple[Layer, ...] = ("cross", "long", "hem", "numeral", "tick", "bias", "witness")


class Stroke(Struct, frozen=True):
    """One pen-down polyline: centre-line points (n, 2) in mm, and what draws it."""

    id: str
    layer: Layer
    pen: str
    points: FloatArray
    beside: tuple[float, ...] = ()
    """How far to the left of a straight line each of its passes lies, in mm; none where its pen's
    passes lie on it, one over the other."""

    @property
    def path(self) -> FloatArray:
        """(m, 2), mm: where the pen goes for its passes, from end to end of the true line.

        Passes side by side are one way there and back, the pen down over their ends, which its
        tip covers as it is.
        """
        if not self.beside:
            return self.points
        start, end = self.points[[0, -1]]
        left = np.array([start[1] - end[1], end[0] - start[0]]) / math.dist(start, end)
        way = [self.points[:1]]
        for n, off in enumerate(self.beside):
            way.append(self.points[:: -1 if n % 2 else 1] + off * left)
        way.append(way[0] if len(self.beside) % 2 == 0 else self.points[-1:])
        return np.concatenate(way)

    def along(self, points: FloatArray, name: str = "") -> Stroke:
        """It along other points, under its own name or another."""
        # `replace` takes as long as all else that is done with a piece, and there are thousands.
        return Stroke(name or self.id, self.layer, self.pen, points, self.beside)

    def times(self, pen: Pen) -> int:
        """How often `pen` goes along it."""
        return len(self.beside) or pen.passes

    def ink_width(self, pen: Pen) -> float:
        """Across it on the cloth, in mm, all its passes."""
        return pen.width + (max(self.beside) - min(self.beside) if self.beside else 0.0)

    @property
    def length(self) -> float:
        """Ink length in mm, of one pass."""
        points = self.points.tolist()
        return sum(map(math.dist, points, points[1:]))


class PlacedNumeral(Struct, frozen=True):
    """A numeral and the ids of its strokes."""

    numeral: Numeral
    strokes: tuple[str, ...]


class Grid(Struct, frozen=True):
    """Where the lines stand, for whoever has to keep clear of them or find their crossings."""

    cross_x: FloatArray
    """x of the numbered cross lines."""
    extra_x: FloatArray
    """x of the other upright ink: ticks and extra cross folds."""
    long_lines: tuple[LongLine, ...]
    """Sorted by y."""
    pitch: tuple[float, float]
    """Along and across."""


class Margins(Struct, frozen=True):
    """From the first lines to the edges of the real top at its four corners, in mm."""

    far_at_zero_end: float
    far_at_far_end: float
    zero_end_at_near: float
    zero_end_at_far: float
    far_end_at_near: float
    far_end_at_far: float


class Layout(Struct, frozen=True):
    """The whole marking of one table."""

    strokes: tuple[Stroke, ...]
    numerals: tuple[PlacedNumeral, ...]
    grid: Grid
    top: Top
    margins: Margins
    legibility: Legibility | None
    folds: tuple[FoldLine, ...]
    slack: tuple[float, float]
    """Drawn length over finished length, along and across: 1 on a cover marked in place."""
    warnings: tuple[str, ...]

    def ink_by_layer(self) -> dict[str, float]:
        """Ink length in mm, of one pass, by layer."""
        totals: dict[str, float] = dict.fromkeys(LAYERS, 0.0)
        for stroke in self.strokes:
            totals[stroke.layer] += stroke.length
        return totals


def lay_out(job: MarkingJob) -> Layout:
    """The marking that `job` describes.

    Raises RefusedError when it does not fit the real top, BadInputError when the survey or the
    face cannot be.
    """
    check_margins(job)
    top = survey_top(job.table, job.units, tape_of(job.tape))
    rect = top.inscribed
    cross_x = lines.cross_positions(job, rect)
    if job.numerals.sides and not job.numbered_sides:
        raise RefusedError(
            'numerals.sides = ["far"]: nobody stands at the far side of a table against a wall; '
            'let the near side carry them, sides = ["near"]'
        )
    in_bands, warnings = lines.long_lines(job, rect)
    named = with_named(job, in_bands, rect)
    long_lines = sorted([*named, *lines.full_lines(job, rect, named)], key=lambda line: line.y)
    parts = part_lines(job, long_lines, cross_x, rect)
    fold_x = lines.cross_fold_positions(job.hems, job.pens, cross_x)
    ys = (long_lines[0].y, long_lines[-1].y)
    ticks = lines.tick_lines(job, cross_x, fold_x, ys)
    scale = other_scale(job, cross_x)
    if scale is not None:
        ticks += scale.ticks(ys[0] if scale.side == "near" else ys[1])
    strokes = [
        *_cross_strokes(job.grid.heavy_every, cross_x, fold_x, ys),
        *_long_strokes(long_lines, cross_x),
        *(
            Stroke(part.id, "long", "lines", np.array([[part.start, part.y], [part.end, part.y]]))
            for part in parts
        ),
        *(Stroke(name, "tick", "lines", points) for name, points in ticks),
        *(
            Stroke(f"bias-{number}", "bias", "lines", lines.bias_line(number, cross_x, ys))
            for number in dict.fromkeys(job.grid.bias)
        ),
    ]
    beside = {name: pen.beside for name, pen in job.pens.by_name.items()}
    strokes = [replace(one, beside=beside[one.pen]) if beside[one.pen] else one for one in strokes]
    legibility = of_other = None
    placed: list[Numeral] = []
    if job.numbered_sides:
        asked = numerals.asked_for(job, cross_x, rect, uprights(strokes, job.pens))
        legibility = numerals.fit(asked)
        placed = margin_rows.place(asked, legibility.height)
        if scale is not None:
            most = legibility.height
            row, of_other = margin_rows.place_other(job.numerals, asked, scale, most)
            placed += row
    at_ends = end_numerals(job, long_lines, cross_x, rect, levels(strokes, job.pens))
    placed += _stand_on_lines(job, at_ends, strokes, placed)
    refuse_unnumbered(at_ends, placed)
    on_bands = bands.band_numerals(job, long_lines, cross_x, job.pens.lines.line_width / 2)
    placed += _stand_on_lines(job, on_bands, strokes, placed)
    if legibility is not None:
        ink = _ink_of(strokes, placed, job.pens)
        # Ticks stand at the first long lines alone; any that comes near is ink to keep off.
        through = [one for one in strokes if one.layer != "tick"]
        upright, level = uprights(through, job.pens), levels(strokes, job.pens)
        placed += middle_numerals(job, cross_x, upright, level, ink, legibility.height)
    lettered = [_numeral_strokes(numeral, count) for count, numeral in enumerate(placed)]
    strokes += [stroke for drawn in lettered for stroke in drawn]
    numbered = _numbered(cross_x, fold_x)
    folds = hems.fold_lines(
        job.hems.folds, long_lines, numbered, job.pens.lines.line_width, job.units
    )
    tick_x = {float(points[0, 0]) for _, points in ticks}
    layout = Layout(
        tuple(strokes),
        tuple(
            PlacedNumeral(numeral, tuple(stroke.id for stroke in drawn))
            for numeral, drawn in zip(placed, lettered, strict=True)
        ),
        Grid(
            cross_x,
            np.sort([*tick_x, *fold_x]),
            tuple(long_lines),
            (job.grid.pitch, job.grid.pitch),
        ),
        top,
        _margins(top, cross_x, ys),
        legibility,
        folds,
        (1.0, 1.0),
        (
            *warnings,
            *bands.left_out(on_bands, placed),
            *middle_row.left_out(job, cross_x, placed),
            *middle_row.unparted(
                job, uprights(strokes, job.pens), placed, 1 / (1 + job.cloth.stretch_length)
            ),
            *hems.fold_warnings(folds, long_lines[0].offset, job.units),
            *fit_warnings(job, legibility, cross_x, rect),
            *margin_rows.other_notes(scale, of_other),
            *edge_notes(job.table, job.units),
        ),
    )
    _check_on_top(layout.strokes, top, job)
    return _slackened(layout, job.cloth, job.pens.numerals.width)


def uprights(strokes: Sequence[Stroke], pens: PensTable) -> list[tuple[float, float]]:
    """Every upright line or tick, rising: its x, and half its own ink in mm."""
    ink: dict[float, float] = {}
    for stroke in strokes:
        if stroke.layer in ("cross", "hem", "tick") and stroke.points[0, 0] == stroke.points[1, 0]:
            x = float(stroke.points[0, 0])
            half = stroke.ink_width(pens.named(stroke.pen)) / 2
            ink[x] = max(half, ink.get(x, 0.0))
    return _not_within_another(sorted(ink.items()))


def _not_within_another(lines: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """`lines` without those whose ink lies within another's, as a tick's may beside a heavy line:
    between the rest, bare cloth goes from each to the next."""
    kept: list[tuple[float, float]] = []
    for at, half in lines:
        while kept and at - half <= kept[-1][0] - kept[-1][1]:
            kept.pop()
        if not kept or at + half > kept[-1][0] + kept[-1][1]:
            kept.append((at, half))
    return kept


def levels(strokes: Sequence[Stroke], pens: PensTable) -> list[tuple[float, float]]:
    """Every line along the table, rising: its y, and half its own ink in mm."""
    ink: dict[float, float] = {}
    for stroke in strokes:
        if stroke.layer in ("long", "hem") and stroke.points[0, 1] == stroke.points[1, 1]:
            y = float(stroke.points[0, 1])
            ink[y] = max(stroke.ink_width(pens.named(stroke.pen)) / 2, ink.get(y, 0.0))
    return sorted(ink.items())


def _stand_on_lines(
    job: MarkingJob,
    wanted: Sequence[OnLine],
    strokes: Sequence[Stroke],
    placed: Sequence[Numeral],
) -> list[Numeral]:
    """Those of `wanted` for which there is room on their lines, beside all that is drawn."""
    pens = job.pens
    manner = on_lines.OnLinesManner(job.numerals.face, pens.numerals.width, job.numerals.clear)
    inside = uprights([one for one in strokes if not one.id.startswith("scale-")], pens)
    height, kept = on_lines.with_room(wanted, levels(strokes, pens), inside, manner, job.grid.pitch)
    taken = _ink_of(strokes, placed, pens)
    return on_lines.stand(kept, taken, inside, height, manner)


def _ink_of(strokes: Sequence[Stroke], placed: Sequence[Numeral], pens: PensTable) -> InkAround:
    """All lines, and the boxes of the numerals `placed`."""
    lines_ink = ink_of([(one.points, one.ink_width(pens.named(one.pen)) / 2) for one in strokes])
    return lines_ink.with_boxes(numeral.box_table for numeral in placed)


def _cross_strokes(
    heavy_every: int, cross_x: FloatArray, fold_x: FloatArray, ys: tuple[float, float]
) -> list[Stroke]:
    strokes = [
        Stroke(
            f"cross-{number}",
            "cross",
            "heavy" if heavy_every and number % heavy_every == 0 else "lines",
            np.array([[x, ys[0]], [x, ys[1]]]),
        )
        for number, x in enumerate(cross_x)
    ]
    return strokes + [
        Stroke(f"fold-cross-{count}", "hem", "lines", np.array([[x, ys[0]], [x, ys[1]]]))
        for count, x in enumerate(fold_x, 1)
    ]


def _long_strokes(long_lines: list[LongLine], cross_x: FloatArray) -> list[Stroke]:
    first, last = float(cross_x[0]), float(cross_x[-1])
    strokes = []
    for line in long_lines:
        runs = lines.dashes(cross_x) if line.dashed else [(first, last)]
        for count, (start, end) in enumerate(runs):
            name = f"{line.id}-d{count}" if line.dashed else line.id
            points = np.array([[start, line.y], [end, line.y]])
            strokes.append(Stroke(name, line.layer, line.pen, points))
    return strokes


def _numeral_strokes(numeral: Numeral, count: int) -> list[Stroke]:
    own = "" if numeral.row == "margin" else f"{numeral.row}{count}-"
    return [
        Stroke(f"num-{numeral.side}-{numeral.text}-{own}{n}", "numeral", "numerals", points)
        for n, points in enumerate(numeral.strokes_table)
    ]


def _numbered(cross_x: FloatArray, fold_x: FloatArray) -> list[tuple[str, float]]:
    """Id and distance from the zero line of every full-width cross line."""
    named = [(f"cross-{number}", float(x - cross_x[0])) for number, x in enumerate(cross_x)]
    return named + [
        (f"fold-cross-{count}", float(x - cross_x[0])) for count, x in enumerate(fold_x, 1)
    ]


def _margins(top: Top, cross_x: FloatArray, ys: tuple[float, float]) -> Margins:
    (_, _), (near_x, _), (far_x, far_y), (zero_x, zero_y) = top.corners_table
    return Margins(
        *(
            float(margin)
            for margin in (
                zero_y - ys[1],
                far_y - ys[1],
                cross_x[0],
                cross_x[0] - zero_x,
                near_x - cross_x[-1],
                far_x - cross_x[-1],
            )
        )
    )


def _check_on_top(strokes: Sequence[Stroke], top: Top, job: MarkingJob) -> None:
    """No ink may fall off the real top, nor lie where it curves away: against all four edges."""
    pens, curved = job.pens, job.table.edge_radius
    corners = top.corners_table
    edges = np.roll(corners, -1, axis=0) - corners
    inward = np.stack([-edges[:, 1], edges[:, 0]], axis=1) / np.linalg.norm(edges, axis=1)[:, None]
    for pen in ("lines", "heavy", "numerals"):
        drawn = [stroke for stroke in strokes if stroke.pen == pen]
        if not drawn:
            continue
        points = np.concatenate([stroke.path for stroke in drawn])
        room = (points @ inward.T - (corners * inward).sum(axis=1)).min() - curved
        half = pens.named(pen).width / 2
        if room < half - 1e-9 and curved:
            raise RefusedError(on_the_curve(job, f"pens.{pen}", half))
        if room < half - 1e-9:
            raise RefusedError(
                f"pens.{pen}: ink {format_length(_widest(drawn, pens), 'mm')} wide would run "
                "off the table's edge; make grid.margin and grid.end_margin at least half of it"
            )


def _widest(strokes: Sequence[Stroke], pens: PensTable) -> float:
    return max(stroke.ink_width(pens.named(stroke.pen)) for stroke in strokes)


def _slackened(layout: Layout, cloth: ClothTable, pen: float) -> Layout:
    """`layout` as it must be drawn on slack cloth to be true once the cloth is stretched.

    `pen` is the width of the numerals' pen in mm, which stays.
    """
    slack = np.array([1 / (1 + cloth.stretch_length), 1 / (1 + cloth.stretch_width)])
    if (slack == 1).all():
        return layout
    along, across = float(slack[0]), float(slack[1])

    def numeral(placed: PlacedNumeral) -> PlacedNumeral:
        n = placed.numeral
        x0, y0, x1, y1 = n.box_table
        x, y = n.at_table[0] * along, n.at_table[1] * across
        half_x = ((x1 - x0 - pen) * along + pen) / 2
        half_y = ((y1 - y0 - pen) * across + pen) / 2
        return replace(
            placed,
            numeral=replace(
                n,
                at_table=(x, y),
                height=2 * half_y,
                box_table=(x - half_x, y - half_y, x + half_x, y + half_y),
                strokes_table=tuple(stroke * slack for stroke in n.strokes_table),
            ),
        )

    grid = layout.grid
    return replace(
        layout,
        strokes=tuple(replace(stroke, points=stroke.points * slack) for stroke in layout.strokes),
        numerals=tuple(numeral(placed) for placed in layout.numerals),
        grid=Grid(
            grid.cross_x * along,
            grid.extra_x * along,
            tuple(replace(line, y=line.y * across) for line in grid.long_lines),
            (grid.pitch[0] * along, grid.pitch[1] * across),
        ),
        top=replace(layout.top, corners_table=layout.top.corners_table * slack),
        slack=(along, across),
    )
