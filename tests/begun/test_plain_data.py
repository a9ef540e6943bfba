"""What the record keeps of a begun job comes back exactly: lines, sections and settings."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from msgspec import Struct
from msgspec.structs import replace

from marking.begun.plain_data import from_plain, packed, plain, unpacked_division, unpacked_layout
from marking.job.settings import changes, job_as_begun, layout_settings
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.tape_marks.marks import set_out
from tests.sections.random_jobs import jobs
from tests.sections.records import planned

if TYPE_CHECKING:
    from marking.layout.layout import Layout
    from tests.conftest import MakeJob


def alike(one: Any, other: Any) -> bool:
    """Whether two things are equal to the last bit, arrays and all."""
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and np.array_equal(one, other, equal_nan=True)
    if isinstance(one, Struct):
        return type(one) is type(other) and all(
            alike(getattr(one, name), getattr(other, name)) for name in one.__struct_fields__
        )
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(alike, one, other))
    return bool(one == other)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(tables=jobs(longest=60, widest=40))
def test_layout_and_division_come_back_as_they_were_kept(
    make_job: MakeJob, tables: dict[str, Any]
) -> None:
    job, _, _, plan = planned(make_job, tables, "plotter")
    layout = lay_out(job)
    assert alike(unpacked_layout(packed(layout)), layout)
    assert alike(unpacked_division(packed(plan)), plan)
    assert not alike(unpacked_division(packed(plan)), replace(plan, warnings=("other",)))


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(tables=jobs(longest=60, widest=40))
def test_the_settings_that_were_kept_lay_out_the_same_job(
    make_job: MakeJob, tables: dict[str, Any]
) -> None:
    job = make_job(tables)
    kept = json.loads(json.dumps(dict(layout_settings(job))))
    other = make_job({"table": {"length": "70 in", "width": "50 in"}, "plotter": tables["plotter"]})
    again = job_as_begun(other, kept)
    assert not changes(kept, layout_settings(again))
    names = ("units", "table", "grid", "hems", "numerals", "cloth", "pens", "tape")
    assert all(getattr(again, name) == getattr(job, name) for name in names)


def test_control_marks_come_back_as_they_were_set_out(millrace_layout: Layout) -> None:
    control = set_out(millrace_layout, 152.4, Tape("I", temperature=27.0), "in", heights=[500.0])
    kept = json.loads(json.dumps(plain(control)))
    assert alike(from_plain(kept), control)
