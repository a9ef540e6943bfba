"""A roll takes loose canvas through its carriage, whole, before it is stretched on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from devices.programs.files import program
from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.output.report import section_table
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    from devices.job import Job
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob

ROLL = {"profile": "roll-36"}


def planned(make_job: MakeJob, **tables: Any) -> tuple[Job, Plan]:
    job = make_job({"plotter": ROLL, **tables})
    return job, divide_into_sections(lay_out(job), job, job.plotter.zone)


@pytest.mark.parametrize("width", ["58 in", "64 in", "36 1/16 in"])
def test_a_cover_wider_than_the_carriage_takes_is_refused_with_what_would_do(
    make_job: MakeJob, width: str
) -> None:
    with pytest.raises(RefusedError) as refused:
        planned(make_job, table={"length": "150 in", "width": width})
    said = str(refused.value)
    assert f"takes canvas 36 in wide, and this cover is {width} wide" in said
    for would_do in (f"a carriage that takes {width}", "flatbed-24x36", "--for reach"):
        assert would_do in said


def test_a_marking_wider_than_the_pen_travels_is_refused_too(make_job: MakeJob) -> None:
    """36 in of canvas go through, but the pen travels 34 in across it."""
    table = {"length": "150 in", "width": "36 in"}
    grid = {"margin": "5/8 in"}
    with pytest.raises(RefusedError, match="inks 33 3/4 in of the canvas's width"):
        planned(make_job, table=table, grid=grid, hems={"depth": "3 in"})


def test_canvas_that_is_fed_in_sideways_is_said_to_be(make_job: MakeJob) -> None:
    """A short wide cover goes through with its length along the carriage."""
    job, plan = planned(make_job, table={"length": "33 in", "width": "60 in"})
    assert plan.zone.turned
    assert len(plan.sections) == 1
    assert "It goes in sideways" in "\n".join(section_table(plan, job, lay_out(job)))
    _, bed = program(plan.sections[0], job.plotter, job.pens)
    assert abs(bed.to_bed[0, 1]) == 1, "the feed must run across the table"


def test_what_a_roll_is_told_is_canvas_fed_loose_and_no_set_down(make_job: MakeJob) -> None:
    table = {"length": "150 in", "width": "33 in"}
    job, plan = planned(make_job, table=table)
    said = "\n".join(section_table(plan, job, lay_out(job)))
    assert "loose, before it is stretched on" in said
    assert "drawn thread" in said
    assert "et the device down" not in said
    assert "| no. | section | fed to |" in said
    assert any("stretch_length and stretch_width" in warning for warning in plan.warnings)
    _, told = planned(make_job, table=table, cloth={"stretch_length": "1 %"})
    assert not any("stretch_length" in warning for warning in told.warnings)


def test_a_stretched_cover_goes_through_as_wide_as_it_lies_slack(make_job: MakeJob) -> None:
    """36 1/4 in stretched by 2 % is 35.5 in of loose canvas."""
    table = {"length": "60 in", "width": "36 1/4 in"}
    grid = {"margin": "2 1/2 in"}
    cloth = {"stretch_width": "2 %"}
    assert planned(make_job, table=table, grid=grid, cloth=cloth)[1].sections
    with pytest.raises(RefusedError, match="carriage takes"):
        planned(make_job, table=table, grid=grid)
