"""Hem bands from the first long line, their numerals and dashes, over random but legal jobs.

Clearances are shapely's (GEOS), between inked outlines: centre lines buffered by half a pen.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, STRtree, union_all

from tests.driving.side_by_side import parallels
from tests.sections.random_jobs import in_mm, jobs
from tests.sections.records import Record, laid_out, planned, points_of

if TYPE_CHECKING:
    from devices.job import Job
    from tests.conftest import MakeJob


@st.composite
def from_the_line(draw: st.DrawFn) -> Record:
    """A legal job whose bands are counted from the first long lines."""
    tables = draw(jobs(longest=90.0, widest=70.0))
    width, margin = in_mm(tables["table"]["width"]), in_mm(tables["grid"]["margin"])
    depth = min(in_mm(tables["hems"]["depth"]), max(0.0, width / 2 - margin - 15))
    tables["hems"] |= {
        "from": "line",
        "depth": f"{math.floor(depth)} mm",
        "number_every": draw(st.sampled_from(["auto", 1, 3])),
        "number_apart": f"{draw(st.integers(100, 1200))} mm",
    }
    return tables


def outlines(job: Job, layout: Record) -> tuple[list[Any], list[Any]]:
    """The ink of each numeral and of each line, as areas on the cloth."""
    strokes = {stroke["id"]: stroke for stroke in layout["strokes"]}
    half = job.pens.numerals.width / 2
    numerals = [
        union_all([LineString(points_of(strokes[s])).buffer(half) for s in numeral["strokes"]])
        for numeral in layout["numerals"]
    ]
    lines = [
        LineString(line).buffer(pen.width / 2)
        for stroke in layout["strokes"]
        if stroke["layer"] != "numeral"
        for pen in [job.pens.named(stroke["pen"])]
        for line in parallels(stroke["points"], pen.passes, pen.width)
    ]
    return numerals, lines


def numerals_stand_clear(job: Job, layout: Record) -> list[Any]:
    """All ink, as areas on the cloth, none of it nearer to a numeral than it may be."""
    numerals, lines = outlines(job, layout)
    inked = [*lines, *numerals]
    tree = STRtree(inked)
    for place, ink in enumerate(numerals):
        # Where nothing is to be kept clear ink may meet ink, and not lie over it.
        least = max(job.numerals.clear - 1e-6, 0.0)
        near = tree.query(ink if least else ink.buffer(-1e-6), predicate="dwithin", distance=least)
        assert near.tolist() == [len(lines) + place], layout["numerals"][place]["text"]
    return inked


@settings(max_examples=15)
@given(tables=from_the_line())
def test_numerals_in_the_bands_touch_no_line_and_no_numeral(
    make_job: MakeJob, tables: Record
) -> None:
    tables["cloth"] = {}
    job, layout = laid_out(make_job, tables)
    numerals_stand_clear(job, layout)


@settings(max_examples=15)
@given(tables=from_the_line())
def test_a_numeral_of_a_band_stands_on_the_line_at_its_number_as_its_reader_sees_it(
    make_job: MakeJob, tables: Record
) -> None:
    """At `n` pitches from the first long line, the numeral on the far side of it from the reader,
    upright for whoever stands at that side: a digit's last stroke ends are no oracle for which way
    up it is, but numerals of the margins are, being the same strokes larger."""
    job, layout = laid_out(make_job, tables)
    across = layout["fit"]["slack"]["across"]
    ys = {line: points_of(s)[0, 1] for s in layout["strokes"] for line in [s["id"]]}
    for numeral in layout["numerals"]:
        if numeral.get("row") != "band":
            continue
        way = 1 if numeral["side"] == "near" else -1
        counted = numeral["value"] / job.numerals.per_line * job.grid.pitch * across
        line = ys[f"long-{numeral['side']}"] + way * counted
        low, high = numeral["box"][1::2]
        foot = low if way > 0 else -high
        assert foot > way * line
        assert foot - way * line < job.numerals.clear + job.pens.lines.line_width / 2 + 0.5


@settings(max_examples=12, deadline=None)
@given(tables=from_the_line(), zone=st.sampled_from(["plotter", "reach"]))
def test_no_join_enters_a_numeral_of_a_band_and_every_dash_is_inked_once(
    make_job: MakeJob, tables: Record, zone: str
) -> None:
    _, layout, plan, _ = planned(make_job, tables, zone)
    for section in plan["sections"]:
        x0, y0, x1, y1 = section["core"]
        for numeral in layout["numerals"]:
            left, low, right, high = numeral["box"]
            for join, start, end in ((x0, left, right), (x1, left, right)):
                assert not start + 1e-6 < join < end - 1e-6, numeral["text"]
            if y0 < high and y1 > low and x0 < right and x1 > left:
                assert y0 <= low + 1e-6, numeral["text"]
                assert high <= y1 + 1e-6, numeral["text"]
    held = [*plan["sections"], *plan["unreached"]]
    drawn: dict[str, float] = {}
    for piece in (piece for holder in held for piece in holder["strokes"]):
        length = math.dist(*points_of(piece)[[0, -1]])
        drawn[piece["of"]] = drawn.get(piece["of"], 0.0) + length
    for stroke in layout["strokes"]:
        if "-d" in stroke["id"]:
            assert drawn[stroke["id"]] == pytest.approx(math.dist(*points_of(stroke)))
