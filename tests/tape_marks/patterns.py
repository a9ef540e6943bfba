"""Tape marks by rule and other inking orders, for tests that need marks and no tape."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from marking.sections.locating_marks import Mark
from marking.tape_marks.marks import row_joins

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.arrays import FloatArray
    from marking.layout.layout import Grid
    from marking.sections.plan import Plan, Section


OrderName = Literal["near to far", "outer rows first", "column by column"]
ORDERS: tuple[OrderName, ...] = ("near to far", "outer rows first", "column by column")


class SettingOut(Struct, frozen=True):
    """Which tape marks."""

    spacing: float
    """Along both long edges, in mm; each mark stands on a cross line."""
    ends: bool
    """Whether marks stand along both end lines too, at the same spacing."""
    join_rows: int
    """Rows of marks along every n-th join between rows of sections; 0 for none."""


def tape_marks(plan: Plan, grid: Grid, chosen: SettingOut) -> tuple[Mark, ...]:
    """The tape marks of `chosen`: c01, c02… from the near edge, each row from the zero line."""
    spots = sorted(set(_spots(plan, grid, chosen)), key=lambda spot: (spot[1], spot[0]))
    digits = max(2, len(str(len(spots))))
    return tuple(
        Mark(f"c{count:0{digits}}", spot, "control") for count, spot in enumerate(spots, 1)
    )


def _spots(plan: Plan, grid: Grid, chosen: SettingOut) -> Iterator[tuple[float, float]]:
    xs = _every(grid.cross_x, chosen.spacing, grid.pitch[0])
    near, far = grid.long_lines[0].y, grid.long_lines[-1].y
    rows = [near, far]
    if chosen.join_rows:
        rows += row_joins(plan)[:: chosen.join_rows]
    for y in rows:
        yield from ((x, float(y)) for x in xs)
    if chosen.ends:
        count = max(1, round((far - near) / chosen.spacing))
        for y in np.linspace(near, far, count + 1)[1:-1].tolist():
            yield xs[0], y
            yield xs[-1], y


def _every(cross_x: FloatArray, spacing: float, pitch: float) -> list[float]:
    """Cross lines about `spacing` apart, the zero line and the last among them."""
    step = max(1, round(spacing / pitch))
    chosen: list[float] = cross_x[::step].tolist()
    last = float(cross_x[-1])
    return chosen if chosen[-1] == last else [*chosen, last]


def inking_order(plan: Plan, name: OrderName) -> tuple[str, ...]:
    """Section ids of `plan` in the order called `name`; "near to far" is the plan's own."""
    if name == "near to far":
        return tuple(section.id for section in plan.sections)
    last = plan.rows

    def outer(section: Section) -> tuple[int, int, int]:
        from_edge = min(section.row - 1, last - section.row)
        return from_edge, section.row, section.column

    def column(section: Section) -> tuple[int, int, int]:
        return section.column, section.row, 0

    key = outer if name == "outer rows first" else column
    return tuple(section.id for section in sorted(plan.sections, key=key))
