"""Inches along one side and centimetres along the other, from the one zero.

An inch is 25.4 mm exactly (international yard and pound agreement, 1959). Clearances are shapely's
(GEOS), between inked outlines. What is written is read back by interpreters that no one here
wrote: the SVG by svgelements, the HP-GL by hp2xx and ezdxf (`tests/dialects/interpreters.py`).
"""

from __future__ import annotations

import tomllib
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from svgelements import SVG
from svgelements import Path as SvgPath

from marking.errors import RefusedError
from marking.hand.plan import by_hand
from marking.hand.strips import strips_of
from marking.job.folder import JOB_FILE
from marking.layout.layout import lay_out
from marking.marked_before.readings import numbers_meant
from marking.mending.chosen import strokes_named
from marking.ruling.order import WhoRules
from marking.shipped_files import stock
from tests.conftest import toml
from tests.dialects.interpreters import ARITHMETIC, HALF_UNIT, ezdxf_draws, hp2xx_draws
from tests.driving.machines import SAME_PENS, Plot, command_json
from tests.layout.test_marks_inside_the_grid import numerals_stand_clear
from tests.sections.records import Record, laid_out, planned, points_of

if TYPE_CHECKING:
    from pathlib import Path

    from marking.arrays import FloatArray
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


SMALL: Record = with_keys(CM, "table", length="53 in", width="20 in")
"""Lines 0 to 51 and centimetres 0 to 129: 50 in is 127 cm, where both stand at one place."""


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small table's job, with all its files."""
    folder = tmp_path_factory.mktemp("two-scales")
    (folder / JOB_FILE).write_text(toml(SMALL), "utf-8")
    command_json("write", "--job", str(folder), "--svg", "--hpgl")
    return folder


def uprights_read(lines: FloatArray) -> tuple[FloatArray, FloatArray]:
    """x of each cross line and each centimetre's tick among segments (n, 2, 2), mm from the first:
    told apart by the longest of the lines along the table that lies furthest out, past which ticks
    alone run. Cross lines are met where they meet it, a heavy one by the middle of its passes."""
    along = lines[np.abs(lines[:, 0, 1] - lines[:, 1, 1]) < 0.05]
    long = along[np.ptp(along[:, :, 0], axis=1) > 100]
    first, last = long[:, 0, 1].min(), long[:, 0, 1].max()
    upright = lines[np.abs(lines[:, 0, 0] - lines[:, 1, 0]) < 0.05]
    low, high = upright[:, :, 1].min(axis=1), upright[:, :, 1].max(axis=1)
    crossing = upright[(low < first + 0.05) & (high > first + 100)][:, 0, 0]
    ticks = upright[(np.abs(low - last) < 0.05) & (high > last + 1)][:, 0, 0]
    return np.sort(crossing), np.sort(ticks)


def agrees(crossing: FloatArray, ticks: FloatArray, within: float) -> None:
    """Both scales against fractions of a millimetre, and against each other."""
    groups = np.split(crossing, np.flatnonzero(np.diff(crossing) > 2) + 1)
    lines = np.array([(group[0] + group[-1]) / 2 for group in groups])
    assert len(lines) == 52
    assert len(ticks) == 130
    inches = [Fraction(254, 10) * n for n in range(52)]
    centimetres = [Fraction(10) * n for n in range(130)]
    assert np.abs(lines - lines[0] - np.array(inches, float)).max() <= 2 * within
    assert np.abs(ticks - ticks[0] - np.array(centimetres, float)).max() <= 2 * within
    assert abs(ticks[0] - lines[0]) <= 2 * within
    (shared,) = set(inches[1:]) & set(centimetres[1:])
    assert shared == 1270
    assert abs(ticks[127] - lines[50]) <= 2 * within


