"""The two sheets of one long side: how to stand and measure there, and every tick in its order.

It draws what `marking.hand` works out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from marking.drawing.page import ACCENT, FAINT, INK, Page
from marking.hand.words import (
    check_steps,
    long_line_steps,
    numeral_steps,
    other_unit,
    tick_steps,
)
from marking.measures.tape import as_taped
from marking.sheets.parts import EDGE, TEXT, TICK, headed, rule_under, section, steps, tick_box

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from marking.drawing.page import Paper
    from marking.hand.plan import ByHand
    from marking.hand.readings import CrossTick, SideWork
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.layout.lines import Side
    from marking.layout.numerals import Numeral

    _Draw = Callable[[Page, Sequence[CrossTick], tuple[float, float], float], None]

_COLUMNS = 4
_ROW, _HEAD = 4.2, 6.2
"""mm from row to row, and over the first row of a block."""
_BLOCK = 12
"""Ticks in a block where no line is heavy, or they are too far apart to make one."""
_SCALE_COLUMNS, _SCALE_BLOCK = 3, 10
"""Of a scale in the other unit, whose readings are longer."""
_FEWEST, _MOST = 5, 16
_LABELS = 13
"""Numbers along a side of the sketch, at most."""


def side_pages(
    work: SideWork, plan: ByHand, layout: Layout, job: MarkingJob, paper: Paper
) -> list[Page]:
    """How to stand there, then the ticks."""
    title = f"{job.title}: {work.side} side"
    page, y = headed(paper, title, title, chapter=f"{work.side.capitalize()} side")
    y = _seen_from(page, work, layout, job, y)
    y = section(page, "Ticks", y)
    y = steps(page, tick_steps(work, plan, layout, job), y)
    y = section(page, "Checks of the count", y - 1.5)
    y = steps(page, check_steps(work, plan, job.units), y)
    y = section(page, "Long lines: hems and folds", y - 1.5)
    y = steps(page, long_line_steps(work, plan, job), y)
    pages = [page]
    if y - _long_height(work) < EDGE + 4:
        page, y = headed(paper, title, f"{title}, continued")
        pages.append(page)
    y = _long_lines(page, work, plan, job, y - 1.0)
    said = list(numeral_steps(work, layout, job))
    if y < EDGE + (42 if work.scale else 26):
        page, y = headed(paper, title, f"{title}, continued")
        pages.append(page)
    y = section(page, "Numerals", y - 2.5)
    steps(page, said, y)
    from_zero = f"The tape's 0 on the zero line, on your {work.zero_hand.upper()}. Work from 0 on."
    said_of_lines = f"{from_zero} Column {_other(work)}: the numeral at the other end."
    lines = _Table(f"{title}: ticks", said_of_lines, _COLUMNS, _blocks(plan.ticks, _size(job)))
    pages += _tick_pages(lines, paper, title, partial(_block, work=work, plan=plan, job=job))
    if work.scale:
        unit = other_unit(job)
        said_of_scale = f"{from_zero} Count these aloud; column counts: what each tick is."
        blocks = _blocks(work.scale, _SCALE_BLOCK)
        scale = _Table(f"{title}: ticks of the {unit}", said_of_scale, _SCALE_COLUMNS, blocks)
        draw = partial(_scale_block, work=work, plan=plan, job=job)
        pages += _tick_pages(scale, paper, title, draw)
    return pages


@dataclass(frozen=True)
class _Table:
    """Ticks by blocks, in so many columns to a page, and what is said over them."""

    heading: str
    said: str
    columns: int
    blocks: Sequence[Sequence[CrossTick]]


def _seen_from(page: Page, work: SideWork, layout: Layout, job: MarkingJob, top: float) -> float:
    """The table as it is seen from this side, whoever stands there at the bottom."""
    corners = layout.top.corners_table
    low_x, low_y = map(float, corners.min(axis=0))
    length, width = map(float, corners.max(axis=0) - corners.min(axis=0))
    scale = min(120.0 / length, 34.0 / width)
    left, base = page.width / 2 - scale * length / 2, top - scale * width - 2.0
    near = work.side == "near"

    def at(x: float, y: float) -> tuple[float, float]:
        across, up = (x - low_x, y - low_y) if near else (length - x + low_x, width - y + low_y)
        return left + scale * across, base + scale * up

    rim = [at(x, y) for x, y in corners.tolist()]
    page.line([*rim, rim[0]], FAINT, 0.4)
    lines = layout.grid.long_lines
    mine, others = (lines[0].y, lines[-1].y) if near else (lines[-1].y, lines[0].y)
    xs = layout.grid.cross_x
    page.line([at(float(xs[0]), mine), at(float(xs[0]), others)], INK, 0.5)
    page.line([at(float(xs[0]), mine), at(float(xs[-1]), mine)], INK, 0.9)
    page.line([at(float(xs[-1]), mine), at(float(xs[-1]), others)], INK, 0.2)
    page.line([at(float(xs[0]), others), at(float(xs[-1]), others)], INK, 0.2)
    every = job.grid.heavy_every or _BLOCK
    step = every * max(1, -(-len(xs) // every // _LABELS))
    for side, y in (("near", lines[0].y), ("far", lines[-1].y)):
        away = -5.6 if (side == work.side) else 2.2
        for number in range(0, len(xs), step):
            x, up = at(float(xs[number]), y)
            page.line([(x, up - 0.8), (x, up + 0.8)], INK, 0.25)
            page.write(f"{number}", x, up + away, 2.0, align=0.5)
    zero_x, foot = at(float(xs[0]), mine)
    words = ("zero end", "far end") if near else ("far end", "zero end")
    page.write(words[0], left - 3, base + scale * width / 2, TEXT, align=1.0)
    page.write(words[1], left + scale * length + 3, base + scale * width / 2, TEXT)
    you = f"you stand here, at the {work.side} edge"
    page.write(you, page.width / 2, base - 8.2, TEXT, align=0.5)
    way = 1.0 if near else -1.0
    page.line([(zero_x + 2.0 * way, foot + 6), (zero_x, foot + 1.2)], ACCENT, 0.5)
    barbs = [(zero_x - 0.4 * way, foot + 3), (zero_x, foot + 1.2), (zero_x + 1.9 * way, foot + 2.3)]
    page.line(barbs, ACCENT, 0.5)
    align = 0.0 if near else 1.0
    page.write("the tape's 0", zero_x + 2.0 * way, foot + 7.2, TEXT, align=align, colour=ACCENT)
    return base - 13.5


def _long_height(work: SideWork) -> float:
    return (len(work.longs) + 1) * 4.6 + 8.0


def _long_lines(page: Page, work: SideWork, plan: ByHand, job: MarkingJob, y: float) -> float:
    """The long lines by their distance from the side's first one, and from its edge."""
    tape = plan.frame.tape

    def shown(reading: float) -> str:
        return as_taped(reading, tape, job.units)

    x = EDGE
    crooked = any(shown(one) != shown(other) for one, other in (w.from_edge for w in work.longs))
    columns = [x + 28.0, x + 64.0] + ([x + 94.0] if crooked else [])
    edge = f"from the {work.side} edge"
    heads = ["from the first", f"{edge}, zero end" if crooked else edge, "at the far end"]
    for at, head in zip(columns, heads, strict=False):
        page.write(head, at, y, 1.9, align=1.0, colour=FAINT)
    page.write("serves the side hems", columns[-1] + 6.0, y, 1.9, colour=FAINT)
    page.line([(x, y - 1.5), (page.width - EDGE, y - 1.5)], INK, 0.3)
    for line in work.longs:
        y -= 4.6
        tick_box(page, x, y)
        first = line.reading == 0
        name = "first long line" if first else shown(line.reading)
        page.write(name, columns[0], y, TEXT, align=1.0)
        for at, reading in zip(columns[1:], line.from_edge, strict=False):
            page.write(shown(reading), at, y, TEXT, align=1.0)
        page.write(", ".join(line.serves), columns[-1] + 6.0, y, TEXT)
        rule_under(page, x, page.width - EDGE, y - 1.3)
    return y - 6.0


