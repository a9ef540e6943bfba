"""Inches along one side and centimetres along the other, from the one zero.

An inch is 25.4 mm exactly (international yard and pound agreement, 1959). Clearances are shapely's
(GEOS), between inked outlines; what a plotter would draw is read back from its HP-GL.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import STRtree

from marking.errors import RefusedError
from marking.hand.plan import by_hand
from marking.hand.strips import strips_of
from marking.layout.layout import lay_out
from marking.marked_before.readings import numbers_meant
from marking.ruling.order import Manner
from tests.layout.test_marks_inside_the_grid import outlines
from tests.sections.records import Record, laid_out, planned, points_of

if TYPE_CHECKING:
    from tests.conftest import MakeJob

CM: Record = {
    "table": {"length": "120 in", "width": "60 in"},
    "numerals": {"other_unit": "far"},
    "plotter": {"profile": "flatbed-24x36"},
}
INCHES: Record = {
    "units": "mm",
    "table": {"length": "1800 mm", "width": "900 mm"},
    "grid": {"pitch": "20 mm", "heavy_every": 13},
    "numerals": {"other_unit": "near", "per_line": 2, "every": 5, "first": 100},
    "plotter": {"profile": "flatbed-24x36"},
}


def with_keys(tables: Record, table: str, **keys: Any) -> Record:
    return {**tables, table: {**tables.get(table, {}), **keys}}


def scale_of(layout: Record) -> dict[int, Record]:
    return {
        int(stroke["id"].rpartition("-")[2]): stroke
        for stroke in layout["strokes"]
        if stroke["id"].startswith("scale-")
    }


def test_every_centimetre_stands_where_fractions_put_it_between_the_inches(
    make_job: MakeJob,
) -> None:
    """118 in from the first line to the last: 299.72 cm, so ticks at 0 to 299."""
    _, layout = laid_out(make_job, CM)
    ticks = scale_of(layout)
    assert list(ticks) == list(range(300))
    zero = points_of(next(s for s in layout["strokes"] if s["id"] == "cross-0"))[0, 0]
    lines = {s["id"]: points_of(s)[0, 0] for s in layout["strokes"] if s["layer"] == "cross"}
    for value, stroke in ticks.items():
        exact = Fraction(value) / Fraction("2.54")
        assert stroke["layer"] == "tick"
        assert points_of(stroke)[:, 0] - zero == pytest.approx(float(exact * Fraction("25.4")))
        if exact.denominator == 1:
            assert points_of(stroke)[0, 0] == lines[f"cross-{exact}"]
    assert [value for value in ticks if (Fraction(value) * 50).numerator % 127 == 0] == [
        0,
        127,
        254,
    ]


def test_a_first_numeral_moves_both_scales_zero(make_job: MakeJob) -> None:
    """100 cm on the zero line: the first whole inch on the table is 40 in = 101.6 cm."""
    _, layout = laid_out(make_job, INCHES)
    first, stroke = next(iter(scale_of(layout).items()))
    zero = points_of(next(s for s in layout["strokes"] if s["id"] == "cross-0"))[0, 0]
    assert first == 40
    assert points_of(stroke)[0, 0] - zero == pytest.approx(16.0)
    assert {n["side"] for n in layout["numerals"] if n.get("row") == "other"} == {"near"}
    assert {n["side"] for n in layout["numerals"] if "row" not in n} == {"far"}


@st.composite
def with_a_scale(draw: st.DrawFn) -> Record:
    tables = draw(st.sampled_from([CM, INCHES]))
    margin = draw(st.integers(24, 50))
    tables = with_keys(tables, "grid", margin=f"{margin} mm", half_ticks=draw(st.booleans()))
    return with_keys(
        tables,
        "numerals",
        other_unit=draw(st.sampled_from(["near", "far"])),
        other_every=draw(st.sampled_from(["auto", 4, 12])),
        clear=f"{draw(st.integers(1, 3))} mm",
    )


@settings(max_examples=10, deadline=None)
@given(tables=with_a_scale())
def test_its_numerals_touch_nothing_stand_at_their_ticks_and_no_join_enters_them(
    make_job: MakeJob, tables: Record
) -> None:
    job, layout, plan, _ = planned(make_job, tables, "plotter")
    numerals, lines = outlines(job, layout)
    tree = STRtree([*lines, *numerals])
    for place, ink in enumerate(numerals):
        near = tree.query(ink, predicate="dwithin", distance=job.numerals.clear - 1e-6)
        assert near.tolist() == [len(lines) + place], layout["numerals"][place]["text"]
    ticks = scale_of(layout)
    joins = {x for section in plan["sections"] for x in section["core"][::2]}
    inner = sorted(joins)[1:-1]
    for stroke in ticks.values():
        x = points_of(stroke)[0, 0]
        assert all(abs(join - x) > job.pens.lines.line_width / 2 for join in inner)
    for numeral in layout["numerals"]:
        left, low, right, high = numeral["box"]
        assert not any(left < join < right for join in inner)
        if numeral.get("row") == "other":
            (x, _), (_, end) = points_of(ticks[numeral["value"]]).tolist()
            assert (left + right) / 2 == pytest.approx(x)
            assert end < low if numeral["side"] == "far" else end > high


def test_it_is_upright_for_who_stands_at_its_side(make_job: MakeJob) -> None:
    """A 5 of the far side, turned half round, is a 5 of the near side, but for its size."""
    shapes = []
    for side in ("near", "far"):
        layout = lay_out(make_job(with_keys(CM, "numerals", other_unit=side)))
        five = next(
            n.numeral for n in layout.numerals if n.numeral.row == "other" and n.numeral.value == 5
        )
        turn = 1 if side == "near" else -1
        shapes.append([(turn * (s - five.at_table)).round(6).tolist() for s in five.strokes_table])
    assert shapes[0] == shapes[1]


def test_sheets_strips_and_what_is_read_back_count_it(make_job: MakeJob) -> None:
    job = make_job(CM)
    layout = lay_out(job)
    plan = by_hand(layout, job, Manner())
    assert [t.numerals["far"].text for t in plan.far.scale if t.numerals][:3] == ["0", "5", "10"]
    assert plan.far.scale[127].reading == pytest.approx(1270.0, abs=0.5)
    assert not plan.near.scale
    assert len(plan.far.numerals) == 60
    far = [strip for strip in strips_of(layout, job, "letter").strips if strip.side == "far"]
    assert sum(tick.out > 0 for strip in far for tick in strip.ticks) == 300
    assert sum(len(strip.numerals) for strip in far) == 60
    meant = numbers_meant(layout)
    assert meant["far"] == tuple(str(n) for n in range(0, 300, 5))
    assert meant["near"] == tuple(str(n) for n in range(119))
    assert any("far side counts centimetres" in warning for warning in layout.warnings)


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        (with_keys(CM, "table", against_wall=True), ["other_unit", "wall", "none"]),
        (with_keys(CM, "numerals", sides=["near"]), ["both carry", 'sides = ["near", "far"]']),
        (
            {**CM, "grid": {"pitch": "10 mm"}, "numerals": {"other_unit": "far", "every": 10}},
            ["count centimetres already"],
        ),
        (
            {**CM, "pens": {"lines": {"slot": 1, "width": "9.8 mm"}}},
            ["run together", "pens.lines", "9.5 mm"],
        ),
        (
            {**with_keys(INCHES, "numerals", other_every=1000)},
            ["other_every = 1000", "smaller"],
        ),
    ],
)
def test_a_scale_that_cannot_be_is_refused_with_what_would_do(
    make_job: MakeJob, tables: Record, said: list[str]
) -> None:
    with pytest.raises(RefusedError) as refused:
        lay_out(make_job(tables))
    for words in said:
        assert words in str(refused.value)
