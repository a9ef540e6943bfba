"""Named lines, centre line, second zero, middle row, first numeral and a wall, each with the rest.

Clearances are shapely's (GEOS), between inked outlines. Which lines a workroom wants where is
common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from marking.errors import RefusedError
from marking.layout.layout import lay_out
from tests.layout.test_marks_inside_the_grid import numerals_stand_clear
from tests.sections.records import Record, laid_out, planned, points_of

if TYPE_CHECKING:
    from tests.conftest import MakeJob

INCH = 25.4
SWAGS: Record = {
    "table": {"length": "120 in", "width": "72 in"},
    "grid": {
        "centre_line": True,
        "bias": [20],
        "lines": [
            {"at": "54 in"},
            {"at": "27 in", "start": "10 in", "end": "60 in", "name": "S27"},
        ],
    },
    "hems": {"from": "line"},
    "numerals": {"second_zero": "middle", "middle_every": 6},
    "plotter": {"profile": "flatbed-24x36"},
}
WALL: Record = {
    "table": {"length": "90 in", "width": "60 in", "against_wall": True},
    "grid": {"lines": [{"at": "48 in"}], "long_lines": "full"},
    "numerals": {"first": 150, "middle_every": 12},
    "plotter": {"profile": "flatbed-24x36"},
}


def with_keys(tables: Record, table: str, **keys: Any) -> Record:
    return {**tables, table: {**tables.get(table, {}), **keys}}


@pytest.mark.parametrize("tables", [SWAGS, WALL], ids=["swags", "wall"])
def test_nothing_for_particular_work_touches_other_ink_and_all_is_inked_once(
    make_job: MakeJob, tables: Record
) -> None:
    job, layout, plan, _ = planned(make_job, tables, "plotter")
    numerals_stand_clear(job, layout)
    core = {section["id"]: section["core"] for section in plan["sections"]}
    for numeral in layout["numerals"]:
        own = {
            section["id"]
            for section in plan["sections"]
            for stroke in section["strokes"]
            if stroke["of"] in numeral["strokes"]
        }
        assert len(own) == 1, numeral["text"]
        x0, y0, x1, y1 = core[own.pop()]
        box = numeral["box"]
        assert min(box[0] - x0, x1 - box[2], box[1] - y0, y1 - box[3]) >= -1e-6, numeral["text"]


def test_lines_lie_at_their_distances_from_where_hems_are_counted(make_job: MakeJob) -> None:
    """By hand: the first long line 1 in from the edge, so 54 at 55 in, the middle of 1 and 71 at
    36 in."""
    _, layout = laid_out(make_job, SWAGS)
    strokes = {stroke["id"]: points_of(stroke) for stroke in layout["strokes"]}
    assert strokes["line-1"][:, 1] == pytest.approx(55 * INCH)
    assert strokes["line-2"].tolist() == [
        pytest.approx([11 * INCH, 28 * INCH]),
        pytest.approx([61 * INCH, 28 * INCH]),
    ]
    assert strokes["centre-line"][:, 1] == pytest.approx(36 * INCH)
    ends = sorted(n["at"][0] for n in layout["numerals"] if n.get("row") == "line")
    assert ends[0] < 2 * INCH
    assert ends[-1] > 118 * INCH


def test_the_second_row_counts_both_ways_from_the_middle(make_job: MakeJob) -> None:
    _, layout = laid_out(make_job, SWAGS)
    second = [n for n in layout["numerals"] if n.get("row") == "second" and n["side"] == "near"]
    first = {n["at"][0]: n for n in layout["numerals"] if "row" not in n and n["side"] == "near"}
    assert len(second) == len(first) == 119
    for numeral in second:
        over = first[numeral["at"][0]]
        assert numeral["value"] == abs(over["value"] - 59)
        assert numeral["height"] < over["height"]
        assert over["box"][3] < numeral["box"][1]


def test_a_table_against_a_wall_is_worked_from_its_near_side(make_job: MakeJob) -> None:
    job, layout, plan, _ = planned(make_job, WALL, "reach")
    assert {numeral["side"] for numeral in layout["numerals"]} == {"near"}
    assert not [s for s in layout["strokes"] if s["id"].startswith(("hem-far", "fold-far"))]
    assert layout["numerals"][0]["text"] == "150"
    for section in plan["sections"]:
        assert section["core"][3] <= job.reach.depth
    (part,) = plan["unreached"]
    assert part["box"][1] == plan["sections"][0]["core"][3]
    assert any("against a wall" in text and "reaches beyond" in text for text in plan["warnings"])
    _, _, by_plotter, _ = planned(make_job, WALL, "plotter")
    assert any("off the wall" in text for text in by_plotter["warnings"])


CROWDED: Record = {
    "table": {"length": "60 in", "width": "30 in"},
    "numerals": {"middle_every": 1},
    "plotter": {"profile": "flatbed-a3"},
}


def test_a_middle_row_that_no_join_can_pass_is_told_before_sections_and_named_by_them(
    make_job: MakeJob,
) -> None:
    """Beside every inch line stand two numerals, one read from each side: none is cut, so that
    from the two-digit ones on nothing can be parted. With one line in three a cell stays bare."""
    told = [w for w in lay_out(make_job(CROWDED)).warnings if "no bare cloth for a join" in w]
    assert len(told) == 1
    assert "10 in to 59 in" in told[0]
    assert "middle_every = 3 leaves some" in told[0]
    with pytest.raises(RefusedError, match=r"numerals in the middle.*middle_every = 3 leaves some"):
        planned(make_job, CROWDED, "plotter")
    thinner = with_keys(CROWDED, "numerals", middle_every=3)
    _, layout, plan, _ = planned(make_job, thinner, "plotter")
    assert not [w for w in layout["warnings"] if "no bare cloth for a join" in w]
    assert len(plan["sections"]) > 4
    # Where the bed is too small by itself, the row is not blamed for it.
    tiny = {**thinner, "plotter": {"profile": "flatbed-a3", "y_size": "12 mm"}}
    with pytest.raises(RefusedError) as refused:
        planned(make_job, tiny, "plotter")
    assert "middle" not in str(refused.value)


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        (with_keys(SWAGS, "grid", lines=[{"at": "80 in"}]), ["80 in", "off the table", "70 in"]),
        (
            with_keys({**SWAGS, "hems": {}}, "grid", lines=[{"at": "1/2 in"}]),
            ["1/2 in", "margin", "numerals", "1 in"],
        ),
        (with_keys(SWAGS, "grid", lines=[{"at": "4 1/32 in"}]), ["run into hem-near-4", "0.79 mm"]),
        (
            with_keys(SWAGS, "grid", lines=[{"at": "20 in", "end": "130 in"}]),
            ["20 in", "last cross line", "118 in"],
        ),
        (with_keys(SWAGS, "numerals", second_zero="130 in"), ["130 in", "off the table", "118 in"]),
        (with_keys(SWAGS, "numerals", second_zero="8 1/2 in"), ["collide", "8 in", "9 in"]),
        (
            with_keys(with_keys(SWAGS, "grid", margin="3/8 in"), "numerals", clear="1/8 in"),
            ["second_zero", "share the margin"],
        ),
        (with_keys(SWAGS, "hems", depth="36 in"), ["hems.depth", "first long lines", "at most"]),
        (
            {**WALL, "grid": {"pitch": "1/4 in"}, "numerals": {"first": 1_000_000}},
            ["none fit", "numerals.first", "1000000"],
        ),
        (with_keys(WALL, "numerals", sides=["far"]), ["far side", "wall", "near"]),
        (with_keys(WALL, "grid", lines=[{"at": "9 in", "side": "far"}]), ["wall", "near"]),
    ],
)
def test_what_cannot_be_is_refused_with_what_would_do(
    make_job: MakeJob, tables: Record, said: list[str]
) -> None:
    with pytest.raises(RefusedError) as refused:
        lay_out(make_job(tables))
    for words in said:
        assert words in str(refused.value)
