"""Tape marks: set out from one zero, square by Pythagoras, on lines that will be inked.

The outside authorities: the 3-4-5 (Euclid I.48), steel's expansion (surveying handbooks), a PDF
reader and an SVG renderer that are no part of this project, and scipy.
"""

from __future__ import annotations

import io
import re

import numpy as np
import pypdfium2
import pytest
from msgspec.structs import asdict
from PIL import Image
from scipy import stats

from marking.begun.on_the_cover import COVER, plan_hash, tape_marks_set_out
from marking.drawing.pdf import pdf
from marking.drawing.svg import svg
from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.output.tape_sheet import tape_sheet_pages
from marking.record.record import layout_hash, open_record
from marking.tape_marks.marks import marks_on, row_joins, set_out, tape_datum
from tests.output.printed import drawn_by_resvg, inked_box, text_of

SIX_INCHES = 6 * 25.4


@pytest.fixture(scope="module")
def control(millrace_layout):
    return set_out(millrace_layout, SIX_INCHES, Tape(), "in")


def test_marks_stand_on_crossings_along_the_long_edges(control, millrace_layout):
    grid = millrace_layout.grid
    for line, y in (("near", grid.long_lines[0].y), ("far", grid.long_lines[-1].y)):
        marks = marks_on(control, line)
        xs = [mark.mark.at_table[0] for mark in marks]
        assert set(xs) <= set(grid.cross_x.tolist())
        assert {mark.mark.at_table[1] for mark in marks} == {y}
        assert (xs[0], xs[-1]) == (grid.cross_x[0], grid.cross_x[-1])
        assert max(np.diff(xs)) <= SIX_INCHES + 1e-9


def test_marks_across_the_ends_stand_on_the_first_and_the_last_cross_line(control, millrace_layout):
    grid = millrace_layout.grid
    assert {m.mark.at_table[0] for m in marks_on(control, "zero")} == {grid.cross_x[0]}
    assert {m.mark.at_table[0] for m in marks_on(control, "end")} == {grid.cross_x[-1]}
    without = set_out(millrace_layout, SIX_INCHES, Tape(), "in", ends=False)
    assert {mark.line for mark in without.marks} == {"near", "far"}


def test_no_two_marks_share_a_name_or_a_place(control):
    assert len({mark.mark.id for mark in control.marks}) == len(control.marks)
    assert len({mark.mark.at_table for mark in control.marks}) == len(control.marks)


def test_every_reading_is_from_the_one_zero_and_none_is_added_to_the_last(control):
    # Moved on from mark to mark, a rounding of up to 1/64 in each would add up; from one zero the
    # reading of line 144 is 144 inches, whatever was read before it.
    for line in ("near", "far"):
        for mark in marks_on(control, line):
            assert mark.run.length == pytest.approx(mark.place * 25.4, abs=1e-9)
            assert mark.run.reading == pytest.approx(mark.run.length, abs=1e-9)


def test_every_row_between_has_its_marks_however_many_there_are(millrace_layout):
    y0 = millrace_layout.grid.long_lines[0].y
    heights = [y0 + 25.4 * n for n in range(1, 46)]
    control = set_out(millrace_layout, SIX_INCHES, Tape(), "in", heights=heights)
    assert [row.up.length for row in control.rows] == pytest.approx([y - y0 for y in heights])
    names = [mark.mark.id for mark in control.marks]
    assert len(set(names)) == len(names)
    heights_marked = {round(mark.mark.at_table[1], 6) for mark in control.marks}
    assert {round(y, 6) for y in heights} <= heights_marked


def test_a_warm_tape_reads_less_over_the_same_length(millrace_layout):
    # Handbooks: 11.6e-6 per degree C. At 35 C, 15 degrees over, line 147 of 3733.8 mm.
    warm = set_out(millrace_layout, SIX_INCHES, Tape(temperature=35), "in")
    last = marks_on(warm, "near")[-1].run
    assert last.correction == pytest.approx(-3733.8 * 11.6e-6 * 15, rel=1e-3)


