"""Chosen marks and readings as a plan of the independent model of whole covers, for tests."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.ways import cover_model

if TYPE_CHECKING:
    from collections.abc import Mapping

    from marking.layout.layout import Layout
    from marking.network.fence import Clamping
    from marking.sections.plan import Plan
    from marking.tape_marks.marks import TapeMarks
    from marking.tape_marks.visible import Sights


def as_cover_plan(
    layout: Layout,
    plan: Plan,
    control: TapeMarks,
    sights: Sights,
    fences: Mapping[str, Clamping] | None = None,
) -> cover_model.Plan:
    """The same windows, marks, readings and clampings; lines in the frame of the table."""
    fences = fences or {}
    clamped = list(dict.fromkeys(fences.values()))
    placed = [one for one in control.marks if one.line == "row"]
    rows = {row.letter: count for count, row in enumerate(control.rows)}
    number = {one.mark.id: count for count, one in enumerate(placed)}
    order = {name: count for count, name in enumerate(sights.order)}
    sections = [
        cover_model.Section(
            one.id,
            one.row,
            one.column,
            one.core,
            one.window,
            clamped.index(fences[one.id]) if one.id in fences else None,
        )
        for one in plan.sections
    ]
    readings = []
    for name in sights.order:
        for mark in sights.seen[name]:
            target = sights.targets[mark]
            if target.inked_by is None:
                readings.append(cover_model.Reading(order[name], mark=number[mark]))
            else:
                of, at = order[target.inked_by], target.mark.at_table
                readings.append(cover_model.Reading(order[name], of=of, at=at))
    return cover_model.Plan(
        sections,
        [
            cover_model.Mark(one.mark.at_table, rows[one.mark.id.rstrip("0123456789")])
            for one in placed
        ],
        readings,
        [
            cover_model.Clamping(
                one.x0,
                one.x1,
                (number[one.set_to[0]], number[one.set_to[1]]) if one.set_to else None,
            )
            for one in clamped
        ],
        float(np.ptp(layout.grid.cross_x)) + 2 * cover_model.INCH,
        layout.grid.cross_x,
        np.array([line.y for line in layout.grid.long_lines]),
    )
