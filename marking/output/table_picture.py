"""The whole table as one picture: marking, sections, joins, locating marks and where to set down.

Numerals and lines are what a pen draws; all other words are type.
"""

from __future__ import annotations

import math
from collections import defaultdict
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from marking.drawing.artwork import Artwork, Style
from marking.measures.counts import counted
from marking.measures.lengths import format_length
from marking.output.table_top import (
    NOTE_INK,
    Picture,
    draw_dimensions,
    draw_table,
    draw_title,
    hem_labels,
)
from marking.sections.ruled import inked_strokes
from marking.sections.set_downs import set_down_corner, set_down_legend, set_down_readings
from marking.sections.under_the_feet import standings
from marking.stretching.ticks import pull_ticks

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import Box, FloatArray
    from marking.drawing.artwork import DrawnLayer
    from marking.job.keys import GridTable, MarkingJob, PensTable
    from marking.layout.layout import Layout, Stroke
    from marking.layout.lines import LongLine
    from marking.sections.plan import Plan, Section
    from marking.stretching.ticks import PullTick

_TINTS = ("#dcebf7", "#fdf0d5", "#e3f3e1", "#f6e3ea")
_LAYER_INK = {
    "cross": "#3a3f47",
    "long": "#3a3f47",
    "hem": "#1f5fa8",
    "numeral": "#111111",
    "tick": "#3a3f47",
    "bias": "#7a5195",
    "witness": "#c2410c",
}
_JOIN, _SET_DOWN = "#c2410c", "#0f766e"
_BOARD = "#8a5a1c"
_RULED, _ANEW = "#b3b9c2", "#dc2626"


def _feet_in_air(layout: Layout, job: MarkingJob, plan: Plan) -> list[Box]:
    """What a board has to carry beyond the table's edge."""
    stood = standings(plan.zone, plan.sections, layout, job).values()
    return [foot.box for one in stood for foot in one.in_air]


def _ticks(layout: Layout, grid: GridTable, plan: Plan) -> tuple[PullTick, ...]:
    """The marks on the table's sides that a cover drawn loose is pulled onto."""
    return pull_ticks(layout, grid) if plan.zone.feed is not None else ()


def table_picture(
    layout: Layout,
    job: MarkingJob,
    plan: Plan | None = None,
    anew: Mapping[str, Sequence[FloatArray]] = MappingProxyType({}),
) -> Artwork:
    """The picture of a layout, with the sections of `plan` when it is given.

    `anew` are the lines (n, 2) of each mend, by its name.
    """
    feet = () if plan is None else _feet_in_air(layout, job, plan)
    ticks = () if plan is None else _ticks(layout, job.grid, plan)
    picture = Picture(layout, job, plan, feet, ticks, notes=bool(anew))
    draw_table(picture)
    if plan is not None:
        _draw_sections(picture, plan)
        _draw_feet_in_air(picture)
    _draw_mends(picture, anew)
    draw_strokes(picture)
    if plan is not None:
        _draw_joins(picture, plan)
        _draw_locating_marks(picture, plan)
        _draw_set_downs(picture, plan)
        _draw_ticks(picture)
    _draw_folds(picture)
    draw_dimensions(picture)
    _draw_legend(picture, plan, anew)
    return picture.artwork


def _draw_mends(picture: Picture, anew: Mapping[str, Sequence[FloatArray]]) -> None:
    """What is inked anew, or is to be: broad under its lines, with the mend's name above."""
    if not anew:
        return
    broad = picture.artwork.layer("mends", Style(_ANEW, 0.9 * picture.letters, opacity=0.45))
    names = picture.words("mend-names", _ANEW)
    for name, several in anew.items():
        for line in several:
            broad.line(line)
        right, top = np.concatenate(several).max(axis=0).tolist()
        picture.write(names, name, right + picture.letters, top + picture.letters)


def _draw_sections(picture: Picture, plan: Plan) -> None:
    tints = picture.artwork.layer("sections", Style())
    for section in plan.sections:
        tint = _TINTS[2 * (section.row % 2) + section.column % 2]
        tints.box(section.core, section.id, fill=tint)
    for part in plan.unreached:
        tints.box(part.box, fill="#e5e0e0")


def _draw_feet_in_air(picture: Picture) -> None:
    """Where feet stand over the edge: under all words, which stay legible on it."""
    if not picture.in_air:
        return
    feet = picture.lines("feet-in-air", _BOARD, 1 / 10, fill="#ecd9bf")
    for box in picture.in_air:
        feet.box(box)


_OUTWARD = {"near edge": (0, -1), "far edge": (0, 1), "zero end": (-1, 0), "far end": (1, 0)}


def _draw_ticks(picture: Picture) -> None:
    """On the slack cloth as it is drawn here, each tick stands where its line leaves the top."""
    if not picture.ticks:
        return
    ticks = picture.lines("pull-ticks", _SET_DOWN, 1 / 5)
    for tick in picture.ticks:
        at = np.array(tick.at_table) * picture.layout.slack
        out = np.array(_OUTWARD[tick.side]) * picture.letters
        ticks.line([(at + 0.1 * out).tolist(), (at + 1.1 * out).tolist()])