def test_both_scales_read_back_from_the_svg_agree_to_the_fraction(written: Path) -> None:
    """The SVG has four decimals, and svgelements takes 1 mm for 0.0393701 in: 5e-7 too much."""
    drawn = SVG.parse(str(written / "out" / "marking.svg"), ppi=25.4, reify=True)
    lines = [
        [(at.start.x, -at.start.y), (at.end.x, -at.end.y)]
        for path in drawn.elements(lambda element: isinstance(element, SvgPath))
        for at in path
        if type(at).__name__ == "Line"
    ]
    agrees(*uprights_read(np.array(lines)), 0.001)


@pytest.mark.parametrize("interpreter", ["hp2xx", "ezdxf"])
def test_both_scales_read_back_from_hpgl_agree_to_half_a_plotter_unit(
    written: Path, interpreter: str, tmp_path: Path
) -> None:
    sections = command_json("section", "--job", str(written))["sections"]
    listed = command_json("write", "--job", str(written), "--hpgl")["files"]
    files = {file["section"]: file for file in listed if file["path"].endswith(".hpgl")}
    profile = stock().joinpath("plotters", "flatbed-24x36.toml").read_text("utf-8")
    parts, units = [], []
    for section in sections:
        file = files[section["id"]]
        plot = Plot(
            section["id"],
            (written / "out" / file["path"]).read_bytes(),
            section["strokes"],
            tuple(section["window"]),
            tuple(file["origin"]),
            tomllib.loads(profile),
            SAME_PENS,
            section["turned"],
        )
        by_pen = (
            hp2xx_draws(plot.program, plot.usable, tmp_path)
            if interpreter == "hp2xx"
            else ezdxf_draws(plot.program)
        )
        parts += [plot.on_table(lines) for lines in by_pen.values()]
        units.append(plot.unit)
    assert len(sections) > 1
    agrees(*uprights_read(np.concatenate(parts)), (HALF_UNIT + ARITHMETIC) * max(units))


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
    numerals_stand_clear(job, layout)
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
    plan = by_hand(layout, job, WhoRules())
    assert [t.numerals["far"].text for t in plan.far.scale if t.numerals][:3] == ["0", "5", "10"]
    assert plan.far.scale[127].reading == pytest.approx(1270.0, abs=0.5)
    assert plan.far.scale_out == pytest.approx(25.4 / 4)
    assert not plan.near.scale
    assert len(plan.far.numerals) == 60
    far = [strip for strip in strips_of(layout, job, "letter").strips if strip.side == "far"]
    assert sum(tick.out > 0 for strip in far for tick in strip.ticks) == 300
    assert sum(len(strip.numerals) for strip in far) == 60
    meant = numbers_meant(layout)
    assert meant["far"] == tuple(str(n) for n in range(0, 300, 5))
    assert meant["near"] == tuple(str(n) for n in range(119))
    assert any("far side counts centimetres" in warning for warning in layout.warnings)
    fifteen = next(
        one for one in layout.numerals if one.numeral.text == "15" and one.numeral.row == "other"
    )
    assert strokes_named(layout, "15 far") == fifteen.strokes


def test_ticks_in_the_margin_make_no_numeral_inside_the_grid_smaller(make_job: MakeJob) -> None:
    """Band, middle and line numerals stand among the cross lines, where no centimetre's tick is."""
    inside = {"hems": {"from": "line"}, "grid": {"lines": [{"at": "14 in", "name": "A"}]}}
    tables = {**with_keys(CM, "numerals", middle_every=6), **inside}
    rows: list[Any] = []
    for other in ("far", "none"):
        _, layout = laid_out(make_job, with_keys(tables, "numerals", other_unit=other))
        rows.append(
            [
                (n["text"], n["at"], n["height"])
                for n in layout["numerals"]
                if n.get("row") in ("band", "line", "middle") and n["side"] == "near"
            ]
        )
    with_ticks, without = ({(text, height) for text, _, height in row} for row in rows)
    assert with_ticks == without
    assert len(rows[0]) == len(rows[1]) > 20


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
