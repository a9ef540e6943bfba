"""Every stock profile, put into a job the way its reader would."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from devices.job import Job
from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from marking.shipped_files import stock_names

if TYPE_CHECKING:
    from tests.conftest import MakeJob

NARROW: dict[str, dict[str, Any]] = {
    "desk-a3": {
        "table": {"length": "72 in", "width": "11 in"},
        "hems": {"depth": "2 in", "folds": []},
    }
}
"""What goes through an opening that no table's cover goes through."""
SMALL: dict[str, Any] = {"length": "72 in", "width": "30 in"}


@pytest.mark.parametrize("name", stock_names("tables"))
def test_every_stock_table_can_be_laid_out(make_job: MakeJob, name: str) -> None:
    job = make_job({"table": {"profile": name}})
    assert lay_out(job).legibility is not None


@pytest.mark.parametrize("name", stock_names("plotters"))
def test_a_small_table_can_be_cut_for_every_stock_plotter(make_job: MakeJob, name: str) -> None:
    job = make_job({"table": SMALL, "plotter": {"profile": name}})
    if name in NARROW:
        with pytest.raises(RefusedError, match="takes canvas 11 13/16 in wide"):
            divide_into_sections(lay_out(job), job, job.plotter.zone)
        job = make_job({**NARROW[name], "plotter": {"profile": name}})
    assert divide_into_sections(lay_out(job), job, job.plotter.zone).sections


@pytest.mark.parametrize("name", stock_names("projectors"))
def test_every_stock_projector_can_be_named_in_a_job(make_job: MakeJob, name: str) -> None:
    assert isinstance(make_job({"table": SMALL, "projector": {"profile": name}}), Job)


@pytest.mark.parametrize("name", stock_names("pens"))
def test_every_stock_pen_can_draw_the_lines(make_job: MakeJob, name: str) -> None:
    job = make_job({"table": SMALL, "pens": {"lines": {"profile": name}}})
    assert lay_out(job).strokes