def draw_strokes(picture: Picture, *, faint: bool = False) -> None:
    """Every line and numeral; `faint` lets what lies under them show. Ruled lines are lighter."""
    by_pen = defaultdict(list)
    ruled = picture.plan.ruled if picture.plan is not None else ()
    for stroke in inked_strokes(picture.layout, ruled):
        by_pen[stroke.layer, stroke.pen].append(stroke)
    for (layer, pen), strokes in by_pen.items():
        width = picture.job.pens.named(pen).width * (2 if pen == "heavy" else 1)
        style = Style(_LAYER_INK[layer], width / 4 if faint else width)
        lines = picture.artwork.layer(f"{layer}-{pen}", style)
        for stroke in strokes:
            lines.line(stroke.points)
    for pen in dict.fromkeys(line.stroke.pen for line in ruled):
        width = picture.job.pens.named(pen).width * (2 if pen == "heavy" else 1)
        style = Style(_RULED, width / 4 if faint else width)
        by_hand = picture.artwork.layer(f"ruled-{pen}", style)
        for line in ruled:
            if line.stroke.pen == pen:
                by_hand.line(line.points)


def _draw_joins(picture: Picture, plan: Plan) -> None:
    dash = picture.letters
    style = Style(_JOIN, dash / 7, dashes=(dash, dash / 2), ends="butt")
    joins = picture.artwork.layer("joins", style)
    x_low, y_low = plan.sections[0].core[:2]
    x_high, y_high = plan.sections[-1].core[2:]
    xs = sorted({s.core[0] for s in plan.sections} - {x_low})
    ys = sorted({y for s in plan.sections for y in (s.core[1], s.core[3])} - {y_low, y_high})
    rows = [(y_low, y_high)]
    if plan.ruled:
        # Between the bands there is nothing to join.
        rows = sorted({(s.core[1], s.core[3]) for s in plan.sections})
    ends = [((x, low), (x, high)) for x in xs for low, high in rows]
    ends += [((x_low, y), (x_high, y)) for y in ys]
    for end in ends:
        joins.line(end)


def _draw_locating_marks(picture: Picture, plan: Plan) -> None:
    marks = picture.lines("locating-marks", _JOIN, 1 / 8)
    size = min(picture.letters / 2, 0.8 * _clear_of_numerals(picture.layout))
    for mark in {
        mark.id: mark for section in plan.sections for mark in section.locating_marks
    }.values():
        _draw_mark(marks, mark.at_table, mark.kind, size, mark.id)


def _clear_of_numerals(layout: Layout) -> float:
    """From the first long lines, where marks stand, to the nearest numeral's ink."""
    lines = [line.y for line in layout.grid.long_lines]
    margins = [one.numeral for one in layout.numerals if one.numeral.row in ("margin", "other")]
    boxes = [numeral.box_table for numeral in margins]
    gaps = (max(box[1] - max(lines), min(lines) - box[3]) for box in boxes)
    return min(gaps, default=math.inf)


def _draw_mark(
    marks: DrawnLayer, at: tuple[float, float], kind: str, size: float, name: str
) -> None:
    """A circle for an inked crossing, a saltire for a removable tick, a square for a tape mark."""
    x, y = at
    if kind == "grid":
        marks.circle(at, size, name)
    elif kind == "control":
        marks.box((x - size, y - size, x + size, y + size), name)
    else:
        rising = [(x - size, y - size), (x + size, y + size)]
        falling = [(x - size, y + size), (x + size, y - size)]
        marks.line(rising, falling, name=name)


def _draw_set_downs(picture: Picture, plan: Plan) -> None:
    corners = picture.lines("set-down-points", _SET_DOWN, 1 / 5)
    plates = picture.artwork.layer("plates", Style(fill="#ffffff", opacity=0.82))
    names = picture.words("section-names", NOTE_INK)
    for section in plan.sections:
        corners.line(*set_down_corner(section, plan, picture.layout, picture.letters))
        _write_plate(picture, plates, names, section, plan)


def _write_plate(
    picture: Picture, plates: DrawnLayer, names: DrawnLayer, section: Section, plan: Plan
) -> None:
    """The section's name, turn and set-down readings, on a plate in its middle."""
    x0, y0, x1, y1 = section.core
    along, across = set_down_readings(section, plan, picture.job.units)
    lines = [f"{section.id}, no. {section.order}", f"{along}, {across}"]
    if section.turned:
        lines.append("turned a quarter")
    widest = max(map(picture.width, lines))
    tall = 1.9 * len(lines) * picture.letters
    size = min(1.0, (x1 - x0) * 0.8 / widest, (y1 - y0) * 0.8 / tall)
    x, y, step = (x0 + x1) / 2, (y0 + y1) / 2, 1.7 * picture.letters * size
    half, high = widest * size / 2 + step / 3, (len(lines) / 2 + 0.1) * step
    name = f"{section.id}-turned" if section.turned else ""
    plates.box((x - half, y - high, x + half, y + high), name)
    for place, line in enumerate(lines):
        above = (len(lines) - 1) / 2 - place
        picture.write(names, line, x, y + above * step, align=0.5, size=size)