def _tick_pages(table: _Table, paper: Paper, title: str, draw: _Draw) -> list[Page]:
    """Every tick from the zero line on."""
    blocks = list(table.blocks)
    deep = _HEAD + max(map(len, blocks)) * _ROW + 2.0
    pages: list[Page] = []
    while blocks:
        heading = f"{table.heading}{', continued' if pages else ''}"
        page, y = headed(paper, title, heading)
        page.write(table.said, EDGE, y, TEXT)
        y -= 3.0
        each = max(1, int((y - EDGE) / deep))
        shown, blocks = blocks[: each * table.columns], blocks[each * table.columns :]
        wide = (page.width - 2 * EDGE) / table.columns
        for place, block in enumerate(shown):
            column, row = divmod(place, each)
            draw(page, block, (EDGE + column * wide, y - row * deep), wide - 3.0)
        pages.append(page)
    return pages


def _size(job: MarkingJob) -> int:
    """Ticks in a block, so that each begins with a heavy line."""
    every = job.grid.heavy_every
    return every if _FEWEST <= every <= _MOST else _BLOCK


def _blocks(ticks: Sequence[CrossTick], size: int) -> list[list[CrossTick]]:
    blocks: list[list[CrossTick]] = []
    for tick in ticks:
        if not blocks or (tick.name.isdigit() and int(tick.name) % size == 0):
            blocks.append([])
        blocks[-1].append(tick)
    return blocks


