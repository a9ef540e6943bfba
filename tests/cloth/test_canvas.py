"""The canvas over a top: which width serves, where a seam may lie, how it comes to lie square."""

from __future__ import annotations

import math

import numpy as np
import pytest

from marking.cloth.canvas import SQUARING, canvas_for
from marking.cloth.cover import cover_for
from marking.cloth.cover_words import amounts, cover_record
from marking.cloth.stretch_run import stretch_run
from marking.errors import BadInputError, RefusedError
from marking.layout.layout import lay_out

INCH = 25.4
MARKED = {"pitch": "2 in"}
"""Fewer lines, the same rules."""


@pytest.fixture(scope="module")
def canvas_of(make_job):
    def made(length="144 in", width="60 in", cover=None, **more):
        table = {"length": length, "width": width}
        job = make_job({"table": table, "grid": MARKED, "cover": cover or {}} | more)
        layout = lay_out(job)
        return job, layout, canvas_for(layout, job)

    return made


def test_a_60_in_top_takes_72_in_canvas(canvas_of):
    # 72 in for a 60 in top, wrapped by several inches: common practice, no source.
    _, _, canvas = canvas_of()
    assert canvas.bought_width == 72 * INCH
    assert canvas.seam is None
    # 1 1/2 in down and 4 in under at both sides; at the ends 2 in more to square by.
    assert canvas.cut == pytest.approx(((144 + 11 + 4) * INCH, 71 * INCH))


def test_staples_in_the_side_take_half_the_thickness_less_at_each_side(canvas_of):
    _, _, under = canvas_of(cover={"thickness": "2 in"})
    _, _, beside = canvas_of(cover={"thickness": "2 in", "fastened": "side"})
    assert np.subtract(under.cut, beside.cut) == pytest.approx((2 * INCH, 2 * INCH))


def test_cloth_that_stretches_is_cut_so_much_shorter(canvas_of):
    _, _, slack = canvas_of(cloth={"stretch_length": "1 %", "stretch_width": "2 %"})
    length, width = slack.cut
    assert (length - 2 * SQUARING["in"]) * 1.01 == pytest.approx(155 * INCH)
    assert width * 1.02 == pytest.approx(71 * INCH)


def test_the_two_lines_leave_as_much_to_pull_by_on_all_sides(canvas_of):
    for more in ({}, {"cloth": {"stretch_length": "1 %", "stretch_width": "2 %"}}):
        _, _, canvas = canvas_of(**more)
        x0, y0, x1, y1 = canvas.top_below
        assert x0 == pytest.approx(canvas.cut[0] - x1)
        assert y0 == pytest.approx(canvas.bought_width - y1)
        along, across, slope = canvas.lines.legs
        assert (along / 4, across / 3) == pytest.approx((slope / 5, slope / 5))


def test_a_seam_lies_in_the_wrap_or_the_margin_and_no_mark_crosses_it(canvas_of):
    for width in ("66 1/2 in", "68 in", "70 in"):
        job, layout, canvas = canvas_of(cover={"widths": [width]})
        assert canvas.seam is not None
        reach = [
            (
                stroke.points[:, 1].min() - job.pens.named(stroke.pen).width / 2,
                stroke.points[:, 1].max() + job.pens.named(stroke.pen).width / 2,
            )
            for stroke in layout.strokes
        ]
        assert not [1 for low, high in reach if low < canvas.seam.y + 12 and high > canvas.seam.y]
        # Neither does it lie on the edge that the canvas turns over.
        assert abs(canvas.seam.y - 60 * INCH) > 12
        # Both pieces and what the seam takes of each add up to the width it takes.
        assert canvas.bought_width + canvas.seam.strip[1] - INCH >= canvas.cut[1] - 1e-6


