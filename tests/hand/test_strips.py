"""The printed strips, rendered by MuPDF and measured in its picture: true size, each where it says.

Lengths are measured in pixels of a known size, apart from what drew them.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pymupdf
import pytest

from marking.drawing.pdf import pdf
from marking.errors import BadInputError, RefusedError
from marking.hand.strips import CHECK, strips_of
from marking.job.keys import paper_of, tape_of
from marking.layout.layout import lay_out
from marking.measures.tape import Tape, as_taped
from marking.sheets.strip_sheet import strip_document
from marking.ways.hand_errors import HandDoubts, strip_ticks_hold
from tests.conftest import MILLRACE
from tests.hand.benches import BENCHES, MM, opened
from tests.output.printed import words_of
from tests.output.test_sheets_are_legible import overprinted

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from marking.hand.strips import Strips
    from marking.layout.layout import Layout
    from tests.conftest import MakeJob

DPI = 381
PIXEL = 25.4 / DPI


class Printed(NamedTuple):
    layout: Layout
    strips: Strips
    document: pymupdf.Document
    units: str
    pictures: list[NDArray[np.bool_]]
    """The ink of each strip."""


def printed(make_job: MakeJob, text: str, measured: float | None = None) -> Printed:
    job = make_job(text)
    layout = lay_out(job)
    paper = paper_of(job)
    strips = strips_of(layout, job, paper, measured)
    data = pdf(strip_document(strips, job, tape_of(job.tape), paper))
    document = opened(data)
    pictures = [band for page in strip_pages(document) for band in bands(page)]
    return Printed(layout, strips, document, job.units, pictures)


@pytest.fixture(scope="module", params=BENCHES)
def sheets(request: pytest.FixtureRequest, make_job: MakeJob) -> Printed:
    return printed(make_job, BENCHES[request.param])


def strip_pages(document: pymupdf.Document) -> list[pymupdf.Page]:
    return list(document)[1:]


def bands(page: pymupdf.Page) -> list[NDArray[np.bool_]]:
    """The page's ink, a picture for each strip, from above its cut line to below its label."""
    grey = page.get_pixmap(dpi=DPI, colorspace=pymupdf.csGRAY)
    ink = np.frombuffer(grey.samples, np.uint8).reshape(grey.height, grey.stride)
    dark = ink[:, : grey.width] < 110
    feet = sorted(word[3] for word in page.get_text("words") if word[4] == "check:")
    tops = sorted({round(word[1], 1) for word in page.get_text("words") if word[4] == "cut"})
    scale = DPI / 72
    return [
        dark[int((top - 8) * scale) : int((foot + 14) * scale)]
        for top, foot in zip(tops, feet, strict=True)
    ]


def upright(band: NDArray[np.bool_], rows: slice) -> NDArray[np.float64]:
    """Middles, in mm from the sheet's left, of what is inked all through `rows`."""
    full = np.flatnonzero(band[rows].all(axis=0))
    groups = np.split(full, np.flatnonzero(np.diff(full) > 1) + 1)
    return np.array([(group[0] + group[-1] + 1) / 2 * PIXEL for group in groups])


def cut_row(band: NDArray[np.bool_]) -> int:
    """The row of the line to cut along: the first that is inked over half the sheet."""
    return int(np.flatnonzero(band.mean(axis=1) > 0.5)[0])


def test_every_tick_is_true_to_a_tenth_of_a_millimetre_over_the_whole_strip(
    sheets: Printed,
) -> None:
    layout, strips = sheets.layout, sheets.strips
    xs = layout.grid.cross_x
    seen: dict[str, list[float]] = {"near": [], "far": []}
    for strip, band in zip(strips.strips, sheets.pictures, strict=True):
        cut = cut_row(band)
        ticks = upright(band, slice(cut - 60, cut - 20))
        names = [int(tick.name) for tick in strip.ticks]
        assert len(ticks) == len(names)
        step = 1 if strip.side == "near" else -1
        assert names == list(range(names[0], names[-1] + step, step))
        off = (ticks - ticks[0]) - step * (xs[names] - xs[names[0]])
        assert np.abs(off).max() < 0.1
        seen[strip.side] += names
    assert all(sorted(names) == list(range(len(xs))) for names in seen.values())


