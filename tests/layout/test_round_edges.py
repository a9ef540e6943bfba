"""A padded edge is round: what curves away keeps free of ink, whatever else is asked.

That a padded edge is measured from a batten held to it, or from the bare board, is common practice,
no source. Outlines of ink are shapely's (docs: `LineString.buffer`, `Polygon.covers`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, box

from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.record.record import layout_hash
from marking.sections.plan import divide_into_sections
from marking.sections.under_the_feet import standings

if TYPE_CHECKING:
    from devices.job import Job
    from tests.conftest import MakeJob

INCH = 25.4


def job_with(make_job: MakeJob, radius: str, margin: str, **table: Any) -> Job:
    return make_job(
        {
            "schema": 1,
            "table": {"length": "20 in", "width": "16 in", "edge_radius": radius, **table},
            "grid": {"margin": margin, "end_margin": margin},
            "hems": {"depth": "4 in", "folds": ["single 3 in"]},
            "plotter": {"profile": "flatbed-a3"},
        }
    )


@settings(max_examples=25)
@given(eighths=st.integers(0, 20), margin=st.integers(4, 28))
def test_no_ink_lies_where_the_edge_curves_away_and_what_does_not_fit_is_refused(
    make_job: MakeJob, eighths: int, margin: int
) -> None:
    job = job_with(make_job, f"{eighths}/8 in" if eighths else "0 in", f"{margin}/8 in")
    if margin <= eighths:
        with pytest.raises(RefusedError, match="padded edge curves away"):
            lay_out(job)
        return
    try:
        layout = lay_out(job)
    except RefusedError:
        # No numeral that can be read has room outside the curve.
        assert margin - eighths < 5
        return
    curved = eighths / 8 * INCH
    flat = box(curved, curved, 20 * INCH - curved, 16 * INCH - curved).buffer(1e-6)
    for stroke in layout.strokes:
        ink = LineString(stroke.points).buffer(job.pens.named(stroke.pen).width / 2)
        assert flat.covers(ink), stroke.id


def test_numerals_stand_between_the_curve_and_the_first_line(make_job: MakeJob) -> None:
    layout = lay_out(job_with(make_job, "1 in", "1 3/4 in"))
    near = [one.numeral for one in layout.numerals if one.numeral.side == "near"]
    low = min(one.box_table[1] for one in near) - INCH
    high = 1.75 * INCH - 0.5 - max(one.box_table[3] for one in near)
    assert low == pytest.approx(high, abs=0.01)
    # As high as on a margin of 3/4 in with a sharp edge.
    sharp = lay_out(job_with(make_job, "0 in", "3/4 in"))
    assert near[0].height == pytest.approx(sharp.numerals[0].numeral.height)


def test_a_margin_that_lies_on_the_curve_is_refused_with_what_would_do(make_job: MakeJob) -> None:
    with pytest.raises(RefusedError, match="padded edge curves away") as fault:
        lay_out(job_with(make_job, "1 1/2 in", "1 in"))
    assert 'grid.margin = "1 in"' in str(fault.value)
    would_do = str(fault.value).split("at least ")[1].split(",")[0]
    job = job_with(make_job, "1 1/2 in", would_do)
    lay_out(job.model_copy(update={"numerals": job.numerals.model_copy(update={"sides": ()})}))


@pytest.mark.parametrize(
    ("measured_to", "said"), [("board", "the bare board's edge"), ("batten", "straight batten")]
)
def test_where_to_measure_to_is_said(make_job: MakeJob, measured_to: str, said: str) -> None:
    layout = lay_out(job_with(make_job, "1/2 in", "1 1/2 in", measured_to=measured_to))
    notes = " ".join(layout.warnings)
    assert said in notes
    assert "within 1/2 in of them the top curves away" in notes


def test_a_sharp_edge_says_nothing_and_moves_no_line(make_job: MakeJob) -> None:
    without = make_job(
        {
            "schema": 1,
            "table": {"length": "20 in", "width": "16 in"},
            "grid": {"margin": "1 in", "end_margin": "1 in"},
            "hems": {"depth": "4 in", "folds": ["single 3 in"]},
            "plotter": {"profile": "flatbed-a3"},
        }
    )
    given_zero = job_with(make_job, "0 in", "1 in")
    assert layout_hash(lay_out(without)) == layout_hash(lay_out(given_zero))
    assert lay_out(without).warnings == lay_out(given_zero).warnings


def test_a_foot_on_the_curve_is_told_as_one_over_the_edge(make_job: MakeJob) -> None:
    def in_air(radius: str) -> float:
        job = job_with(make_job, radius, "2 in")
        layout = lay_out(job)
        plan = divide_into_sections(layout, job, job.plotter.zone)
        stood = standings(plan.zone, plan.sections, layout, job)
        return sum(
            beyond for one in stood.values() for foot in one.in_air for _, beyond in foot.beyond
        )

    assert in_air("3/4 in") > in_air("0 in")