@pytest.mark.parametrize(("units", "whole"), [("in", 25.4), ("mm", 10.0)])
def test_the_square_is_the_largest_3_4_5_in_whole_units(millrace_layout, units, whole):
    square = set_out(millrace_layout, SIX_INCHES, Tape(), units).square
    along, up, slope = square.ratio
    assert along**2 + up**2 == slope**2
    assert sorted(np.array([along, up, slope]) * 5 // slope) == [3, 4, 5]
    assert square.slope.length == pytest.approx(slope * whole)
    grid = millrace_layout.grid
    length = grid.cross_x[-1] - grid.cross_x[0]
    height = grid.long_lines[-1].y - grid.long_lines[0].y
    assert square.along.length <= length
    assert square.up.length <= height
    n = slope // 5 + 1
    assert not (4 * n * whole <= length and 3 * n * whole <= height)
    assert not (3 * n * whole <= length and 4 * n * whole <= height)


def test_the_millrace_square_is_60_80_100_inches(control):
    # 20 times 3-4-5: the marking is 147 by 61 15/16 in, and 21 times would need 63 in.
    assert control.square.ratio == (80, 60, 100)


def test_the_diagonals_show_a_lean_as_the_sheet_says(control):
    length = marks_on(control, "near")[-1].run.length
    height = control.height.length
    lean = 2.0
    longer = np.hypot(length + lean, height)
    shorter = np.hypot(length - lean, height)
    shift = (longer - shorter) * control.diagonals.shift_per_difference
    assert shift == pytest.approx(lean, rel=1e-3)
    assert control.diagonals.run.length == pytest.approx(np.hypot(length, height))


def test_two_good_diagonals_agree_within_what_the_sheet_allows_95_times_in_100(control):
    one_tape = np.random.default_rng(7)
    sd = control.diagonals.allowed / stats.norm.ppf(0.975) / np.sqrt(2)
    differences = np.diff(one_tape.normal(0, sd, (20_000, 2)), axis=1)
    within = (np.abs(differences) <= control.diagonals.allowed).mean()
    assert within == pytest.approx(0.95, abs=0.005)


def test_marks_share_the_tapes_scale_and_the_lean_of_the_zero_line(control):
    datum = tape_datum(control)
    by_id = {mark.mark.id: mark.mark.at_table for mark in control.marks}
    zero, last, up = datum.moves([by_id[name] for name in ("n0", "n147", "f0")])
    assert zero.tolist() == [[0, 0], [0, 0]]
    # Class II: half of 0.2 mm a metre; and 2 degrees of steel.
    assert last[0] == pytest.approx([3733.8 * np.hypot(0.1e-3, 2 * 11.6e-6), 0])
    assert last[1].tolist() == [0, 0]
    # The far line stands as far along as the diagonals cannot tell: 95 of 100 within 1.96 of it.
    diagonals = control.diagonals
    far = diagonals.allowed * diagonals.shift_per_difference / stats.norm.ppf(0.975)
    assert up[0] == pytest.approx([0, far], rel=1e-4)
    assert up[1] == pytest.approx([control.height.length * datum.scale_sd, 0])


def test_a_tape_compared_with_a_known_length_shifts_the_marks_by_less(millrace_layout):
    by_class = set_out(millrace_layout, SIX_INCHES, Tape(), "in")
    known = set_out(millrace_layout, SIX_INCHES, Tape(scale_sd=0.02e-3), "in")
    assert tape_datum(known).scale_sd < tape_datum(by_class).scale_sd / 3


def test_slack_cloth_has_its_marks_where_the_slack_lines_are(make_job):
    job = make_job(
        {
            "table": {"length": "150 in", "width": "64 in"},
            "cloth": {"stretch_length": "2 %"},
        }
    )
    layout = lay_out(job)
    control = set_out(layout, SIX_INCHES, Tape(), "in")
    mark = marks_on(control, "near")[1]
    assert mark.mark.at_table[0] in layout.grid.cross_x
    assert mark.run.length == pytest.approx(mark.place * 25.4 / 1.02)


def test_a_marking_too_small_for_a_whole_3_4_5_is_told_what_to_use(make_job):
    job = make_job(
        {
            "table": {"length": "6 in", "width": "5 in"},
            "grid": {"margin": "1 in", "end_margin": "2 in"},
            "hems": {"depth": "1 in", "folds": []},
            "numerals": {"sides": []},
        }
    )
    with pytest.raises(RefusedError, match="framing square"):
        set_out(lay_out(job), SIX_INCHES, Tape(), "in")


def test_the_sheet_is_one_page_with_every_reading_and_prints_true_to_size(
    control, millrace_layout, millrace
):
    pages = tape_sheet_pages(control, millrace_layout, millrace.title, "in", "letter")
    assert len(pages) == 1
    printed = pypdfium2.PdfDocument(pdf(pages))
    assert len(printed) == 1
    assert printed[0].get_size() == pytest.approx((612, 792), abs=0.1)
    by_pdf = np.asarray(printed[0].render(scale=1).to_pil().convert("L"), dtype=float)
    by_svg = np.asarray(
        Image.open(io.BytesIO(drawn_by_resvg(svg(pages[0]), by_pdf.shape[1]))).convert("L"),
        dtype=float,
    )
    rows, columns = np.minimum(by_pdf.shape, by_svg.shape)
    # Both renderers blur thin strokes their own way; the ink lies in the same places.
    alike = np.corrcoef(by_pdf[:rows, :columns].ravel(), by_svg[:rows, :columns].ravel())[0, 1]
    assert alike > 0.9


def test_nothing_on_the_sheet_runs_off_the_paper(control, millrace_layout, millrace):
    for paper in ("a4", "letter"):
        for spacing in (25.4, SIX_INCHES, 24 * 25.4):
            some = set_out(millrace_layout, spacing, Tape(temperature=27), "in")
            for page in tape_sheet_pages(some, millrace_layout, millrace.title, "in", paper):
                left, low, right, high = inked_box(page)
                wide, tall = page.size
                assert min(left, low, wide - right, tall - high) >= 6


def test_the_sheet_is_the_same_bytes_every_time(control, millrace_layout, millrace):
    pages = [
        tape_sheet_pages(control, millrace_layout, millrace.title, "in", "a4") for _ in range(2)
    ]
    assert pdf(pages[0]) == pdf(pages[1])
    assert svg(pages[0][0]) == svg(pages[1][0])
    assert b"CreationDate (D:20000101" in pdf(pages[0])


def test_rows_along_joins_are_named_from_the_near_edge_without_a_gap(
    millrace_layout, millrace_plan
):
    heights = row_joins(millrace_plan)
    control = set_out(millrace_layout, SIX_INCHES, Tape(), "in", heights=heights)
    names = [row.letter for row in control.rows]
    # The alphabet as every sewist says it, after what tells a row from the other lines' marks.
    assert [name[-1] for name in names] == list("abcdef")[: len(heights)]
    assert len(heights) == 6
    ids = [mark.mark.id for mark in control.marks]
    assert len(set(ids)) == len(ids)
    others = {mark.mark.id[0] for mark in control.marks if mark.line != "row"} | {"w"}
    assert not {name[0] for name in names} & others
    many = set_out(millrace_layout, SIX_INCHES, Tape(), "in", heights=np.linspace(50, 1500, 60))
    assert len({row.letter for row in many.rows}) == 60


def test_a_row_that_is_set_out_keeps_the_name_that_is_written_beside_it(
    millrace_layout, millrace_plan
):
    heights = row_joins(millrace_plan)
    first = set_out(millrace_layout, SIX_INCHES, Tape(), "in", heights=heights[::2])
    more = set_out(millrace_layout, SIX_INCHES, Tape(), "in", heights=heights, named=first.rows)
    before = {mark.mark.id: mark.mark.at_table for mark in first.marks}
    after = {mark.mark.id: mark.mark.at_table for mark in more.marks}
    assert len(after) > len(before)
    assert {name: after[name] for name in before} == before


def test_rows_that_version_0_1_set_out_keep_its_letters(tmp_path, millrace_layout, millrace_plan):
    """It kept where rows stand and not their names; they are written on the cover."""
    heights = row_joins(millrace_plan)
    with open_record(tmp_path) as record:
        record.add_check(
            layout_hash(millrace_layout),
            "control",
            COVER,
            {
                "spacing": SIX_INCHES,
                "heights": heights,
                "tape": asdict(Tape()),
                "plan": plan_hash(millrace_plan),
            },
        )
        control = tape_marks_set_out(record, millrace_layout, "in")
    assert [row.letter for row in control.rows] == ["a", "b", "d", "g", "h", "i"]


SPOKEN = {
    "half the": 0.5,
    "two thirds of the": 2 / 3,
    "three quarters of the": 0.75,
    "the": 1.0,
    "one and a half times the": 1.5,
    "twice the": 2.0,
    "three times the": 3.0,
}


@pytest.mark.parametrize(
    ("length", "width"),
    [("150 in", "64 in"), ("75 in", "64 in"), ("64 in", "64 in"), ("2 m", "3 m")],
)
def test_the_far_line_is_shifted_by_a_share_that_a_person_can_take(make_job, length, width):
    """Taken as the sheet says it, most of the difference is gone, and measuring again shows it.

    By the diagonals of a sheared rectangle themselves, without the rule for small shifts.
    """
    job = make_job({"table": {"length": length, "width": width}})
    layout = lay_out(job)
    control = set_out(layout, SIX_INCHES, Tape(), "in")
    printed = text_of(pdf(tape_sheet_pages(control, layout, job.title, "in", "letter")))
    said = re.search(r"Diagonals .* zero end by (.+?) difference; .*measure both again", printed)
    assert said is not None, printed
    grid = layout.grid
    run = float(grid.cross_x[-1] - grid.cross_x[0])
    rise = grid.long_lines[-1].y - grid.long_lines[0].y

    def difference(lean):
        return np.hypot(run + lean, rise) - np.hypot(run - lean, rise)

    found = difference(3.0)
    assert abs(difference(3.0 - SPOKEN[said[1]] * found)) < 0.2 * found
