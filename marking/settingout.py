"""Which control marks to set out, and how often to read them: what a forecast can choose among.

Setting out is the surveyor's word for putting marks where a plan says. It knows the grid and
the plan's seams, no readings. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from marking.witness import Mark

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from marking.layout import Grid
    from marking.orders import OrderName
    from marking.sections import Plan

    FloatArray = NDArray[np.float64]

SECONDS_A_MARK = 60.0
"""To set one mark by tape; our estimate, no source."""
SECONDS_A_READING = 15.0
"""To bring the pen onto one mark; our estimate, no source."""


@dataclass(frozen=True)
class SettingOut:
    """Control marks by rule, how often each mark is read, and the inking order."""

    spacing: float
    """Along both long edges, in mm; each mark stands on a cross line."""
    ends: bool
    """Whether marks stand along both end lines too, at the same spacing."""
    seam_rows: int
    """Rows of marks along every n-th seam between rows of sections; 0 for none."""
    repeats: int = 1
    order: OrderName = "near to far"

    def __str__(self) -> str:
        where = f"every {self.spacing:.0f} mm along both long edges"
        if self.ends:
            where += " and both end lines"
        if self.seam_rows:
            every = "each seam" if self.seam_rows == 1 else f"one seam in {self.seam_rows}"
            where += f", and along {every} between rows"
        times = "once" if self.repeats == 1 else f"{self.repeats} times"
        return f"marks {where}; each mark read {times}; inked {self.order}"


def control_marks(plan: Plan, grid: Grid, chosen: SettingOut) -> tuple[Mark, ...]:
    """The control marks of `chosen`: c01, c02… from the near edge, each row from the zero line."""
    spots = sorted(set(_spots(plan, grid, chosen)), key=lambda spot: (spot[1], spot[0]))
    digits = max(2, len(str(len(spots))))
    return tuple(
        Mark(f"c{count:0{digits}}", spot, "control") for count, spot in enumerate(spots, 1)
    )


def together(marks: Iterable[Mark], more: Iterable[Mark]) -> tuple[Mark, ...]:
    """`marks`, and those of `more` that stand elsewhere, under ids that are free."""
    kept = list(marks)
    places = {_rounded(mark.at_table) for mark in kept}
    ids = {mark.id for mark in kept}
    count = len(kept)
    for mark in more:
        if _rounded(mark.at_table) in places:
            continue
        count += 1
        while f"c{count:02}" in ids:
            count += 1
        kept.append(Mark(f"c{count:02}", mark.at_table, "control"))
        places.add(_rounded(mark.at_table))
        ids.add(f"c{count:02}")
    return tuple(kept)


def _rounded(spot: tuple[float, float]) -> tuple[int, int]:
    return round(spot[0] * 1000), round(spot[1] * 1000)


def _spots(plan: Plan, grid: Grid, chosen: SettingOut) -> Iterator[tuple[float, float]]:
    xs = _every(grid.cross_x, chosen.spacing, grid.pitch[0])
    near, far = grid.long_lines[0].y, grid.long_lines[-1].y
    rows = [near, far]
    if chosen.seam_rows:
        rows += row_seams(plan)[:: chosen.seam_rows]
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


def row_seams(plan: Plan) -> list[float]:
    """Where the seams between rows run; every other one when taken so is the middle ones."""
    return sorted({section.core[1] for section in plan.sections if section.row > 1})
