"""Cross lines that a device inks at their ends alone: all ink once, and stubs to lay a rule to."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from msgspec.structs import replace

from devices.machine_zones import divided
from marking.begun.on_the_cover import plan_hash
from marking.begun.plain_data import packed, unpacked_division
from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.output.layout_json import layout_record, plan_record
from marking.sections.plan import divide_into_sections
from tests.conftest import MILLRACE
from tests.sections.random_jobs import in_mm, jobs

if TYPE_CHECKING:
    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob
    from tests.sections.records import Record

RULED = '\n[inking]\ncross_lines = "ruled"\n'
STUB = 50.8
"""Two inches, to lay a rule to."""
SIDES = ("near", "far")


@pytest.fixture(scope="module")
def ruled_bench(make_job: MakeJob) -> tuple[Job, Layout, Plan]:
    job = make_job(MILLRACE + RULED)
    layout = lay_out(job)
    return job, layout, divided("plotter", layout, job, None)


def times_inked(stroke: Record, parts: list[Record]) -> tuple[float, float]:
    """How often the least and the most inked of a stroke's points are, by a count of its own:
    every part laid along the stroke, and the middles between all of their ends asked for.
    """
    corners = np.array(stroke["points"])
    if len(corners) > 2:
        same = [part["points"] in (stroke["points"], stroke["points"][::-1]) for part in parts]
        return (len(parts), len(parts)) if all(same) else (0, 0)
    start, end = corners
    length = math.dist(start, end)
    way = (end - start) / length
    spans = []
    for part in parts:
        points = np.array(part["points"])
        assert np.abs((points - start) @ (-way[1], way[0])).max() < 1e-6, "off its line"
        spans.append(sorted(((points - start) @ way)[[0, -1]].tolist()))
    stops = sorted({0.0, length, *(end for span in spans for end in span)})
    middles = [(a + b) / 2 for a, b in itertools.pairwise(stops) if b - a > 1e-6]
    counts = [sum(low < at < high for low, high in spans) for at in middles]
    inside = [at for span in spans for at in span if -1e-6 <= at <= length + 1e-6]
    assert len(inside) == 2 * len(spans), "ink past the line's end"
    return min(counts), max(counts)


def test_every_point_of_ink_is_inked_once_or_ruled_once(make_job: MakeJob) -> None:
    """Loose canvas and a bias line that no stub ends are refused; no other is, but where a band
    of one long line shows a section too few crossings of what was inked before."""
    outcomes: Counter[str] = Counter()

    @settings(max_examples=150)
    @given(jobs())
    def draw(tables: Record) -> None:
        tables["inking"] = {"cross_lines": "ruled"}
        tables["grid"]["long_lines"] = "bands"
        job = make_job(tables)
        layout = lay_out(job)
        marking, pitch = layout_record(layout), in_mm(tables["grid"]["pitch"])
        whole = divide_into_sections(
            layout, job.model_copy(update={"inking": type(job.inking)()}), job.plotter.zone
        )
        plan, said = None, ""
        try:
            plan = divide_into_sections(layout, job, job.plotter.zone)
        except RefusedError as refusal:
            said = str(refusal)
        roll = "cloth_width" in tables["plotter"]
        assert roll == ("loose canvas" in said)
        if plan is None and "fewer than two marks" in said:
            assert min(lines_of_the_bands(marking)) == 1
            outcomes["one line to see"] += 1
            return
        if plan is None:
            assert roll or "no stub stands" in said
            assert roll or a_bias_line_ends_between_the_bands(marking, pitch)
            outcomes["roll" if roll else "bias"] += 1
            return
        assert not (plan.ruled and a_bias_line_ends_between_the_bands(marking, pitch))
        outcomes["ruled" if plan.ruled else "bands meet"] += 1
        assert bool(plan.ruled) == ("inked whole" not in " ".join(plan.warnings))
        shown = plan_record(plan)
        parts = defaultdict(list)
        for section in shown["sections"]:
            for piece in section["strokes"]:
                parts[piece["of"]].append(piece)
        for line in shown.get("ruled", ()):
            parts[line["of"]].append(line)
        for stroke in marking["strokes"]:
            assert times_inked(stroke, parts[stroke["id"]]) == (1, 1), stroke["id"]
        if plan.ruled:
            assert len(plan.sections) <= len(whole.sections) + plan.columns

    draw()
    assert outcomes["ruled"] > 20, outcomes
    assert outcomes["bias"], outcomes


def lines_of_the_bands(marking: Record) -> list[int]:
    """How many long lines either band has."""
    ids = [stroke["id"] for stroke in marking["strokes"]]
    return [
        sum(
            name.startswith(tuple(f"{kind}-{side}" for kind in ("long", "hem", "fold")))
            for name in ids
        )
        for side in SIDES
    ]


def a_bias_line_ends_between_the_bands(marking: Record, pitch: float) -> bool:
    """Whether one ends where no stub reaches: a quarter pitch beyond its band's innermost long
    line, or 2 in beyond its outermost where that is more."""
    near, far = (
        [s["points"][0][1] for s in marking["strokes"] if s["id"].startswith(names)]
        for names in (tuple(f"{kind}-{side}" for kind in ("long", "hem", "fold")) for side in SIDES)
    )
    beyond = pitch * marking["fit"]["slack"]["across"] / 4
    low = max(max(near) + beyond, min(near) + STUB)
    high = min(min(far) - beyond, max(far) - STUB)
    ends = [s["points"][-1][1] for s in marking["strokes"] if s["layer"] == "bias"]
    return any(low < end < high for end in ends)


def test_the_demo_bench_takes_two_rows_of_ten_set_downs(
    ruled_bench: tuple[Job, Layout, Plan], millrace_plan: Plan
) -> None:
    _, layout, plan = ruled_bench
    assert (plan.rows, plan.columns, len(plan.sections)) == (2, 10, 20)
    assert len(millrace_plan.sections) > 3 * len(plan.sections)
    assert len(plan.ruled) == len(layout.grid.cross_x) == 148
    assert {line.of for line in plan.ruled if line.heavy} == {
        f"cross-{n}" for n in range(0, 148, 12)
    }


def test_each_ruled_line_begins_and_ends_where_a_stub_long_enough_for_a_rule_ends(
    ruled_bench: tuple[Job, Layout, Plan],
) -> None:
    _, layout, plan = ruled_bench
    sections = {section.id: section for section in plan.sections}
    bands = sorted(line.y for line in layout.grid.long_lines)
    for line in plan.ruled:
        for end, name in zip(line.points.tolist(), line.sections, strict=True):
            (stub,) = (piece.stroke for piece in sections[name].pieces if piece.of == line.of)
            assert end in stub.points.tolist()
            assert stub.length >= STUB
        low, high = line.points[:, 1]
        assert not any(low <= y <= high for y in bands), "a stub goes past its band's inner line"


def test_each_band_begins_by_tape_marks_and_reads_nothing_across_the_bare_middle(
    ruled_bench: tuple[Job, Layout, Plan],
) -> None:
    from marking.tape_marks.visible import sights

    _, layout, plan = ruled_bench
    blind = [section.id for section in plan.sections if not section.locating_marks]
    assert blind == ["r1c1", "r2c1"]
    row_of = {section.id: section.row for section in plan.sections}
    for order in (None, [section.id for section in reversed(plan.sections)]):
        seen = sights(plan, layout.grid, (), order)
        for name, marks in seen.seen.items():
            inkers = {seen.targets[mark].inked_by for mark in marks}
            assert {row_of[one] for one in inkers if one} <= {row_of[name]}


def test_the_projector_lights_stubs_and_numerals_and_not_the_middles(make_job: MakeJob) -> None:
    job = make_job(MILLRACE + RULED)
    layout = lay_out(job)
    plan = divided("beam", layout, job, None)
    assert len(plan.ruled) == 148
    low, high = plan.ruled[0].points[:, 1]
    for section in plan.sections:
        for piece in section.pieces:
            ys = piece.stroke.points[:, 1]
            assert ys.max() <= low + 1e-9 or ys.min() >= high - 1e-9
    lit = {piece.of for section in plan.sections for piece in section.pieces}
    assert lit == {stroke.id for stroke in layout.strokes}
    assert divided("reach", layout, job, None).ruled == ()


def test_the_key_moves_no_line_and_leaves_other_divisions_as_they_are(
    make_job: MakeJob, ruled_bench: tuple[Job, Layout, Plan], millrace: Job, millrace_plan: Plan
) -> None:
    from marking.record.record import layout_hash

    _, layout, plan = ruled_bench
    whole = lay_out(millrace)
    assert layout_hash(layout) == layout_hash(whole)
    assert plan_hash(plan) != plan_hash(millrace_plan)
    job = make_job(MILLRACE + RULED.replace("ruled", "device"))
    assert packed(divided("plotter", whole, job, None)) == packed(millrace_plan)


def test_a_kept_division_comes_back_with_its_ruled_lines(
    ruled_bench: tuple[Job, Layout, Plan],
) -> None:
    plan = ruled_bench[2]
    back = unpacked_division(packed(plan))
    assert plan_record(back) == plan_record(plan)
    assert packed(back) == packed(plan)
    assert plan_record(replace(plan, ruled=())) != plan_record(plan)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('[grid]\nlong_lines = "full"\n', "long_lines"),
        ("[grid]\nbias = [130]\n", "bias-130"),
        ('[plotter]\nprofile = "roll-36"\n', "loose canvas"),
    ],
)
def test_lines_that_no_stub_could_carry_are_refused_by_name(
    make_job: MakeJob, more: str, said: str
) -> None:
    table = 'schema = 1\n[table]\nlength = "150 in"\nwidth = "64 in"\n'
    job = make_job(table + more + RULED)
    with pytest.raises(RefusedError, match=said):
        divided("plotter", lay_out(job), job, None)


def test_a_bias_line_from_band_to_band_is_ruled_too(make_job: MakeJob) -> None:
    table = 'schema = 1\n[table]\nlength = "150 in"\nwidth = "64 in"\n[grid]\nbias = [12]\n'
    job = make_job(table + RULED)
    plan = divided("plotter", lay_out(job), job, None)
    (bias,) = (line for line in plan.ruled if line.of == "bias-12")
    assert len(set(bias.sections)) == 2
    x0, y0, x1, y1 = bias.points.ravel()
    assert x1 - x0 == pytest.approx(y1 - y0)