def _other(work: SideWork) -> Side:
    return "far" if work.side == "near" else "near"


def _block(
    page: Page,
    block: Sequence[CrossTick],
    at: tuple[float, float],
    wide: float,
    *,
    work: SideWork,
    plan: ByHand,
    job: MarkingJob,
) -> None:
    x, y = at
    reads, write, begin, across = x + 21.5, x + 22.8, x + wide - 6.0, x + wide
    y -= 4.0
    page.write("tape reads", reads, y, 1.8, align=1.0, colour=FAINT)
    page.write("write", write, y, 1.8, colour=FAINT)
    page.write("begin", begin, y, 1.8, align=1.0, colour=FAINT)
    page.write(_other(work), across, y, 1.8, align=1.0, colour=FAINT)
    page.line([(x, y - 1.4), (x + wide, y - 1.4)], INK, 0.35)
    y = at[1] - _HEAD + 0.4
    other = _other(work)
    for tick in block:
        y -= _ROW
        tick_box(page, x, y)
        page.write(as_taped(tick.reading, plan.frame.tape, job.units), reads, y, 2.4, align=1.0)
        own = tick.numerals.get(work.side)
        if own is not None:
            page.write(own.text, write, y, 3.0)
            page.write(f"{_before(tick, own, work):.1f}", begin, y, 1.9, align=1.0)
        elif not tick.name.isdigit():
            page.write(tick.name, write, y, 1.9)
        if tick.heavy:
            page.write("H", x + TICK + 0.7, y, 2.0)
        there = tick.numerals[other].text if other in tick.numerals else "-"
        page.write(there, across, y, 2.0, align=1.0, colour=FAINT)
        rule_under(page, x, x + wide, y - 0.9)


def _before(tick: CrossTick, numeral: Numeral, work: SideWork) -> float:
    """How far to the left of its tick, as who stands there sees it, a numeral's ink begins."""
    x0, _, x1, _ = numeral.box_table
    return tick.x - x0 if work.side == "near" else x1 - tick.x


def _scale_block(
    page: Page,
    block: Sequence[CrossTick],
    at: tuple[float, float],
    wide: float,
    *,
    work: SideWork,
    plan: ByHand,
    job: MarkingJob,
) -> None:
    x, y = at
    counts, reads, write, begin = x + 12.0, x + 34.0, x + 36.0, x + wide
    y -= 4.0
    for head, right in (("counts", counts), ("tape reads", reads), ("begin", begin)):
        page.write(head, right, y, 1.8, align=1.0, colour=FAINT)
    page.write("write", write, y, 1.8, colour=FAINT)
    page.line([(x, y - 1.4), (x + wide, y - 1.4)], INK, 0.35)
    y = at[1] - _HEAD + 0.4
    for tick in block:
        y -= _ROW
        tick_box(page, x, y)
        page.write(tick.name, counts, y, 2.0, align=1.0, colour=FAINT)
        page.write(as_taped(tick.reading, plan.frame.tape, job.units), reads, y, 2.4, align=1.0)
        own = tick.numerals.get(work.side)
        if own is not None:
            page.write(own.text, write, y, 3.0)
            page.write(f"{_before(tick, own, work):.1f}", begin, y, 1.9, align=1.0)
        rule_under(page, x, x + wide, y - 0.9)
