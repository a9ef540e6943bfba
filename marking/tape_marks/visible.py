"""Which marks each section can read, for any inking order, from where things lie.

It knows sections, the grid and tape marks, no readings. Two marks are kept at each join to a
section inked before, as far apart as both allow: inked crossings, else ticks. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import BadInputError
from marking.network.network import TAPE_SD, KnownMark
from marking.sections.joins import NEAR_TICK
from marking.sections.locating_marks import Mark, marks_below, marks_beside
from marking.sections.neighbours import border

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.arrays import BoolArray, Box, FloatArray, Spot
    from marking.layout.layout import Grid
    from marking.sections.locating_marks import MarkKind
    from marking.sections.plan import Plan, Section

_SAME = 1e-6


class Sights(Struct, frozen=True):
    """What there is to read, and who reads what."""

    order: tuple[str, ...]
    """Section ids as they are inked."""
    targets: Mapping[str, KnownMark]
    """By mark id."""
    seen: Mapping[str, tuple[str, ...]]
    """Mark ids by section id, in reading order: those asked for, where only some are."""


def sights(
    plan: Plan,
    grid: Grid,
    tape_marks: Sequence[Mark],
    order: Sequence[str] | None = None,
    tape_sd: float = TAPE_SD,
    read: Mapping[str, Sequence[str]] | None = None,
) -> Sights:
    """What each section of `plan` reads when inked in `order`; the plan's own unless given.

    In the plan's order these are the locating marks the plan lays; in any other, those that the
    same rules would lay. Each section also reads every tape mark inside its window. Where `read`
    names a section, it reads those of them alone, as often as they are named. Raises
    BadInputError for an order that is not one of all the sections.
    """
    sections = {section.id: section for section in plan.sections}
    own = tuple(sections)
    order = own if order is None else tuple(order)
    if sorted(order) != sorted(own):
        raise BadInputError("an inking order must name every section of the plan once")
    targets = {
        mark.id: KnownMark(mark, None, tape_sd)
        for mark in (*tape_marks, *(m for s in plan.sections for m in s.locating_marks))
        if mark.kind == "control"
    }
    if order == own:
        seen = _as_planned(plan, targets)
    else:
        seen = _in_order([sections[name] for name in order], grid, plan.zone.set_down, targets)
    at = np.array([mark.at_table for mark in tape_marks]).reshape(-1, 2)
    for section in plan.sections:
        reached = np.flatnonzero(_within(at, section, plan)).tolist()
        inside = [tape_marks[count].id for count in reached]
        seen[section.id] = tuple(dict.fromkeys((*seen[section.id], *inside)))
        if order == own and read and section.id in read:
            in_sight = set(seen[section.id])
            seen[section.id] = tuple(mark for mark in read[section.id] if mark in in_sight)
    return Sights(order, targets, seen)


def within(spot: Spot, section: Section, plan: Plan) -> bool:
    """Whether the section's device reaches `spot` however it is set down in its margin."""
    return bool(_within(np.array([spot]), section, plan)[0])


def _within(spots: FloatArray, section: Section, plan: Plan) -> BoolArray:
    x, y = spots.T
    x0, y0, x1, y1 = section.window
    keep = plan.zone.set_down
    along = (x0 + keep <= x) & (x <= x1 - keep)
    inside: BoolArray = along & (y0 + keep <= y) & (y <= y1 - keep)
    return inside


def inker(spot: Spot, sections: Iterable[Section]) -> str:
    """Id of the section whose core holds `spot`.

    Raises BadInputError when there is none.
    """
    x, y = spot
    for section in sections:
        x0, y0, x1, y1 = section.core
        if x0 - _SAME <= x <= x1 + _SAME and y0 - _SAME <= y <= y1 + _SAME:
            return section.id
    raise BadInputError(f"no section inks a mark at {x:.1f}, {y:.1f} mm")


def _as_planned(plan: Plan, targets: dict[str, KnownMark]) -> dict[str, tuple[str, ...]]:
    for section in plan.sections:
        for mark in section.locating_marks:
            if mark.id not in targets:
                targets[mark.id] = KnownMark(mark, inker(mark.at_table, plan.sections), 0.0)
    return {
        section.id: tuple(mark.id for mark in section.locating_marks) for section in plan.sections
    }


def _in_order(
    sections: Sequence[Section], grid: Grid, keep: float, targets: dict[str, KnownMark]
) -> dict[str, tuple[str, ...]]:
    ids: dict[Spot, str] = {}
    seen: dict[str, tuple[str, ...]] = {}
    for count, section in enumerate(sections):
        marks = []
        for inked in sections[:count]:
            for spot, kind in _across_join(section, inked, grid, keep):
                mark = ids.setdefault(spot, f"w{len(ids) + 1:03}")
                targets.setdefault(mark, KnownMark(Mark(mark, spot, kind), inked.id, 0.0))
                marks.append(mark)
        seen[section.id] = tuple(dict.fromkeys(marks))
    return seen


def _across_join(
    section: Section, inked: Section, grid: Grid, keep: float
) -> list[tuple[Spot, MarkKind]]:
    """Two marks of `inked` along its join with `section`, where the window reaches them."""
    join = border(section, inked)
    if join is None:
        return []
    x0, y0, x1, y1 = _common(inked.core, section.window, keep)
    pitch = grid.pitch
    if join[0] == join[2]:
        lines = grid.cross_x[(grid.cross_x >= x0) & (grid.cross_x <= x1)]
        if not lines.size:
            return []
        x = float(lines[np.abs(lines - join[0]).argmin()])
        low = max(y0, inked.core[1] + pitch[1] / 2)
        high = min(y1, inked.core[3])
        return marks_beside(grid, x, low, high, ticks=True) if low < y1 else []
    lines = np.array([line.y for line in grid.long_lines if y0 <= line.y <= y1])
    side = 1.0 if inked.core[1] >= join[1] - _SAME else -1.0
    y = join[1] + side * pitch[1] / 2
    if not y0 <= y <= y1:
        # Where the plan saves a section by it, ticks stand as near to the join as they may.
        y = join[1] + side * min(pitch[1] / 2, NEAR_TICK)
    if lines.size and np.abs(lines - join[1]).min() <= pitch[1]:
        y = float(lines[np.abs(lines - join[1]).argmin()])
    crossed = grid.cross_x[(grid.cross_x >= x0 - _SAME) & (grid.cross_x <= x1 + _SAME)]
    return marks_below(grid, y, crossed) if y0 - _SAME <= y <= y1 + _SAME else []


def _common(core: Box, window: Box, keep: float) -> Box:
    return (
        max(core[0], window[0] + keep),
        max(core[1], window[1] + keep),
        min(core[2], window[2] - keep),
        min(core[3], window[3] - keep),
    )
