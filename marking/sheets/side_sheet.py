"""The two sheets of one long side: how to stand and measure there, and every tick in its order.

It draws what `marking.hand` works out.
"""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

from msgspec import Struct

from marking.drawing.page import ACCENT, FAINT, INK, Page
from marking.drawing.typeface import text_width
from marking.hand.words import (
    check_steps,
    long_line_said,
    long_line_steps,
    numeral_steps,
    tick_steps,
)
from marking.layout.second_scale import other_unit
from marking.measures.tape import as_taped
from marking.sheets.parts import (
    EDGE,
    SMALL,
    TEXT,
    TICK,
    headed,
    rule_under,
    section,
    steps,
    steps_depth,
    tick_box,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from marking.drawing.page import PaperName
    from marking.hand.plan import ByHand
    from marking.hand.readings import CrossTick, SideWork
    from marking.job.keys import GridTable, MarkingJob
    from marking.layout.layout import Layout
    from marking.layout.lines import Side
    from marking.measures.lengths import Units

_COLUMNS = 4
_ROW, _HEAD, _APART = 4.2, 6.2, 1.5
"""mm from row to row, over the first row of a column, and from block to block."""
_BLOCK = 12
"""Ticks in a block where no line is heavy, or they are too far apart to make one."""
_SCALE_COLUMNS, _SCALE_BLOCK = 3, 10
"""Of a scale in the other unit, whose readings are longer."""
_FEWEST, _MOST = 5, 16
_LABEL = 9.0
"""mm from number to number along a side of the sketch, at least."""


def side_pages(
    work: SideWork, plan: ByHand, layout: Layout, job: MarkingJob, paper: PaperName
) -> list[Page]:
    """How to stand there, then the ticks."""
    title = f"{job.title}: {work.side} side"
    page, y = headed(paper, title, title, chapter=f"{work.side.capitalize()} side")
    y = _seen_from(page, work, layout, job.grid, y)
    y = section(page, "Ticks", y)
    y = steps(page, tick_steps(work, plan, layout, job), y)
    y = section(page, "Checks of the count", y - 1.5)
    y = steps(page, check_steps(work, plan, job.units), y)
    y = section(page, "Long lines: hems and folds", y - 1.5)
    y = steps(page, long_line_steps(work, plan, job), y)
    pages = [page]
    longs = _LongLines.of(work, plan, job.units)
    room = y - EDGE - 4
    abreast = 2 if longs.deep(1) > room >= longs.deep(2) and longs.narrow(page) else 1
    if longs.deep(abreast) > room:
        page, y = headed(paper, title, f"{title}, continued")
        pages.append(page)
    y = longs.drawn(page, y - 1.0, abreast)
    said = list(numeral_steps(work, plan, layout, job))
    if y - 3.0 - steps_depth(page, said) >= EDGE:
        steps(page, said, section(page, "Numerals", y - 2.5))
        said = []
    from_zero = f"The tape's 0 on the zero line, on your {work.zero_hand.upper()}. Work from 0 on."
    tried = [
        _TickColumns(
            f"{title}: ticks",
            f"{from_zero} Column {_other(work)}: the numeral at the other end.",
            count,
            partial(_heads, work=work, units=job.units),
            partial(_tick, work=work, plan=plan, units=job.units),
            said,
        ).pages(_blocks(plan.ticks, _size(job.grid)), paper, title)
        for count in _counts(plan, job.units, page)
    ]
    fewest = min(tried, key=len)
    pages += fewest
    if work.scale:
        columns = _TickColumns(
            f"{title}: ticks of the {other_unit(job.units)}",
            f"{from_zero} Column counts: what each tick stands for.",
            _SCALE_COLUMNS,
            partial(_scale_heads, units=job.units),
            partial(_scale_tick, work=work, plan=plan, units=job.units),
        )
        pages += columns.pages(_blocks(work.scale, _SCALE_BLOCK), paper, title)
    return pages


def _seen_from(page: Page, work: SideWork, layout: Layout, grid: GridTable, top: float) -> float:
    """The table as it is seen from this side, whoever stands there at the bottom."""
    corners = layout.top.corners_table
    low_x, low_y = map(float, corners.min(axis=0))
    length, width = map(float, corners.max(axis=0) - corners.min(axis=0))
    scale = min(120.0 / length, 29.0 / width)
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
    every = grid.heavy_every or _BLOCK
    apart = scale * abs(float(xs[-1] - xs[0])) * every / max(1, len(xs) - 1)
    step = every * math.ceil(_LABEL / apart)
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
    page.write(you, page.width / 2, base - 9.6, TEXT, align=0.5)
    way = 1.0 if near else -1.0
    page.line([(zero_x + 2.0 * way, foot + 6), (zero_x, foot + 1.2)], ACCENT, 0.5)
    barbs = [(zero_x - 0.4 * way, foot + 3), (zero_x, foot + 1.2), (zero_x + 1.9 * way, foot + 2.3)]
    page.line(barbs, ACCENT, 0.5)
    align = 0.0 if near else 1.0
    page.write("the tape's 0", zero_x + 2.0 * way, foot + 7.2, TEXT, align=align, colour=ACCENT)
    return base - 15.0


class _LongLines(Struct, frozen=True):
    """The long lines by their distance from the side's first one, and from its edge."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    """What stands under each head."""

    @classmethod
    def of(cls, work: SideWork, plan: ByHand, units: Units) -> _LongLines:
        """A row for each; the far end has a column of its own where the edge runs off."""

        def shown(reading: float) -> str:
            return as_taped(reading, plan.frame.tape, units)

        edges = [tuple(map(shown, line.from_edge)) for line in work.longs]
        crooked = any(one != other for one, other in edges)
        edge = f"from the {work.side} edge"
        heads = (f"{edge}, zero end", "at the far end") if crooked else (edge,)
        rows = [
            (
                shown(line.reading) if line.reading else "first long line",
                *(from_edge if crooked else from_edge[:1]),
                long_line_said(line, plan, units),
            )
            for line, from_edge in zip(work.longs, edges, strict=True)
        ]
        return cls(("from the first", *heads, "serves the side hems"), tuple(rows))

    def deep(self, abreast: int) -> float:
        """mm that they take, so many tables beside each other."""
        return (-(-len(self.rows) // abreast) + 1) * _LONG_ROW + 8.0

    def narrow(self, page: Page) -> bool:
        """Whether two tables have room beside each other."""
        widest = max(text_width(row[-1]) for row in self.rows) * SMALL
        return len(self.heads) == 3 and _TIGHT[1] + 3.0 + widest < page.width / 2 - EDGE - 3.0

    def drawn(self, page: Page, y: float, abreast: int) -> float:
        """Draws them; the y under them."""
        each = -(-len(self.rows) // abreast)
        wide = (page.width - 2 * EDGE) / abreast
        for place in range(abreast):
            rows = self.rows[place * each : (place + 1) * each]
            self._table(page, rows, EDGE + place * wide, y, wide - 3.0 * (abreast - 1))
        return y - each * _LONG_ROW - 5.0

    def _table(
        self, page: Page, rows: Sequence[tuple[str, ...]], x: float, y: float, wide: float
    ) -> None:
        stops = _WIDE if wide > 120.0 else _TIGHT
        ends = [x + stop for stop in stops[: len(self.heads) - 1]]
        serves = ends[-1] + 3.0
        size = 1.9 if stops is _WIDE else 1.7
        for at, head in zip(ends, self.heads[:-1], strict=True):
            page.write(head, at, y, size, align=1.0, colour=FAINT)
        page.write(self.heads[-1], serves, y, size, colour=FAINT)
        page.line([(x, y - 1.5), (x + wide, y - 1.5)], INK, 0.3)
        for row in rows:
            y -= _LONG_ROW
            tick_box(page, x, y)
            for at, words in zip(ends, row[:-1], strict=True):
                page.write(words, at, y, TEXT, align=1.0)
            page.write(row[-1], serves, y, TEXT if stops is _WIDE else SMALL)
            rule_under(page, x, x + wide, y - 1.3)


_LONG_ROW = 4.6
_WIDE, _TIGHT = (28.0, 64.0, 94.0), (24.0, 47.0)
"""Where the columns of figures end, in a table as wide as the page and in one of half of it."""


class _TickColumns(Struct, frozen=True):
    """Ticks in so many columns to a page, from the zero line on."""

    heading: str
    said: str
    count: int
    heads: Callable[[Page, float, float, float], None]
    """Writes what each column's figures are, from x and so wide, on the baseline y."""
    tick: Callable[[Page, CrossTick, float, float, float], None]
    """Draws one tick's row, likewise."""
    numerals: Sequence[str] = ()
    """How numerals are written, where the sheet before had no room for it."""

    def pages(self, blocks: list[TickBlock], paper: PaperName, title: str) -> list[Page]:
        """As many as they need; each block begins with a heavy line or a round number."""
        pages: list[Page] = []
        while blocks:
            heading = f"{self.heading}{', continued' if pages else ''}"
            page, y = headed(paper, title, heading)
            page.write(self.said, EDGE, y, TEXT)
            if self.numerals and not pages:
                y = steps(page, self.numerals, section(page, "Numerals", y - 7.0)) + 2.0
            y -= 3.0
            columns = _columns(blocks, y - EDGE, self.count)
            blocks = [block for column in columns[self.count :] for block in column]
            wide = (page.width - 2 * EDGE) / self.count
            for place, column in enumerate(columns[: self.count]):
                self._column(page, column, EDGE + place * wide, y, wide - 3.0)
            pages.append(page)
        return pages

    def _column(
        self, page: Page, blocks: Sequence[TickBlock], x: float, top: float, wide: float
    ) -> None:
        y = top - 4.0
        self.heads(page, x, y, wide)
        page.line([(x, y - 1.4), (x + wide, y - 1.4)], INK, 0.35)
        y = top - _HEAD + 0.4
        for place, block in enumerate(blocks):
            if place:
                page.line([(x, y - 0.9), (x + wide, y - 0.9)], INK, 0.25)
                y -= _APART
            for tick in block:
                y -= _ROW
                tick_box(page, x, y)
                self.tick(page, tick, x, y, wide)
                rule_under(page, x, x + wide, y - 0.9)


TickBlock = list["CrossTick"]


def _columns(blocks: Sequence[TickBlock], room: float, count: int) -> list[list[TickBlock]]:
    """Whole blocks to a column; parted evenly where that saves a page."""
    whole: list[list[TickBlock]] = []
    for block in blocks:
        if not whole or _column_depth([*whole[-1], block]) > room:
            whole.append([])
        whole[-1].append(block)
    for pages in range(1, -(-len(whole) // count)):
        parted = _evenly(blocks, pages * count)
        if max(map(_column_depth, parted)) <= room:
            return parted
    return whole


def _evenly(blocks: Sequence[TickBlock], count: int) -> list[list[TickBlock]]:
    """As many ticks in each of `count` columns, a block going on in the next where it has to."""
    most = -(-sum(map(len, blocks)) // count)
    columns: list[list[TickBlock]] = [[]]
    for block in blocks:
        left = block
        while left:
            room = most - sum(map(len, columns[-1]))
            if not room:
                columns.append([])
                continue
            columns[-1].append(left[:room])
            left = left[room:]
    return columns


def _column_depth(blocks: Sequence[TickBlock]) -> float:
    return _HEAD + sum(map(len, blocks)) * _ROW + (len(blocks) - 1) * _APART


def _size(grid: GridTable) -> int:
    """Ticks in a block, so that each begins with a heavy line."""
    every = grid.heavy_every
    return every if _FEWEST <= every <= _MOST else _BLOCK


def _blocks(ticks: Sequence[CrossTick], size: int) -> list[TickBlock]:
    blocks: list[TickBlock] = []
    for tick in ticks:
        if not blocks or (tick.name.isdigit() and int(tick.name) % size == 0):
            blocks.append([])
        blocks[-1].append(tick)
    return blocks


def _other(work: SideWork) -> Side:
    return "far" if work.side == "near" else "near"


def _stops(x: float, wide: float) -> tuple[float, float, float, float]:
    """Where the reading ends, the numeral begins, and the two last columns end."""
    return x + wide - 23.8, x + wide - 22.0, x + wide - 7.0, x + wide


def _counts(plan: ByHand, units: Units, page: Page) -> tuple[int, ...]:
    """How many columns may be tried: fewer where the longest reading does not stand beside its box
    in full size."""
    longest = max(text_width(_reads(tick.reading, plan, units)) for tick in plan.ticks) * TEXT
    wide = (page.width - 2 * EDGE) / _COLUMNS - 3.0
    return (_COLUMNS,) if longest <= _room(0.0, wide) else (_COLUMNS - 1, _COLUMNS)


def _room(x: float, wide: float) -> float:
    """mm for a reading, between the H beside its box and the numeral."""
    return _stops(x, wide)[0] - x - TICK - 3.2


def _reads(reading: float, plan: ByHand, units: Units) -> str:
    """What the tape shows; the head of its column has the unit."""
    return as_taped(reading, plan.frame.tape, units).removesuffix(f" {units}")


def _heads(page: Page, x: float, y: float, wide: float, *, work: SideWork, units: Units) -> None:
    reads, write, begin, across = _stops(x, wide)
    page.write(f"tape reads, {units}", reads, y, 1.8, align=1.0, colour=FAINT)
    page.write("write", write, y, 1.8, colour=FAINT)
    page.write("begin", begin, y, 1.8, align=1.0, colour=FAINT)
    page.write(_other(work), across, y, 1.8, align=1.0, colour=FAINT)


def _tick(
    page: Page,
    tick: CrossTick,
    x: float,
    y: float,
    wide: float,
    *,
    work: SideWork,
    plan: ByHand,
    units: Units,
) -> None:
    reads, write, begin, across = _stops(x, wide)
    other = _other(work)
    reading = _reads(tick.reading, plan, units)
    size = min(TEXT, _room(x, wide) / text_width(reading))
    page.write(reading, reads, y, size, align=1.0)
    _numeral(page, tick, work, (write, begin, y))
    if work.side not in tick.numerals and not tick.name.isdigit():
        page.write(tick.name, write, y, 1.9)
    if tick.heavy:
        page.write("H", x + TICK + 0.7, y, 2.0)
    there = tick.numerals[other].text if other in tick.numerals else "-"
    page.write(there, across, y, 2.0, align=1.0, colour=FAINT)


def _numeral(page: Page, tick: CrossTick, work: SideWork, at: tuple[float, float, float]) -> None:
    """The numeral to write at a tick, if any, and how far to the left of it, as who stands there
    sees it, its ink begins; `at` is where the one starts and the other ends, and their baseline."""
    numeral = tick.numerals.get(work.side)
    if numeral is not None:
        write, begin, y = at
        x0, _, x1, _ = numeral.box_table
        before = tick.x - x0 if work.side == "near" else x1 - tick.x
        page.write(numeral.text, write, y, 3.0)
        page.write(f"{before:.1f}", begin, y, 1.9, align=1.0)


def _scale_stops(x: float, wide: float) -> tuple[float, float, float, float]:
    """Where the count and the reading end, the numeral begins, and the last column ends."""
    return x + 12.0, x + 34.0, x + 36.0, x + wide


def _scale_heads(page: Page, x: float, y: float, wide: float, *, units: Units) -> None:
    counts, reads, write, begin = _scale_stops(x, wide)
    for head, right in (("counts", counts), (f"tape reads, {units}", reads), ("begin", begin)):
        page.write(head, right, y, 1.8, align=1.0, colour=FAINT)
    page.write("write", write, y, 1.8, colour=FAINT)


def _scale_tick(
    page: Page,
    tick: CrossTick,
    x: float,
    y: float,
    wide: float,
    *,
    work: SideWork,
    plan: ByHand,
    units: Units,
) -> None:
    counts, reads, write, begin = _scale_stops(x, wide)
    page.write(tick.name, counts, y, 2.0, align=1.0, colour=FAINT)
    page.write(_reads(tick.reading, plan, units), reads, y, 2.4, align=1.0)
    _numeral(page, tick, work, (write, begin, y))
