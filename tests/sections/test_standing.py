"""Feet of an open frame: never in the air unlisted, never on ink that may be wet without a wait.

Where feet stand, what they touch and how old ink is there are worked out anew, from job.toml's own
words, by shapely (docs: `box`, `LineString.buffer`, `Polygon.covers`), where the program computes
with arrays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from shapely import LineString, Polygon, box
from shapely.affinity import rotate
from shapely.ops import unary_union

from marking.layout.layout import lay_out
from marking.measures.lengths import parse_length
from marking.output.report import record as report_record
from marking.output.report import section_table
from marking.output.table_picture import table_picture
from marking.sections.plan import divide_into_sections
from marking.sections.under_the_feet import idle_seconds, standings
from tests.sections.random_jobs import in_mm, jobs
from tests.sections.records import axes_of, planned

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob

SET_DOWN_BY_TAPE = 2.0
"""In what the window keeps free: how far off a foot that stands out may come to stand."""
BENCH: dict[str, Any] = {"table": {"length": "84 in", "width": "40 in"}, "hems": {"depth": "4 in"}}


def signed_mm(text: str) -> float:
    return -in_mm(text[1:]) if text.startswith("-") else in_mm(text)


def feet_of(tables: dict[str, Any]) -> list[tuple[float, float]]:
    """Middles of the feet in the device's own X and Y, from job.toml's words."""
    plotter = tables["plotter"]
    if plotter.get("feet") != "corners":
        return [(signed_mm(x), signed_mm(y)) for x, y in plotter.get("feet", [])]
    half = in_mm(plotter["foot"]) / 2
    (x0, x1), (y0, y1) = ([in_mm(one) for one in plotter[key]] for key in ("beyond_x", "beyond_y"))
    left, right = half - x0, in_mm(plotter["x_size"]) + x1 - half
    below, above = half - y0, in_mm(plotter["y_size"]) + y1 - half
    return [(left, below), (right, below), (right, above), (left, above)]


def stands_at(
    tables: dict[str, Any], window: tuple[float, ...], *, turned: bool
) -> list[BaseGeometry]:
    """The feet as areas of the table for a bed that covers `window`."""
    plotter = tables["plotter"]
    width = in_mm(plotter["foot"]) + 2 * SET_DOWN_BY_TAPE * in_mm(plotter["set_down"])
    found = []
    for foot in feet_of(tables):
        at = [0.0, 0.0]
        for own, (axis, sign) in zip(foot, axes_of(tables, turned=turned), strict=True):
            start = window[axis] if sign > 0 else window[axis + 2]
            at[axis] = start + sign * own
        found.append(
            box(at[0] - width / 2, at[1] - width / 2, at[0] + width / 2, at[1] + width / 2)
        )
    return found


def ink_of(section: Any, job: Job) -> BaseGeometry:
    """What a section inks, as wide as its pens."""
    return unary_union(
        [
            LineString(piece.stroke.points).buffer(job.pens.named(piece.stroke.pen).width / 2)
            for piece in section.pieces
        ]
    )


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(tables=jobs(longest=90, widest=50))
def test_no_foot_is_in_the_air_unlisted_nor_on_wet_ink_without_a_wait(
    make_job: MakeJob, tables: dict[str, Any]
) -> None:
    job, _, _, plan = planned(make_job, tables, "plotter")
    layout = lay_out(job)
    told = standings(plan.zone, plan.sections, layout, job)
    if "foot" not in tables["plotter"]:
        assert plan.zone.footing is None
        assert not told
        return
    top = Polygon(layout.top.corners_table)
    inks = [ink_of(section, job) for section in plan.sections]
    for place, section in enumerate(plan.sections):
        feet = stands_at(tables, section.window, turned=section.turned)
        air = [n for n, foot in enumerate(feet, 1) if not top.buffer(1e-6).covers(foot)]
        listed = [foot.number for foot in told[section.id].in_air] if feet else []
        assert set(air) <= set(listed), section.id
        clearly_on = [n for n, foot in enumerate(feet, 1) if top.buffer(-1e-6).covers(foot)]
        assert not set(clearly_on) & set(listed), section.id
        needed = 0.0
        age = 0.0
        for earlier in range(place - 1, -1, -1):
            # A machine may be no slower than it is reckoned, and set down in no time.
            if any(
                inks[earlier].distance(foot) < -1e-6 or inks[earlier].intersects(foot)
                for foot in feet
            ):
                needed = max(needed, job.inking.drying - age)
            age += plan.sections[earlier].route.seconds
        if needed > 0:
            wet = told[section.id].wet
            assert wet is not None, section.id
            assert wet.wait >= needed - 1e-6, section.id


def framed(make_job: MakeJob, drying: str, feet: Any, **more: Any) -> tuple[Job, Layout, Plan]:
    plotter = {"profile": "flatbed-a3", "feet": feet, "beyond_y": ["60 mm", "90 mm"]}
    job = make_job({**BENCH, "plotter": plotter, "inking": {"drying": drying}, **more})
    layout = lay_out(job)
    return job, layout, divide_into_sections(layout, job, job.plotter.zone)


AT_SIDES = [["-40 mm", "136 mm"], ["440 mm", "136 mm"], ["200 mm", "-30 mm"]]


def orders(plan: Plan) -> list[str]:
    return [section.id for section in plan.sections]


def test_rows_are_inked_in_turns_only_where_feet_would_stand_on_wet_ink_for_long(
    make_job: MakeJob,
) -> None:
    _, _, short = framed(make_job, "2 min", AT_SIDES)
    rows = sorted(orders(short), key=lambda name: tuple(map(int, name[1:].split("c"))))
    assert orders(short) == rows
    job, _, long = framed(make_job, "9 min", AT_SIDES)
    assert orders(long) != rows
    assert idle_seconds(long.zone, long.sections, job) < 0.5 * idle_seconds(
        short.zone, short.sections, job
    )
    seen: set[str] = set()
    for section in long.sections:
        left, below = (
            f"r{section.row}c{section.column - 1}",
            f"r{section.row - 1}c{section.column}",
        )
        assert section.column == 1 or left in seen
        assert section.row == 1 or below in seen
        assert section.order == 1 or len(section.locating_marks) >= 2
        seen.add(section.id)
    corners = framed(make_job, "9 min", "corners")[2]
    assert orders(corners) == rows, "corner feet stand on the row below, long dry"
    fence = {"fence": {"length": "7 ft"}}
    assert orders(framed(make_job, "9 min", AT_SIDES, **fence)[2]) == rows


def test_a_wait_is_told_in_the_set_down_list_and_to_programs(make_job: MakeJob) -> None:
    job, layout, plan = framed(make_job, "2 min", AT_SIDES)
    said = "\n".join(section_table(plan, job, layout))
    assert "- r1c2: wait until r1c1 has dried for 2 min before you set the device down" in said
    assert "set down no sooner than" in said
    assert "| 2 min after r1c1 |" in said
    told = report_record(layout, job, plan)["sections"]
    assert told[0]["wait"] is None
    assert told[1]["wait"] == {"for": "r1c1", "seconds": 120.0}
    job, layout, plan = framed(make_job, "2 min", "corners")
    assert "No foot comes to stand on ink younger than 2 min" in "\n".join(
        section_table(plan, job, layout)
    )


def test_each_foot_in_the_air_is_a_line_of_the_list_and_a_square_of_the_picture(
    make_job: MakeJob,
) -> None:
    job, layout, plan = framed(make_job, "2 min", "corners")
    feet = [
        foot
        for section in plan.sections
        for foot in standings(plan.zone, plan.sections, layout, job)[section.id].in_air
    ]
    lines = [line for line in section_table(plan, job, layout) if "stands over" in line]
    assert len([line for line in lines if line.startswith("| r")]) == len(feet) > 4
    drawn = table_picture(layout, job, plan)
    (layer,) = (layer for layer in drawn.layers if layer.name == "feet-in-air")
    assert len(layer.items) == len(feet)
    (x0, y0, x1, y1) = drawn.box
    assert all(x0 < f.box[0] and f.box[2] < x1 and y0 < f.box[1] and f.box[3] < y1 for f in feet)
    first = feet[0]
    assert first.number == 1
    assert dict(first.beyond).keys() == {"near edge", "zero end"}
    assert "| r1c1 | foot 1 stands over the near edge (board 3 in out) and the zero end" in "".join(
        lines
    )


@pytest.mark.parametrize(("weight", "two"), [(0, 0), (24, 0), (26, 1)])
def test_two_people_are_asked_for_once_above_25_kg(
    make_job: MakeJob, weight: int, two: int
) -> None:
    """25 kg: from memory, and said to be."""
    job = make_job({**BENCH, "plotter": {"profile": "flatbed-a3", "weight_kg": weight}})
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    said = "\n".join(section_table(plan, job, layout))
    assert said.count("two people set it down") == two
    assert ("local rules come first" in said) is bool(two)


def test_feet_that_nobody_has_told_of_are_said_to_be_unknown(make_job: MakeJob) -> None:
    job, layout, plan = framed(make_job, "2 min", [])
    said = "\n".join(section_table(plan, job, layout))
    assert "Its profile does not say where its feet stand" in said
    assert "No foot comes to stand" not in said


def test_a_foot_that_may_come_to_stand_over_the_edge_is_listed_as_one_that_does(
    make_job: MakeJob,
) -> None:
    """A foot 1 mm inside, with 2 mm kept free for setting down: feet swing up to twice as far."""
    start = framed(make_job, "2 min", AT_SIDES)[2].sections[1].window[1]
    feet = [["-40 mm", f"{15 + 1 - start:.3f} mm"], ["440 mm", "136 mm"], ["440 mm", "200 mm"]]
    job, layout, plan = framed(make_job, "2 min", feet)
    (listed,) = standings(plan.zone, plan.sections, layout, job)["r1c2"].in_air
    assert listed.number == 1
    assert dict(listed.beyond) == {"near edge": pytest.approx(3.0, abs=0.01)}


def test_a_frame_set_down_turned_has_its_feet_turned_with_it(make_job: MakeJob) -> None:
    """Anticlockwise a quarter: what stood beyond the greatest X stands beyond the greatest y."""
    tables: dict[str, Any] = {
        **BENCH,
        "plotter": {
            "profile": "flatbed-24x36",
            "feet": [["-60 mm", "300 mm"], ["980 mm", "300 mm"], ["400 mm", "-60 mm"]],
        },
    }
    job = make_job(tables)
    zone = job.plotter.zone
    assert zone.footing is not None
    straight, turned = zone.footing, zone.ways_round[1].footing
    assert turned is not None
    for one, other in zip(straight.feet, turned.feet, strict=True):
        spun = rotate(LineString([(0, 0), one]), 90, origin=(0, 0)).coords[1]
        assert spun == pytest.approx(other)


def test_a_fence_lies_clear_of_every_foot_and_over_edge_or_ink_is_said_so(
    make_job: MakeJob,
) -> None:
    tables = {**BENCH, "plotter": {"profile": "flatbed-a3"}, "fence": {"length": "8 ft"}}
    job = make_job(tables)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    footing = plan.zone.footing
    assert footing is not None
    lines = [line for line in section_table(plan, job, layout) if "fence" in line.lower()]
    first = next(section for section in plan.sections if section.row == 1)
    feet = [box(*foot) for foot in footing.boxes(first.window, 0.0)]
    rail = min(foot.bounds[1] for foot in feet)
    # The A3 frame stands out 60 mm: over the near edge, where the first row begins.
    assert rail == pytest.approx(first.window[1] - 60)
    assert "beyond the near edge" in lines[1]
    assert parse_length(lines[1].partition("that is ")[2].partition(" beyond")[0]) >= -rail
    others = [line for line in lines[2:] if "on ink of the rows before it" in line]
    assert len(others) == plan.rows - 1
    bare = make_job({key: value for key, value in tables.items() if key != "fence"})
    assert not [line for line in section_table(plan, bare, layout) if "fence" in line.lower()]
