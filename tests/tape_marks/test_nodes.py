"""Where marks stand so that as many sections as can be read them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone
from marking.tape_marks.nodes import nodes
from marking.tape_marks.visible import within
from tests.placement.inking import millrace

if TYPE_CHECKING:
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan


@pytest.fixture(scope="module", params=["flatbed-a3", "flatbed-24x36"])
def bench(request: pytest.FixtureRequest) -> tuple[Layout, Plan]:
    return millrace(request.param)


def test_each_corner_of_the_sections_has_a_node_that_all_round_it_reach(
    bench: tuple[Layout, Plan],
) -> None:
    layout, plan = bench
    found = nodes(plan, layout.grid, "in")
    assert len(found) == (plan.columns + 1) * (plan.rows + 1)
    sections = {section.id: section for section in plan.sections}
    # Inside four sections meet, along an edge two, at a corner one; and no other reaches in.
    inside = (plan.columns - 1) * (plan.rows - 1)
    assert [len(node.sections) for node in found].count(4) == inside
    for node in found:
        reached = {name for name, one in sections.items() if within(node.at_table, one, plan)}
        assert reached == set(node.sections)


def test_nodes_stand_on_bare_cloth_at_plain_figures_from_zero(bench: tuple[Layout, Plan]) -> None:
    layout, plan = bench
    grid = layout.grid
    for node in nodes(plan, grid, "in"):
        x, y = node.at_table
        assert np.abs(grid.cross_x - x).min() > 4.0
        assert min(abs(line.y - y) for line in grid.long_lines) > 4.0
        for along, zero in ((x, grid.cross_x[0]), (y, grid.long_lines[0].y)):
            quarters = (along - zero) / 6.35
            assert quarters >= 0, "a tape shows nothing below its zero"
            assert quarters == pytest.approx(round(quarters), abs=1e-6)


def test_where_rows_do_not_overlap_each_has_nodes_of_its_own(make_job) -> None:
    job = make_job({"table": {"length": "60 in", "width": "64 in"}, "reach": {"depth": "20 in"}})
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, reach_zone(job.reach))
    found = nodes(plan, layout.grid, "in")
    sections = {section.id: section for section in plan.sections}
    rows = {node.at_table[1] for node in found}
    assert len(rows) == 2 * plan.rows
    for node in found:
        assert len({sections[name].row for name in node.sections}) == 1