def _draw_folds(picture: Picture) -> None:
    """At the far end, which long line serves which fold of the hem schedule."""
    layout, letters = picture.layout, picture.letters
    labels = hem_labels(layout, picture.job.units)
    words = picture.words("hem-folds", _LAYER_INK["hem"])
    leaders = picture.lines("hem-leaders", _LAYER_INK["hem"], 1 / 12)
    lines = [line for line in layout.grid.long_lines if _near_twin(line) in labels]
    edge = float(layout.top.corners_table[:, 0].max())
    for line, y in zip(lines, spread([line.y for line in lines], 1.9 * letters), strict=True):
        route = [(layout.grid.cross_x[-1], line.y), (edge, line.y), (edge + 2 * letters, y)]
        leaders.line(route)
        picture.write(words, labels[_near_twin(line)], edge + 2.5 * letters, y)


def _near_twin(line: LongLine) -> str:
    """Id of the line as far from the near edge as `line` is from its own."""
    return line.id.replace("far", "near")


def spread(places: Sequence[float], least: float) -> list[float]:
    """Rising `places` moved apart to at least `least`, together by as little as does it.

    Least squares: what stands too close is gathered into blocks that keep their own middle.
    """
    blocks: list[list[float]] = []
    for count, place in enumerate(places):
        blocks.append([place - count * least])
        while len(blocks) > 1 and _mean(blocks[-2]) >= _mean(blocks[-1]):
            last = blocks.pop()
            blocks[-1] += last
    moved = [_mean(block) for block in blocks for _ in block]
    return [place + count * least for count, place in enumerate(moved)]


def _mean(numbers: Sequence[float]) -> float:
    return sum(numbers) / len(numbers)


def _heavy(line: Stroke, pens: PensTable) -> str:
    """What heavy lines are on the cloth, where a picture can only draw them bold."""
    pen = pens.heavy
    width = f"heavy lines, {format_length(line.ink_width(pen), 'mm')} wide on the cloth"
    times = {2: "twice", 3: "three times"}.get(line.times(pen), f"{line.times(pen)} times")
    if line.times(pen) == 1:
        return width
    if line.beside:
        return f"{width}, drawn {times}, half a tip apart"
    return f"{width} and darker, being drawn {times} over the same line"


def _shows(plan: Plan | None) -> str:
    """What the picture is of, as its title says it."""
    if plan is None:
        return "the marking"
    return f"the sections for {plan.zone.manner.inked_by}"


def _draw_legend(
    picture: Picture, plan: Plan | None, anew: Mapping[str, Sequence[FloatArray]]
) -> None:
    layout, job = picture.layout, picture.job
    draw_title(picture, f"{job.title}: {_shows(plan)}")
    notes = picture.words("legend", NOTE_INK)
    lines = [
        f"{len(layout.grid.cross_x)} cross lines {format_length(job.grid.pitch, job.units)} apart; "
        "the near edge is at the bottom, the zero end at the left. Hem lines are blue in this "
        "picture only; beside each that is folded to: how far in from "
        f"{'its edge' if job.hems.counted_from == 'edge' else 'the first long line'}, and the hems."
    ]
    heavy = next((stroke for stroke in layout.strokes if stroke.pen == "heavy"), None)
    if heavy is not None:
        lines.append(f"Bold: {_heavy(heavy, job.pens)}.")
    if plan is not None:
        joins = f"{counted(len(plan.sections), 'section')}, {plan.columns} along by {plan.rows}"
        joins += " across" + (
            ", inked in the order of their numbers; dashed: joins."
            if len(plan.sections) > 1
            else "."
        )
        if plan.zone.turned and plan.zone.feed is None:
            joins += " Turn the device a quarter anticlockwise from its profile."
        if plan.ruled:
            joins += " Light grey: ruled by hand from stub to stub."
        lines += [joins, *set_down_legend(plan)]
        lines.append(
            "Locating marks: circle = inked crossing, x = removable tick, square = mark set out "
            "by tape." + (" Grey: out of everyone's reach." if plan.unreached else "")
        )
    if picture.in_air:
        lines.append(
            "Brown squares: a foot of the device stands over the table's edge there; it needs a "
            "board of the table's height under it."
        )
    if picture.ticks:
        lines.append(
            "Green ticks at the edges: marks on the table's own sides, which the printed lines are "
            "pulled onto; the report tells their readings and how."
        )
    if anew:
        lines.append(
            f"Broad red: inked anew, or to be ({', '.join(anew)}); canvasrule mend tells how far "
            "each is."
        )
    top = 9.4 + 2 * bool(anew) + 2 * (bool(picture.in_air) + bool(picture.ticks))
    for place, line in enumerate(lines):
        y = picture.artwork.box[1] + (top - 2.0 * place) * picture.letters
        picture.write(notes, line, 0.0, y)
