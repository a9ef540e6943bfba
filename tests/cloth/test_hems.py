"""Hems on the table: what is cut, as published worksheets have it, and the line for each fold.

The worksheets are public pages on making curtains, read in November 2026 and named beside each
figure by site and title.
"""

from __future__ import annotations

import numpy as np
import pytest

from marking.cloth.hem_words import notes, steps
from marking.cloth.hems import hem_plan, job_with_lines
from marking.cloth.panel import Panel, cut_for
from marking.errors import BadInputError, RefusedError
from marking.job.keys import parse_fold
from marking.layout.layout import lay_out

INCH = 25.4


def panel(width=48.0, length=84.0, bottom="double 4 in", heading="double 4 in", **more):
    sides = parse_fold(more.pop("sides", "double 1 1/2 in"))
    head = None if heading is None else parse_fold(heading)
    inches = {key: more.pop(key) * INCH for key in ("repeat", "goods") if key in more}
    return Panel(width * INCH, length * INCH, parse_fold(bottom), sides, head, **inches, **more)


@pytest.mark.parametrize(
    ("finished", "bottom", "heading", "cut"),
    [
        # mylltd.com, "Commonly Used Formulas with Examples": 90 + 16 for hem and header.
        (90, "double 4 in", "double 4 in", 106),
        # homesteady.com, "How to determine needed pinch-pleated drapes": 80 + 16.
        (80, "double 4 in", "double 4 in", 96),
        # inweavefabric.com, "Curtain yardage": header 8 (4 doubled), hems 8 (4 doubled).
        (84, "double 4 in", "double 4 in", 84 + 8 + 8),
        # ehow.co.uk, "How to calculate the amount of fabric needed for curtains": 78 + 8 + 2.
        (78, "double 4 in", "single 2 in", 88),
        # jerisew.blogspot.com, "Lined Curtain Panel Tutorial": 6 (double 3) and 8 (double 4).
        (69, "double 3 in", "double 4 in", 83),
        # pattern-making.com, "Estimating Curtain Material Yardage": a 4 in double hem adds 8.
        (84, "double 4 in", None, 92),
    ],
)
def test_a_length_is_cut_as_published_worksheets_have_it(finished, bottom, heading, cut):
    made = cut_for(panel(length=finished, bottom=bottom, heading=heading), "in")
    assert made.length == made.trimmed == pytest.approx(cut * INCH)


@pytest.mark.parametrize(
    ("needed", "repeat", "cut"),
    [
        # mylltd.com, as above: 106 by 24 is 4.41, so 5 repeats.
        (106, 24, 120),
        # drpinc.net, "Measuring for draperies": 114 by 11 is 10.36, so 11 repeats.
        (114, 11, 121),
        (96, 24, 96),
    ],
)
def test_a_length_with_a_repeat_is_cut_in_whole_repeats(needed, repeat, cut):
    made = cut_for(panel(length=needed - 16.0, repeat=repeat), "in")
    assert made.trimmed == pytest.approx(needed * INCH)
    assert made.length == pytest.approx(cut * INCH)


@pytest.mark.parametrize(
    ("cut_width", "goods", "widths"),
    [
        # homesteady.com: 146.25 by 54 is 2.708; mylltd.com: 352 1/2 by 48 is 7.34;
        # ehow.co.uk: 225 by 54 is 4.1. All as above.
        (146.25, 54, 3),
        (352.5, 48, 8),
        (225, 54, 5),
        (54, 54, 1),
    ],
)
def test_so_many_widths_are_sewn_together_as_published(cut_width, goods, widths):
    made = cut_for(panel(width=cut_width - 6, goods=goods), "in")
    assert made.width == pytest.approx(cut_width * INCH)
    assert made.widths == widths
    assert made.run == pytest.approx(widths * made.length)


def test_widths_of_unknown_cloth_are_cut_with_an_inch_for_each_seam():
    # pattern-making.com, as above: 1 in for each seam of a panel of several widths.
    made = cut_for(panel(width=94.0, widths=2), "in")
    assert made.each is not None
    assert 2 * made.each - INCH == pytest.approx(made.width) == pytest.approx(100 * INCH)


