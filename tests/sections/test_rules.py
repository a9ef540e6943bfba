"""The rules of sections that must always hold, over random but legal jobs, beds and reaches.

Only the records that other programs get are looked at, and every check is arithmetic of its own:
none of it asks the program's cutting, joins or beds how it came to its answer.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from typing import TYPE_CHECKING, Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from marking.layout.layout import lay_out
from marking.output.layout_json import plan_record
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone
from tests.sections.random_jobs import in_mm, jobs
from tests.sections.records import (
    ZONES,
    Record,
    all_pieces,
    ink_length,
    ink_width,
    planned,
    points_of,
    usable,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from devices.job import Job
    from tests.conftest import MakeJob, RunCli


@settings(max_examples=60)
@given(tables=jobs())
def test_every_random_job_can_be_laid_out_and_divided_for_plotter_and_arm(
    make_job: MakeJob, tables: Record
) -> None:
    """Each is legal as it is drawn, so that a refusal here is a wrong one."""
    job = make_job(tables)
    layout = lay_out(job)
    for zone in (job.plotter.zone, reach_zone(job.reach)):
        assert divide_into_sections(layout, job, zone).sections


@settings(max_examples=50)
@given(tables=jobs(), zone=st.sampled_from(ZONES))
def test_every_point_of_ink_is_inked_once_and_the_pieces_butt(
    make_job: MakeJob, tables: Record, zone: str
) -> None:
    _, layout, plan, _ = planned(make_job, tables, zone)
    pieces = defaultdict(list)
    for piece in all_pieces(plan):
        if piece["layer"] != "witness":
            pieces[piece["of"]].append(piece)
    assert pieces.keys() == {stroke["id"] for stroke in layout["strokes"]}
    for stroke in layout["strokes"]:
        assert_joined(stroke, pieces[stroke["id"]])
    for layer, laid in layout["totals"]["ink_mm"].items():
        inked = ink_length(p for p in all_pieces(plan) if p["layer"] == layer)
        assert math.isclose(inked, laid, rel_tol=0, abs_tol=1e-6)


def assert_joined(stroke: Record, pieces: list[Record]) -> None:
    """The pieces, end to end, are the stroke: it starts, butts and ends where they do."""
    assert {(p["layer"], p["pen"]) for p in pieces} == {(stroke["layer"], stroke["pen"])}
    if len(stroke["points"]) > 2 or len(pieces) == 1:
        assert len(pieces) == 1, "only straight lines are parted"
        assert pieces[0]["points"] in (stroke["points"], stroke["points"][::-1])
        return
    start, end = points_of(stroke)
    along = (end - start) / math.dist(start, end)
    runs = []
    for piece in pieces:
        points = points_of(piece)
        ahead = (points - start) @ along
        off = np.abs((points - start) @ (-along[1], along[0]))
        assert off.max() < 1e-6
        if ahead[0] > ahead[-1]:
            points, ahead = points[::-1], ahead[::-1]
        assert (np.diff(ahead) > -1e-9).all(), "a piece doubles back"
        assert ahead[-1] - ahead[0] > 1e-6, "a piece is a dot"
        runs.append((float(ahead[0]), points[0].tolist(), points[-1].tolist()))
    runs.sort()
    assert runs[0][1] == stroke["points"][0]
    assert runs[-1][2] == stroke["points"][-1]
    for (_, _, before), (_, after, _) in itertools.pairwise(runs):
        assert before == after, "two pieces meet in a gap or an overlap"


Join = tuple[int, float, float, float]
"""0 for one along x = position or 1 for y = position, and from where to where it runs."""


def joins(plan: Record) -> Iterator[Join]:
    boxes = [section["core"] for section in plan["sections"]]
    outer = [*map(min, zip(*boxes, strict=True)), *map(max, zip(*boxes, strict=True))]
    outer = outer[:2] + outer[6:]
    for x0, y0, x1, y1 in boxes:
        for axis, position, low, high in ((0, x0, y0, y1), (0, x1, y0, y1), (1, y0, x0, x1)):
            if position not in (outer[axis], outer[axis + 2]):
                yield axis, position, low, high
        if y1 != outer[3]:
            yield 1, y1, x0, x1


@settings(max_examples=50)
@given(tables=jobs(), zone=st.sampled_from(ZONES))
def test_no_join_enters_a_numeral_or_runs_along_a_line(
    make_job: MakeJob, tables: Record, zone: str
) -> None:
    job, layout, plan, _ = planned(make_job, tables, zone)
    boxes = np.array([n["box"] for n in layout["numerals"]]).reshape(-1, 4)
    for axis, position, low, high in joins(plan):
        across = 1 - axis
        inside = (boxes[:, axis] < position) & (position < boxes[:, axis + 2])
        beside = (boxes[:, across] < high) & (low < boxes[:, across + 2])
        assert not (inside & beside).any()
        for stroke in layout["strokes"]:
            points = points_of(stroke)
            if len(points) == 2 and points[0][axis] == points[1][axis]:
                gap = abs(points[0][axis] - position)
                assert gap > ink_width(job, stroke["pen"]) / 2, stroke["id"]


@settings(max_examples=40)
@given(tables=jobs(), zone=st.sampled_from(ZONES))
def test_every_numeral_is_inked_whole_by_one_section(
    make_job: MakeJob, tables: Record, zone: str
) -> None:
    _, layout, plan, _ = planned(make_job, tables, zone)
    holders = {piece["of"]: s["id"] for s in plan["sections"] for piece in s["strokes"]}
    for numeral in layout["numerals"]:
        assert len({holders[stroke] for stroke in numeral["strokes"]}) == 1, numeral["text"]


@settings(max_examples=50)
@given(tables=jobs(), zone=st.sampled_from(ZONES))
def test_every_window_fits_the_device_and_holds_what_its_section_inks(
    make_job: MakeJob, tables: Record, zone: str
) -> None:
    _, layout, plan, _ = planned(make_job, tables, zone)
    width, height = usable(tables, zone, turned=plan["turned"])
    free = in_mm(tables["plotter"]["set_down"]) if zone == "plotter" else 0.0
    top_y = layout["fit"]["top"]["inscribed"][3]
    for section in plan["sections"]:
        x0, y0, x1, y1 = section["window"]
        assert x1 - x0 <= width + 1e-9
        assert y1 - y0 <= height + 1e-9
        if zone == "reach":
            from_near = y1 <= height + 1e-9
            assert from_near or y0 >= top_y - height - 1e-9, "no arm reaches this from an edge"
        inked = np.concatenate([points_of(piece) for piece in section["strokes"]])
        seen = np.array([mark["at"] for mark in section["witness"]]).reshape(-1, 2)
        for points, room in ((inked, free), (seen, free)):
            assert (points >= np.array([x0, y0]) + room - 1e-6).all(), section["id"]
            assert (points <= np.array([x1, y1]) - room + 1e-6).all(), section["id"]


@settings(max_examples=50)
@given(tables=jobs(), zone=st.sampled_from(ZONES))
def test_every_later_section_sees_two_marks_that_are_there_already(
    make_job: MakeJob, tables: Record, zone: str
) -> None:
    job, _, plan, _ = planned(make_job, tables, zone)
    inked: list[tuple[NDArray[np.float64], str, str]] = []
    ordered = sorted(plan["sections"], key=lambda section: section["order"])
    assert [section["order"] for section in ordered] == list(range(1, len(ordered) + 1))
    for section in ordered:
        marks = [tuple(mark["at"]) for mark in section["witness"]]
        if section["order"] > 1:
            apart = max(itertools.starmap(math.dist, itertools.combinations(marks, 2)), default=0.0)
            assert apart > 2 * ink_width(job, "removable"), section["id"]
        for mark in section["witness"]:
            assert_visible(mark, inked, job, zone)
        inked += [(points_of(p), p["layer"], p["pen"]) for p in section["strokes"]]


def assert_visible(
    mark: Record, inked: list[tuple[NDArray[np.float64], str, str]], job: Job, zone: str
) -> None:
    """Two strokes that cross at the mark are on the cover, or it is set out by tape."""
    if mark["kind"] == "control":
        assert zone == "reach", "a bed that sees ink needs no mark by tape"
        return
    x, y = mark["at"]
    through = {
        ("upright" if points[0][0] == points[-1][0] else "level", layer): (points, pen)
        for points, layer, pen in inked
        if len(points) == 2
        and (points.min(axis=0) <= (x + 1e-6, y + 1e-6)).all()
        and (points.max(axis=0) >= (x - 1e-6, y - 1e-6)).all()
        and layer != "bias"
    }
    assert ("upright", "cross") in through, mark
    if mark["kind"] == "grid":
        assert ("level", "long") in through or ("level", "hem") in through, mark
        return
    tick, _ = through["level", "witness"]
    line_ink = ink_width(job, through["upright", "cross"][1]) / 2
    assert abs(tick[:, 0] - x).min() > line_ink, "the tick hides under the line it should cross"


def test_ticks_at_the_tables_ends_stand_out_of_their_lines(make_job: MakeJob) -> None:
    """The last cross line carries no numeral here, so that no ink lies beyond it."""
    job = make_job(
        {
            "table": {"length": "40 in", "width": "20 in"},
            "hems": {"depth": "2 in", "folds": []},
            "numerals": {"every": 4},
            "plotter": {"profile": "flatbed-a4"},
        }
    )
    plan = plan_record(divide_into_sections(lay_out(job), job, job.plotter.zone))
    ticks = [p for s in plan["sections"] for p in s["strokes"] if p["layer"] == "witness"]
    assert len(ticks) > 4
    for tick in ticks:
        assert ink_length([tick]) > 2 * job.pens.lines.width, tick


def test_an_arm_that_reaches_one_long_line_gets_a_tick_for_its_second_mark(
    make_job: MakeJob,
) -> None:
    job = make_job(
        {
            "table": {"length": "150 in", "width": "30 in"},
            "grid": {"pitch": "2 in", "margin": "1 1/2 in"},
            "hems": {"depth": "0 in", "folds": []},
            "reach": {"depth": "5 in"},
        }
    )
    plan = plan_record(divide_into_sections(lay_out(job), job, reach_zone(job.reach)))
    for section in plan["sections"]:
        assert section["order"] == 1 or len({tuple(m["at"]) for m in section["witness"]}) >= 2


@settings(max_examples=40)
@given(tables=jobs(), zone=st.sampled_from(ZONES))
def test_the_marks_lie_as_far_apart_as_the_shared_join_allows(
    make_job: MakeJob, tables: Record, zone: str
) -> None:
    job, layout, plan, _ = planned(make_job, tables, zone)
    cross = [points_of(s) for s in layout["strokes"] if s["layer"] == "cross"]
    pitch = cross[1][0, 0] - cross[0][0, 0]
    low, high = cross[0][:, 1]
    by_place = {(s["row"], s["column"]): s for s in plan["sections"]}
    for (_, column), section in by_place.items():
        if section["order"] == 1:
            continue
        x0, y0, x1, y1 = section["core"]
        join = min(y1, high) - max(y0, low)
        if column == 1:
            join = min(x1, cross[-1][0, 0]) - max(x0, cross[0][0, 0])
        marks = [mark["at"] for mark in section["witness"]]
        apart = max(itertools.starmap(math.dist, itertools.combinations(marks, 2)))
        assert apart >= join - 2 * max(pitch, job.grid.pitch) - 1e-6, section["id"]


def test_the_same_job_gives_the_same_bytes_whatever_the_process(
    run_cli: RunCli, make_job: MakeJob, tmp_path: Any
) -> None:
    from tests.conftest import MILLRACE, toml

    drawn: list[Record] = []

    @settings(max_examples=12)
    @given(jobs(longest=60, widest=40))
    def draw(tables: Record) -> None:
        planned(make_job, tables, "plotter")
        drawn.append(tables)

    draw()
    for number, text in enumerate([MILLRACE, toml(drawn[-1])]):
        results = []
        for seed in ("1", "2"):
            folder = tmp_path / f"{number}-{seed}"
            folder.mkdir()
            (folder / "job.toml").write_text(text, "utf-8")
            env = {"PYTHONHASHSEED": seed}
            said = [
                run_cli(*words, "--json", cwd=folder, env=env)
                for words in (["layout"], ["section", "--for", "reach"], ["write"])
            ]
            files = sorted(path for path in (folder / "out").rglob("*") if path.is_file())
            assert sum(path.suffix == ".hpgl" for path in files) > 0
            results.append(
                ([done.stdout for done in said], [(p.name, p.read_bytes()) for p in files])
            )
        assert results[0] == results[1]