def test_the_check_length_is_true_on_every_strip(sheets: Printed) -> None:
    for band in sheets.pictures:
        cut = cut_row(band)
        bar = max(range(cut + 100, len(band)), key=lambda row: longest_run(band[row]))
        ends = upright(band, slice(bar - 25, bar + 25))
        inner = [x for x in ends if 20 < x < 260]
        assert inner[-1] - inner[0] == pytest.approx(CHECK[sheets.units], abs=0.1)


def longest_run(row: NDArray[np.bool_]) -> int:
    """Pixels of the longest inked run that is not the strip's rim."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    runs = edges[1::2] - edges[::2]
    inside = runs[runs * PIXEL < 155]
    return int(inside.max(initial=0))


def test_each_strip_is_laid_by_two_readings_of_its_own_from_the_one_zero(
    sheets: Printed,
) -> None:
    layout, strips, document, units, _ = sheets
    said = [" ".join(page.get_text().split()) for page in strip_pages(document)]
    whole = " ".join(said)
    for strip in strips.strips:
        zero = "left" if strip.side == "near" else "right"
        first, last = sorted(int(tick.name) for tick in strip.laid_by)
        label = (
            f"{strip.side} {strip.number} of {strip.of}: {first} to {last}, zero end on your {zero}"
        )
        assert label in whole
        for tick in strip.laid_by:
            x = float(layout.grid.cross_x[int(tick.name)] - layout.grid.cross_x[0])
            assert tick.reading == pytest.approx(x)
            assert any(as_taped(x, Tape(), units) in page for page in said)


def test_no_numeral_is_cut_through_and_no_tick_strikes_a_word(sheets: Printed) -> None:
    for page in strip_pages(sheets.document):
        drawn = [one for one in page.get_drawings() if one["type"] == "s"]
        rims = [one["rect"] for one in drawn if 0.3 < one["width"] < 0.5 and one["rect"].height > 9]
        ink = max(one["width"] for one in drawn)
        numerals = [one["rect"] for one in drawn if one["width"] == ink]
        assert rims
        assert numerals
        for one in numerals:
            assert any(rim.x0 < one.x0 and one.x1 < rim.x1 for rim in rims if one.y0 < rim.y1)
        ticks = [one["rect"] for one in drawn if one["rect"].width < 0.1 < one["rect"].height]
        for x0, y0, x1, y1, word, *_ in page.get_text("words"):
            if word in {"cut", "along", "line", "across", "ticks"}:
                assert not any(x0 < t.x0 < x1 and t.y0 < y1 and y0 < t.y1 for t in ticks)


def test_a_measured_check_length_takes_the_printers_scale_out(make_job: MakeJob) -> None:
    """A printer that prints 5 31/32 in for 6 is then given 6 1/32 and prints 6."""
    short = (5 + 31 / 32) * 25.4
    _, strips, document, _, pictures = printed(make_job, MILLRACE, short)
    band = pictures[0]
    ticks = upright(band, slice(cut_row(band) - 60, cut_row(band) - 20))
    as_printed = (ticks[-1] - ticks[0]) * short / 152.4
    assert as_printed == pytest.approx(9 * 25.4, abs=0.1)
    assert strips.scale == pytest.approx(152.4 / short)
    assert "drawn 1.0052 times true size" in " ".join(document[0].get_text().split())


@pytest.mark.parametrize("measured", [144.0, 161.0, 6.0])
def test_a_scale_that_no_printer_has_is_refused_with_what_would_do(
    make_job: MakeJob, measured: float
) -> None:
    job = make_job(MILLRACE)
    with pytest.raises(BadInputError, match=r"--measured .*: the check length is 6 in.*100 %"):
        strips_of(lay_out(job), job, "letter", measured)


def test_a_margin_that_no_sheet_takes_is_refused_with_what_would_do(make_job: MakeJob) -> None:
    job = make_job(
        MILLRACE.replace('margin = "1 in"', 'margin = "12 in"').replace('"8 in"', '"14 in"')
        + '\n[numerals]\nheight = "2 1/2 in"\nevery = 40\n'
    )
    strips = strips_of(lay_out(job), job, "letter")
    with pytest.raises(RefusedError, match=r"a sheet takes .* mark without strips"):
        strip_document(strips, job, tape_of(job.tape), "letter")


def test_numerals_of_the_far_side_stand_upright_to_who_stands_there(sheets: Printed) -> None:
    """Upright on the sheet: a 7's bar lies above its foot, away from the table's edge."""
    layout, strips = sheets.layout, sheets.strips
    for strip in strips.strips:
        for lines in strip.numerals:
            v = np.concatenate(lines)[:, 1]
            assert 0 < v.min() < v.max() < strip.deep
    seventh = [s for s in strips.strips if any(t.name == "17" or t.name == "7" for t in s.ticks)]
    assert {strip.side for strip in seventh} == {"near", "far"}
    table = {
        (placed.numeral.side, placed.numeral.text): placed.numeral for placed in layout.numerals
    }
    for strip in strips.strips:
        named = [t for t in strip.ticks if (strip.side, t.name) in table]
        assert len(named) == len(strip.numerals)
        for tick, lines in zip(
            named if strip.side == "near" else named[::-1], strip.numerals, strict=True
        ):
            own = table[strip.side, tick.name].strokes_table
            way = 1.0 if strip.side == "near" else -1.0
            for drawn, line in zip(lines, own, strict=True):
                # Seen from its side, a numeral of the table is turned by nothing, and not mirrored.
                assert np.allclose(np.diff(drawn, axis=0), way * np.diff(line, axis=0) * (1, -1))


def test_what_is_told_of_ticks_is_what_imagined_covers_keep() -> None:
    """Covers of our own in plain loops: strips slid to two readings, paper, tape, ticks drawn."""
    rng = np.random.default_rng(7)
    xs, each, covers = np.arange(148) * 25.4, 10, 1000
    worst, gaps = np.zeros(covers), np.zeros(covers)
    for cover in range(covers):
        scale, paper = rng.uniform(-2e-4, 2e-4), rng.normal(0, 1e-3)
        for _side in range(2):
            off = np.zeros(148)
            for first in range(0, 148, each):
                inside = np.arange(first, min(first + each, 148))
                low, high = xs[inside[0]], xs[inside[-1]]
                at = rng.uniform(-0.25, 0.25, 2).mean()
                off[inside] = at + paper * (xs[inside] - (low + high) / 2)
                off[inside] += rng.uniform(-0.25, 0.25, len(inside))
            off[0] = 0.0
            worst[cover] = max(worst[cover], np.abs(off + scale * xs).max())
            gaps[cover] = max(gaps[cover], max(abs(b - a) for a, b in pairwise(off)))
    tick, gap = strip_ticks_hold(xs, 254.0, 25.4, HandDoubts(2e-4))
    assert 0.93 < (worst <= tick).mean() < 0.97
    assert 0.93 < (gaps <= gap).mean() < 0.97


def test_the_first_page_tells_the_figure_and_the_check(sheets: Printed) -> None:
    _, strips, document, *_ = sheets
    said = " ".join(document[0].get_text().split())
    assert f"further than {strips.tick_holds:.2f} mm" in said
    assert re.search(r"canvasrule paper hand --measured", said)
    assert [title for _, title, _ in document.get_toc()] == [
        "How to lay the strips",
        "Near strips",
        "Far strips",
    ]
    for page in document:
        assert min(page.rect.width, page.rect.height) * MM > 205


def test_a_last_strip_has_room_for_its_readings_on_either_paper(make_job: MakeJob) -> None:
    """119 lines, nine to a strip of A4, left two of them to the last: their readings, an inch
    apart, stood over each other."""
    job = make_job(
        'table = { length = "121 in", width = "40 in" }\n[tape]\nscale_error = "0.03 %"\n'
    )
    layout = lay_out(job)
    assert len(layout.grid.cross_x) == 120
    for paper, most in (("a4", 9), ("letter", 10)):
        strips = strips_of(layout, job, paper)
        lines = [sum(not tick.half for tick in strip.ticks) for strip in strips.strips]
        assert max(lines) <= most
        assert max(lines) - min(lines) <= 1
        for page in strip_document(strips, job, tape_of(job.tape), paper):
            assert overprinted(words_of(page)) == []