def test_lining_is_cut_4_in_narrower_and_3_in_shorter():
    # jerisew.blogspot.com, as above: 55 by 83 in, lining 51 by 80 in; lovemywindow.com, "Make your
    # own lined curtains": lining 10 cm (4 in) narrower and 7.5 cm (3 in) shorter than the fabric.
    made = cut_for(panel(width=49, length=69, bottom="double 3 in", lined=True), "in")
    assert (made.width, made.length) == pytest.approx((55 * INCH, 83 * INCH))
    assert made.lining == pytest.approx((51 * INCH, 80 * INCH))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"width": 3.0}, "--sides take"),
        ({"length": 10.0}, "they would meet"),
        ({"goods": 0.5}, "narrower than its own seams"),
        ({"width": 100.0, "goods": 54.0, "widths": 1}, "takes 2 widths of 54 in"),
    ],
)
def test_a_panel_that_cannot_be_is_refused_with_what_to_check(wrong, said):
    with pytest.raises(BadInputError, match=said):
        cut_for(panel(**wrong), "in")


@pytest.fixture(scope="module")
def bench(make_job):
    """Reads a bench 60 in by 30 in, and lays it out."""

    def made(**more):
        table = {"length": "60 in", "width": "30 in"}
        job = make_job({"table": table, "hems": {"depth": "6 in"}} | more)
        return job, lay_out(job)

    return made


SMALL = {"width": 20.0, "length": 40.0, "bottom": "double 2 in", "heading": "double 2 in"}


@pytest.mark.parametrize("more", [{}, {"cloth": {"stretch_length": "1 %", "stretch_width": "2 %"}}])
def test_the_line_named_for_a_fold_is_inked_there(bench, more):
    job, layout = bench(**more)
    plan = hem_plan(panel(**SMALL, sides="double 1 1/2 in"), layout, job)
    ink = {stroke.id: stroke.points / layout.slack for stroke in layout.strokes}
    zero, width = ink["cross-0"][0, 0], 30 * INCH
    named = [one for one in plan.laid if one.line is not None and "edge" not in one.line.id]
    assert len(named) >= 11
    for one in named:
        points = ink[one.line.id]
        if one.edge in ("bottom", "top"):
            assert np.allclose(points[:, 0] - zero, one.at)
        else:
            across = points[:, 1] if one.edge == "near side" else width - points[:, 1]
            assert np.allclose(across, one.at)
    assert plan.missing == ()


def test_folded_as_told_the_panel_comes_out_as_asked(bench):
    job, layout = bench()
    plan = hem_plan(panel(**SMALL), layout, job)

    def at(edge, what):
        (found,) = (one.at for one in plan.laid if (one.edge, one.what) == (edge, what))
        return found

    # Along the cut cloth: the bottom's last fold, and from there the top's places.
    bottom = at("bottom", "second fold")
    assert bottom == 2 * at("bottom", "first fold")
    assert at("top", "second fold") == pytest.approx(40 * INCH)
    assert bottom + at("top", "raw edge") == pytest.approx(plan.cut.trimmed)
    # A raw edge turned over the first fold lies inside the second.
    assert 2 * at("top", "first fold") - at("top", "raw edge") == at("top", "second fold")
    near, far = at("near side", "second fold"), at("far side", "second fold")
    assert plan.cut.width - near - far == pytest.approx(20 * INCH)
    order = list(dict.fromkeys(one.edge for one in plan.laid if "fold" in one.what))
    assert order == ["bottom", "near side", "far side", "top"]


def test_a_fold_between_lines_gets_them_from_what_is_said_to_add(bench):
    job, layout = bench()
    plan = hem_plan(
        panel(**SMALL | {"bottom": "double 2 1/4 in"}, sides="single 1 1/4 in"), layout, job
    )
    assert [(one.edge, one.what) for one in plan.missing] == [
        ("bottom", "first fold"),
        ("bottom", "second fold"),
        ("near side", "fold"),
        ("far side", "fold"),
    ]
    mended = job_with_lines(plan, job)
    assert mended is not None
    assert mended.hems.cross_folds
    assert hem_plan(plan.panel, lay_out(mended), mended).missing == ()


@pytest.mark.parametrize("sides", ["single 1/2 in", "double 8 in"])
def test_no_key_is_named_where_none_gives_the_line(bench, sides):
    # In the margin under the numerals; past the middle of the table.
    job, layout = bench(hems={"depth": "6 in", "folds": ["single 1 in"]})
    plan = hem_plan(panel(**SMALL | {"width": 90.0}, sides=sides), layout, job)
    assert plan.missing
    assert job_with_lines(plan, job) is None


def test_a_hem_deeper_than_the_band_is_given_lines_of_its_own(bench):
    job, layout = bench()
    plan = hem_plan(panel(**SMALL | {"width": 40.0}, sides="double 4 in"), layout, job)
    assert plan.missing == ()
    bare, _ = bench(hems={"depth": "6 in", "folds": ["single 1 in"]})
    plan = hem_plan(panel(**SMALL | {"width": 40.0}, sides="double 4 in"), lay_out(bare), bare)
    assert {one.at / INCH for one in plan.missing} == {8.0}
    mended = job_with_lines(plan, bare)
    assert mended is not None
    assert not mended.hems.cross_folds


