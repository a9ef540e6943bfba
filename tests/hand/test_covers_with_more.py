"""Covers with all that grid, hems and numerals may have: the sheets leave none of it out.

Words are what MuPDF and PDFium read in the PDF; what a cover has is what the layout draws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import pytest

from marking.cloth.cover import cover_for
from marking.drawing.pdf import pdf
from marking.full_size.documents import tiles
from marking.hand.plan import by_hand
from marking.hand.strips import strips_of
from marking.layout.layout import lay_out
from marking.layout.lines import dashed_line
from marking.measures.tape import Tape, as_taped
from marking.output.cover_sheet import cover_pages
from marking.ruling.order import WhoRules
from marking.sheets.hand_sheet import hand_document
from marking.sheets.job_sheet import front_pages
from marking.sheets.strip_sheet import strip_document
from tests.conftest import MILLRACE
from tests.hand.benches import opened, said_by
from tests.output.printed import inked_box, words_of
from tests.output.test_sheets_are_legible import overprinted

if TYPE_CHECKING:
    from marking.drawing.artwork import Artwork
    from marking.hand.plan import ByHand
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from tests.conftest import MakeJob

MORE = """
title = "Мастерская Зюдвест, großer Zuschneidetisch Ω am Fenster, zweite Decke seit dem Umzug"
table = { length = "100 in", width = "60 in" }
[grid]
centre_line = true
half_ticks = true
lines = [{ at = "20 in" }, { at = "27 in", start = "10 in", end = "80 in" }]
[hems]
from = "line"
depth = "6 in"
number_every = 0
folds = ["double 3 in", "single 1 1/2 in"]
cross_folds = true
[numerals]
second_zero = "middle"
middle_every = 6
clear = "1/16 in"
"""


class More(NamedTuple):
    job: MarkingJob
    layout: Layout
    plan: ByHand
    pages: tuple[Artwork, ...]
    said: str


@pytest.fixture(scope="module")
def more(make_job: MakeJob) -> More:
    job = make_job(MORE)
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules())
    pages = hand_document(plan, layout, job, "letter")
    return More(job, layout, plan, pages, said_by(list(opened(pdf(pages)))))


def test_every_line_along_the_table_is_told_and_how_it_is_drawn(more: More) -> None:
    drawn = {
        dashed_line(stroke.id) or stroke.id
        for stroke in more.layout.strokes
        if stroke.layer in ("long", "hem") and not stroke.id.startswith("fold-cross-")
    }
    told = {one.line: one for work in (more.plan.near, more.plan.far) for one in work.longs}
    assert told.keys() == drawn
    assert {name for name, one in told.items() if one.heavy} == {"centre-line"}
    dashed = {dashed_line(stroke.id) for stroke in more.layout.strokes} - {None}
    assert {name for name, one in told.items() if one.dashed} == dashed != set()
    assert [one.runs for one in told.values() if one.runs] == [pytest.approx((254.0, 2032.0))]
    for words in ("heavy: ruled twice", "dashed", "from 10 in to 80 in only"):
        assert words in more.said
    assert "from 1/4 in before it to 1/4 in past it" in more.said


def test_every_numeral_outside_the_margins_first_row_is_told_where_it_stands(more: More) -> None:
    zero = float(more.layout.grid.cross_x[0])
    for work in (more.plan.near, more.plan.far):
        own = [one.numeral for one in more.layout.numerals if one.numeral.side == work.side]
        assert len(work.numerals) + len(work.others) == len(own)
        for one in work.others:
            if one.row != "second":
                reading = as_taped(one.at_table[0] - zero, Tape(), "in")
                assert f"{one.text} at {reading}" in more.said
    # 99 lines: the second row counts down to the middle one, 49, and up again.
    assert more.said.count("49 on line 0, 0 on line 49, 49 on line 98, and so on between") == 2


def test_strips_carry_both_rows_of_a_margin(more: More) -> None:
    strips = strips_of(more.layout, more.job, "letter")
    margin = [one for one in more.layout.numerals if one.numeral.row in ("margin", "second")]
    assert sum(len(strip.numerals) for strip in strips.strips) == len(margin) == 4 * 99


def test_a_long_title_in_any_letters_stays_on_every_page(more: More) -> None:
    strips = strips_of(more.layout, more.job, "letter")
    printed = tiles(more.layout, more.job, "", size="letter").pages[:2]
    for page in (
        *more.pages,
        *strip_document(strips, more.job, Tape(), "letter"),
        *printed,
    ):
        x0, y0, x1, y1 = inked_box(page)
        assert min(x0, y0) >= 4.9, page.title
        assert x1 <= page.size[0] - 4.9, page.title
        assert y1 <= page.size[1] - 4.9, page.title
        assert overprinted(words_of(page), 0.0) == [], page.title
        assert any("Мастерская" in text for text, _ in words_of(page)), page.title


def test_a_heading_loses_of_the_title_before_it_loses_what_its_page_is(more: More) -> None:
    job = more.job.model_copy(update={"title": 3 * more.job.title})
    pages = cover_pages(cover_for(more.layout, job), job, "letter", pulled_on=False)
    told = [next(text for text, _ in words_of(page)) for page in pages]
    said = "…: what to buy, and how the cover sits"
    assert [text[text.index("…") :] for text in told] == [
        said,
        f"{said}, in order",
        f"{said}: underlay",
    ]


def test_a_front_page_with_much_to_look_at_goes_on_on_a_second(more: More) -> None:
    order = [f"Step {n}: the cover is marked by hand, by the sheets." for n in range(8)]
    opened_yet = [f"Open {n}: {60 * 'x '}" for n in range(30)]
    pages = front_pages(more.layout, more.job, "Marked by hand.", order, opened_yet, "letter")
    assert len(pages) > 1
    for page in pages:
        assert inked_box(page)[1] >= 12.0
    said = said_by(list(opened(pdf(pages))))
    assert all(f"Open {n}:" in said for n in range(30))


def test_a_stranger_is_told_which_edge_is_which_and_what_the_top_measures(
    more: More, make_job: MakeJob
) -> None:
    assert "Near edge: the long edge that you call the front." in more.said
    assert "true rectangle, 100 in by 60 in, with diagonals of 116 5/8 in" in more.said
    job = make_job(MILLRACE)
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules())
    said = said_by(list(opened(pdf(hand_document(plan, layout, job, "letter")))))
    assert "near edge 150 in, far edge 150 1/16 in, zero end 64 in, far end 63 15/16 in" in said
    assert "163 1/16 in from the corner of zero end and near edge" in said
    # From corner to corner 163 1/8 in, which a tape of 14 ft reaches.
    assert "steel tape for everything, 14 ft long or more" in said
    # Each mark of the frame is told before another is measured from it.
    frame = said[said.index("Base line:") :]
    named = [frame.index(name) for name in ("This is n0", "n147: 147 in from n0", "f147: where")]
    assert named == sorted(named)


def test_a_table_at_a_wall_is_pulled_off_it_first(make_job: MakeJob) -> None:
    job = make_job('table = { length = "60 in", width = "30 in", against_wall = true }\n')
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules())
    said = said_by(list(opened(pdf(hand_document(plan, layout, job, "letter")))))
    assert "1 The far edge stands against a wall. Pull the table off it," in said
    assert "the far side's sheet names, in its column near, the numeral across" in said
    assert "nothing but numerals stands in the margins" in said


def test_a_side_in_the_other_unit_has_its_ticks_drawn_before_its_numerals(
    make_job: MakeJob,
) -> None:
    job = make_job(
        'table = { length = "30 in", width = "20 in" }\nnumerals = { other_unit = "far" }\n'
    )
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules())
    said = said_by(list(opened(pdf(hand_document(plan, layout, job, "letter")))))
    assert "the far side's sheet names, in its column near, the numeral across" in said
    assert (
        "nothing but numerals, and on the far side its short ticks, stands in the margins" in said
    )
    drawn = said.index("On the far side draw the ticks of the centimetres")
    assert drawn < said.index("Write the numerals when all lines are dry")