def test_a_top_wider_than_any_canvas_is_refused_with_the_width_that_would_do(canvas_of):
    with pytest.raises(RefusedError, match=r"cover\.widths.*from (\d+) in") as refused:
        canvas_of(cover={"widths": ["48 in", "60 in"]})
    enough = str(refused.value).split("from ")[1].split(" a strip")[0]
    _, _, canvas = canvas_of(cover={"widths": ["48 in", enough]})
    assert canvas.seam is not None


def test_what_to_buy_is_counted_at_the_spacing_that_is_told(canvas_of, make_job):
    job, layout, _ = canvas_of(cover={"staple_spacing": "2 in"})
    cover = cover_for(layout, job)
    assert cover.staples == 72 + 72 + 30 + 30 + 4 * 4
    assert cover.pad == pytest.approx((144 * INCH, 60 * INCH))
    ink = sum(stroke.length * job.pens.named(stroke.pen).passes for stroke in layout.strokes)
    assert sum(one.ink for one in cover.markers) == pytest.approx(ink)
    lasting = make_job(
        {
            "table": {"length": "144 in", "width": "60 in"},
            "grid": MARKED,
            "pens": {"lines": {"profile": "fabric-medium", "slot": 3}},
        }
    )
    lines = cover_for(layout, lasting).markers[0]
    # The profile's 250 m a pen, and not the pace's.
    assert (lines.pens, lines.lasts) == (("lines",), 250_000)
    assert (lines.count - 1) * 250_000 < lines.ink <= lines.count * 250_000


def test_pens_of_one_holder_and_one_width_are_bought_as_one_marker(canvas_of):
    job, layout, _ = canvas_of()
    ink = dict.fromkeys(job.pens.by_name, 0.0)
    for stroke in layout.strokes:
        ink[stroke.pen] += stroke.length * job.pens.named(stroke.pen).passes

    def bought(**changed):
        pens = {name: job.pens.named(name).model_copy(update=new) for name, new in changed.items()}
        asked = job.model_copy(update={"pens": job.pens.model_copy(update=pens)})
        cover = cover_for(layout, asked)
        told = [
            much.split(" for ")[1].split(":")[0]
            for what, much in amounts(cover, asked)
            if what == "marker"
        ]
        recorded = cover_record(cover)["markers"]
        assert [one["pens"] for one in recorded] == [list(one.pens) for one in cover.markers]
        assert [one["count"] for one in recorded] == [one.count for one in cover.markers]
        return told, cover.markers

    # By default the numerals' pen is finer than that of the lines.
    assert bought()[0] == ["lines and heavy lines", "numerals"]
    told, (one,) = bought(numerals={"width": 1.0})
    assert told == ["lines, heavy lines and numerals"]
    assert one.ink == pytest.approx(sum(ink.values()))
    assert one.count == math.ceil(sum(ink.values()) / 100_000)
    told, _ = bought(numerals={"width": 1.0}, heavy={"slot": 2})
    assert told == ["lines and numerals", "heavy lines"]
    # Counted in fillings, as a run counts them.
    _, (one,) = bought(numerals={"width": 1.0}, heavy={"ink_length": 50_000.0})
    fillings = (ink["lines"] + ink["numerals"]) / 100_000 + ink["heavy"] / 50_000
    assert one.count == math.ceil(fillings)


def test_a_run_of_36_in_that_comes_to_36_5_16_stretches_by_its_share():
    run = stretch_run("--run", 36 * INCH, (36 + 5 / 16) * INCH)
    assert run.percent == "0.8681 %"  # 5/16 in 36
    assert run.doubt(INCH / 32) == pytest.approx(1 / 32 / 36)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (914.4, 900.0, "grew shorter"),
        (50.0, 51.0, "too short"),
        (0.0, 51.0, "too short"),
        (914.4, 1200.0, "20 %"),
    ],
)
def test_a_run_that_no_stretched_cover_shows_is_named(before, after, said):
    with pytest.raises(BadInputError, match=said):
        stretch_run("--run", before, after)