def test_cloth_longer_than_the_lines_is_shifted_to_where_all_of_it_lies_on_them(bench):
    job, layout = bench()
    last = 58
    for length in (40.0, 50.0, 54.0, 57.0, 58.0, 100.0, 150.5):
        plan = hem_plan(panel(**SMALL | {"length": length}), layout, job)
        assert plan.longest == pytest.approx(last * INCH)
        (cut,) = (one.at for one in plan.laid if one.what == "cut")
        tops = [one.at for one in plan.laid if one.edge == "top" and one.what != "cut"]
        for shift, places, whole in (
            (plan.shift_to_cut, [cut], plan.cut.length),
            (plan.shift_to_head, tops, (length + 4) * INCH),
        ):
            moved = 0.0 if shift is None else shift.at * shift.times
            assert (shift is None) == (whole <= last * INCH + 1e-6)
            assert moved + places[0] == pytest.approx(whole)
            assert all(-1e-6 <= place <= last * INCH + 1e-6 for place in places)
            if shift is not None:
                assert shift.at <= last * INCH
                # On a line.
                assert shift.at / INCH == pytest.approx(round(shift.at / INCH))


def test_a_panel_far_too_long_for_the_table_is_refused(bench):
    job, layout = bench()
    with pytest.raises(RefusedError, match="--length: 3998 in along"):
        hem_plan(panel(**SMALL | {"length": 3990.0}), layout, job)


def test_a_far_edge_that_runs_off_is_told_before_cloth_is_laid_to_it(millrace, make_job):
    # The demo's far end is 1/16 in short, as much as its tolerance; here it is 1/4 in.
    survey = {
        "near": "60 in",
        "far": "60 in",
        "zero_end": "30 in",
        "far_end": "30 1/4 in",
        "diagonal_from_zero_near": "67 3/16 in",
        "diagonal_from_zero_far": "67 3/32 in",
    }
    job = make_job({"table": {"length": "60 in", "width": "30 in", "survey": survey}})
    told = {}
    for one in (millrace, job):
        layout = lay_out(one)
        plan = hem_plan(panel(**SMALL), layout, one)
        told[one.title] = " ".join(notes(plan, layout, one, inked=False))
    assert "runs off" not in told[millrace.title]
    assert "The far edge of this table runs off by 1/4 in" in told[job.title]


def told_of(plan, layout, job):
    """Steps and notes, as one text."""
    moves = [move for _, one in steps(plan, job) for move in one]
    return " ".join([*moves, *notes(plan, layout, job, inked=False)])


def test_the_zero_line_is_called_by_the_numeral_that_stands_on_it(bench):
    job, layout = bench(numerals={"first": 150})
    plan = hem_plan(panel(**SMALL | {"length": 100.0}), layout, job)
    told = told_of(plan, layout, job)
    assert "Lay the raw edge on line 150." in told
    assert "until both marks lie on line 150" in told
    assert "line 0" not in told


@pytest.mark.parametrize("counted", ["edge", "line"])
def test_at_a_wall_both_sides_are_hemmed_by_the_lines_of_the_near_side(bench, counted):
    job, layout = bench(
        table={"length": "60 in", "width": "30 in", "against_wall": True},
        hems={"depth": "6 in", "from": counted},
    )
    plan = hem_plan(panel(**SMALL), layout, job)
    assert {one.edge for one in plan.laid} == {"bottom", "near side", "top"}
    assert plan.missing == ()
    told = told_of(plan, layout, job)
    where = {"edge": "the table's near edge", "line": "the first long line of the near side"}
    assert f"Turn the cloth end for end, lay its other raw edge on {where[counted]}" in told
    wide = hem_plan(panel(**SMALL | {"width": 40.0}), layout, job)
    told = told_of(wide, layout, job)
    assert "pull it off the wall" in told
    assert "hang over" not in told
    assert "far" not in told


def test_hems_from_the_line_are_not_told_of_the_margin(bench):
    job, layout = bench(hems={"depth": "6 in", "from": "line", "folds": ["single 1 in"]})
    plan = hem_plan(panel(**SMALL | {"width": 90.0}, sides="double 8 in"), layout, job)
    told = told_of(plan, layout, job)
    assert "No key gives these lines: one past the middle" in told
    # 1 in of margin is no room for cloth that is laid to the first long line.
    assert "the table is 29 in, from the first long line on" in told
