"""Random but legal jobs over every key for particular work, all of them together.

Clearances are shapely's (GEOS), between inked outlines: centre lines buffered by half a pen. What
is drawn is legal by its own arithmetic, so that a refusal of one is the program's fault.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, union_all

from marking.layout.layout import lay_out
from marking.layout.lines import BETWEEN_INK
from marking.output.layout_json import layout_record
from tests.layout.test_marks_inside_the_grid import numerals_stand_clear
from tests.sections.random_jobs import in_mm, jobs
from tests.sections.records import points_of

if TYPE_CHECKING:
    from tests.conftest import MakeJob
    from tests.sections.records import Record

LEAST_PITCH = 19.0
"""mm between cross lines that leave a numeral of three digits and its clearances room."""
SURVEYED = 20.0
"""mm that a crooked top may take from the lines between its bands."""
SLOT = 30.0
"""mm from one named line to the next, with room for the numerals that stand on it."""


@st.composite
def for_particular_work(draw: st.DrawFn) -> Record:
    """A legal job with every key for particular work that its table and the others leave room."""
    tables = draw(jobs(longest=60.0, widest=70.0))
    metric = tables["units"] == "mm"
    width = in_mm(tables["table"]["width"])
    pitch = draw(st.sampled_from([20.0, 25.0, 40.0] if metric else [19.05, 25.4, 38.1]))
    margin, clear = draw(st.integers(40, 55)), draw(st.integers(1, 8)) / 5
    radius = draw(st.integers(0, 12))
    wall, from_line = draw(st.booleans()), draw(st.booleans())
    end_margin = radius + draw(st.integers(15, 40))
    depth = draw(st.integers(0, int(min(120, max(0, width / 2 - margin - 20)))))
    tables["table"] |= {
        "against_wall": wall,
        "measured_to": draw(st.sampled_from(["board", "batten"])),
        "edge_radius": f"{radius} mm",
    }
    tables["hems"] = {
        "from": "line" if from_line else "edge",
        "depth": f"{depth} mm",
        "folds": [],
        "number_every": draw(st.sampled_from(["auto", 0, 1, 2])),
        "number_apart": f"{draw(st.integers(100, 900))} mm",
    }
    tables["grid"] |= {
        "pitch": f"{pitch} mm",
        "margin": f"{margin} mm",
        "end_margin": f"{end_margin} mm",
        "bias": [],
        "long_lines": "bands",
        **draw(_lines(width, margin, depth if from_line else max(0, depth - margin), from_line)),
    }
    last = int((in_mm(tables["table"]["length"]) - 2 * end_margin - 20) // pitch)
    every = draw(st.integers(1, 3))
    tables["numerals"] = {
        "every": every,
        "per_line": draw(st.sampled_from([1, 1, 2])),
        "first": draw(st.sampled_from([0, 0, 7, 150, 800])),
        "clear": f"{clear} mm",
        "sides": ["near", "far"],
        "second_zero": draw(_second_zero(last, every, pitch)),
        "middle_every": 0,
        "other_unit": "none" if wall else draw(st.sampled_from(["none", "near", "far"])),
        "other_every": draw(st.sampled_from(["auto", 5])),
    }
    if not tables["grid"]["lines"]:
        # Between the bands, or beside a centre line, there is height for a row of each side.
        tables["numerals"]["middle_every"] = draw(st.integers(0, 7))
        tables["grid"]["bias"] = draw(st.lists(st.integers(0, max(0, last - 1)), max_size=2))
    tables["pens"]["lines"]["width"] = "0.8 mm"
    tables["pens"]["heavy"] = {"slot": 1, "width": "0.8 mm", "passes": draw(st.integers(1, 2))}
    tables["pens"]["numerals"]["width"] = "0.5 mm"
    tables["cloth"] = {}
    return tables


@st.composite
def _lines(
    draw: st.DrawFn, width: float, margin: float, depth: float, from_line: bool
) -> dict[str, Any]:
    """Named lines and a centre line between the bands, `depth` beyond the first long lines."""
    low, high = margin + depth + SLOT, width - margin - depth - SLOT - SURVEYED
    middle = width / 2
    free = [
        low + n * SLOT
        for n in range(int(max(0.0, high - low) // SLOT))
        if abs(low + n * SLOT - middle) > SLOT + SURVEYED
    ]
    picked = draw(st.lists(st.sampled_from(free), unique=True, max_size=3)) if free else []
    counted = margin if from_line else 0
    named = [
        {"at": f"{math.floor(y - counted)} mm", "name": "ABC"[n]}
        | draw(st.sampled_from([{}, {"start": "100 mm"}, {"end": "300 mm"}]))
        for n, y in enumerate(sorted(picked))
    ]
    room = width - 2 * (margin + depth) > 2 * SLOT + SURVEYED
    return {"lines": named, "centre_line": room and draw(st.booleans())}


@st.composite
def _second_zero(draw: st.DrawFn, last: int, every: int, pitch: float) -> str:
    numbered = list(range(every, last + 1, every))
    somewhere = [f"{n * pitch:.2f} mm" for n in numbered[:: max(1, len(numbered) // 3)]]
    return draw(st.sampled_from(["none", "middle", *somewhere]))


@settings(max_examples=20)
@given(tables=for_particular_work())
def test_no_ink_for_particular_work_touches_other_ink_or_leaves_the_flat_top(
    make_job: MakeJob, tables: Record
) -> None:
    job = make_job(tables)
    whole = lay_out(job)
    layout = layout_record(whole)
    inked = numerals_stand_clear(job, layout)
    for strokes in (_levels(layout), _uprights(layout)):
        for (at, half, _), (beside, other, name) in pairwise(strokes):
            apart = beside - other - at - half
            assert apart >= BETWEEN_INK - 1e-6 or math.isclose(at, beside), name
    flat = Polygon(whole.top.corners_table).buffer(1e-6 - job.table.edge_radius, join_style="mitre")
    assert flat.covers(union_all(inked))
    if job.table.against_wall:
        assert {numeral["side"] for numeral in layout["numerals"]} <= {"near"}
    wanted = len(job.grid.lines)
    assert len({n["text"] for n in layout["numerals"] if n.get("row") == "line"}) == wanted


def _levels(layout: Record) -> list[tuple[float, float, str]]:
    """Each line along the table: its y, half its ink, and its id; dashes are of one line."""
    found = []
    for stroke in layout["strokes"]:
        points = points_of(stroke)
        if stroke["layer"] in ("long", "hem") and points[0, 1] == points[1, 1]:
            found.append((float(points[0, 1]), 0.4, stroke["id"]))
    return sorted(found)


def _uprights(layout: Record) -> list[tuple[float, float, str]]:
    """Each cross line and each fold line across."""
    return sorted(
        (float(points_of(stroke)[0, 0]), 0.4, stroke["id"])
        for stroke in layout["strokes"]
        if stroke["layer"] in ("cross", "hem") and LineString(stroke["points"]).length > 0
        if points_of(stroke)[0, 0] == points_of(stroke)[1, 0]
    )
