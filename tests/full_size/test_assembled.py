"""Panels and tiles, laid by the boxes that `--json` gives, are the whole marking and nothing else.

Outside authority: MuPDF reads the lines of the PDF that ReportLab wrote.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pymupdf
import pytest

from marking.full_size.documents import TILE_OVERLAP, panels, tiles
from marking.full_size.parts import parted
from marking.job.keys import paper_of
from marking.layout.layout import lay_out
from marking.ways.by_hand import hand_ways
from marking.ways.ink_counted import cover_of
from tests.conftest import MILLRACE
from tests.full_size.printed_sheets import check_assembled, paper, sheets_of
from tests.output.printed import words_of

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import MakeJob

METRIC = """title = "Benk"
units = "mm"
[table]
length = "213 cm"
width = "91 cm"
[grid]
pitch = "1 cm"
margin = "25 mm"
end_margin = "25 mm"
bias = [20]
half_ticks = true
[hems]
depth = "20 cm"
folds = ["double 4 cm"]
[numerals]
every = 5
"""
LOOSE = """title = "Loose"
[table]
length = "4 ft 3 1/2 in"
width = "2 ft 10 1/2 in"
[hems]
depth = "3 in"
folds = []
[cloth]
stretch_length = "1.5 %"
stretch_width = "0.5 %"
"""
SPARSE = """
table = { length = "54 in", width = "40 in" }
grid = { pitch = "12 in", end_margin = "2 in", margin = "5 in" }
hems = { depth = "5 in", folds = [] }
numerals = { sides = ["near"] }
"""
RULED = """title = "Wide"
[table]
length = "64 in"
width = "40 in"
[grid]
pitch = "12 in"
end_margin = "2 in"
margin = "5 in"
[hems]
depth = "5 in"
folds = []
[numerals]
sides = ["near"]
"""


def job_in(folder: Path, text: str) -> Path:
    (folder / "job.toml").write_text(text, "utf-8")
    return folder


@pytest.mark.parametrize("text", [METRIC, LOOSE], ids=["metric on A4", "loose on Letter"])
def test_tiles_laid_by_their_boxes_are_the_whole_marking(text, tmp_path, make_job):
    (file,) = paper(job_in(tmp_path, text), "tiles")["files"]
    job = make_job(text)
    sides = {"a4": {210.0, 297.0}, "letter": {215.9, 279.4}}[paper_of(job)]
    assert set(file["page_mm"]) == sides
    check_assembled(sheets_of(tmp_path, file), lay_out(job))


def test_the_whole_and_its_panels_are_the_whole_marking(tmp_path, millrace_layout):
    whole, drawn, by_panel = paper(job_in(tmp_path, MILLRACE), "full")["files"]
    layout = millrace_layout
    for file in (whole, by_panel):
        check_assembled(sheets_of(tmp_path, file), layout)
    assert drawn["parts"] == whole["parts"]
    # On a 36 in roll, less half an inch on either side.
    for page in pymupdf.open(tmp_path / "out" / by_panel["path"]):
        assert page.rect.height <= 35 * 72
        assert page.rect.width <= 14_400


def test_a_corrected_printer_prints_the_same_marking(tmp_path, make_job):
    """A printer that makes 5 31/32 in of 6 in across, and 6 1/32 in up, is made up for."""
    said = paper(job_in(tmp_path, RULED), "tiles", "--measured", "5 31/32 in", "6 1/32 in")
    (file,) = said["files"]
    scale = (6 / (5 + 31 / 32), 6 / (6 + 1 / 32))
    check_assembled(sheets_of(tmp_path, file, scale), lay_out(make_job(RULED)))


def test_panels_for_a_printer_that_is_off_come_out_true(tmp_path, make_job):
    """1 % short along the roll and half a per cent long across it, by each its own check length."""
    folder = job_in(tmp_path, LOOSE)
    plain = paper(folder, "full")["files"][2]
    said = pymupdf.open(tmp_path / "out" / plain["path"])[0].get_text()
    across = float(re.search(r"from tick to tick (\d+) in", said)[1])
    # Beside it stands the square's inch.
    up = max(map(float, re.findall(r"^(\d+) in$", said, re.MULTILINE)))
    assert across > up > 6
    shown = (f"{across * 0.99:.4f} in", f"{up * 1.005:.4f} in")
    corrected = paper(folder, "full", "--measured", *shown)["files"][2]
    assert len(plain["parts"]) == len(corrected["parts"]) == 2
    check_assembled(sheets_of(tmp_path, corrected, (1 / 0.99, 1 / 1.005)), lay_out(make_job(LOOSE)))


def test_tiles_without_ink_are_left_out_and_grey_on_the_map(make_job: MakeJob):
    job = make_job(RULED)
    layout = lay_out(job)
    document = tiles(layout, job, "", size="letter")
    assert document.left_out
    named = {sheet.name for sheet in document.sheets}
    assert not named & set(document.left_out)
    assert len(document.pages) == len(document.sheets) + 1
    on_the_map = {text for text, _ in words_of(document.pages[0])}
    assert named | set(document.left_out) <= on_the_map


def test_sheets_stand_or_lie_whichever_leaves_fewer_to_print(make_job: MakeJob):
    """Standing, 45 sheets hold this top and 12 of them have no ink; lying, 42, and but 5 have none.

    On the demo's bench every sheet has ink: no fewer would reach, by the room that each has.
    """
    document = tiles(lay_out(make_job(SPARSE)), make_job(SPARSE), "", size="letter")
    assert (len(document.sheets), len(document.left_out)) == (33, 12)
    assert document.pages[1].size == pytest.approx((215.9, 279.4))
    demo = make_job(MILLRACE)
    assert len(tiles(lay_out(demo), demo, "", size="letter").sheets) == 22 * 8
    # 8 mm of rim, 9 mm beside, 29 mm below, half an inch lapped; corner marks 6 mm beyond the top.
    room = {"stand": (215.9 - 25, 279.4 - 45), "lie": (279.4 - 25, 215.9 - 45)}
    top = (150 + 1 / 8) * 25.4 + 12, 64 * 25.4 + 12
    for wide, high in room.values():
        fewest = [
            -(-(side - 12.7) // (held - 12.7)) for side, held in zip(top, (wide, high), strict=True)
        ]
        assert fewest[0] * fewest[1] >= 22 * 8


def test_sheets_that_were_measured_lying_lie_when_they_are_printed_anew(make_job: MakeJob):
    """Across the sheet would be up it, though drawn larger fewer would do standing."""
    job = make_job(SPARSE.replace("54 in", "52 in").replace("40 in", "24 in"))
    layout = lay_out(job)
    lying = pytest.approx((279.4, 215.9))
    for measured in ((), ("5.77 in",), ("5.77 in", "5.99 in")):
        document = tiles(layout, job, "", size="letter", measured=measured)
        assert document.pages[1].size == lying


def test_joins_split_no_numeral_and_run_along_no_line(make_job: MakeJob):
    for text in (MILLRACE, METRIC):
        job = make_job(text)
        layout = lay_out(job)
        parting = parted(layout, job.pens, (180.0, 230.0), TILE_OVERLAP[job.units])
        edges = np.array([part.core for part in parting.parts])
        xs, ys = np.unique(edges[:, [0, 2]])[1:-1], np.unique(edges[:, [1, 3]])[1:-1]
        assert len(xs) > 5
        assert len(ys) > 2
        boxes = np.array([placed.numeral.box_table for placed in layout.numerals])
        assert not ((boxes[:, :1] < xs) & (boxes[:, 2:3] > xs)).any()
        lines = np.array([line.y for line in layout.grid.long_lines])
        assert abs(ys[:, None] - lines).min() > job.pens.lines.width
        assert abs(xs[:, None] - layout.grid.cross_x).min() > job.pens.lines.width


@pytest.mark.parametrize("long", ["40 in", "90 in", "110 in", "150 in"])
def test_the_panels_that_ways_reckons_with_are_those_that_are_printed(long, make_job):
    for wide in ("30 in", "33 in", "60 in", "64 in", "65 in", "72 in"):
        if float(wide.split()[0]) >= float(long.split()[0]):
            continue
        job = make_job({"table": {"length": long, "width": wide}, "hems": {"folds": []}})
        layout = lay_out(job)
        printed = panels(layout, job, "", across=35 * 25.4)
        ways = hand_ways(cover_of(layout), job.pace, 1.0, paper_of(job))
        (way,) = (way for way in ways if way.id == "full-size")
        assert way.sheets == len(printed.sheets), wide
        assert not way.note
