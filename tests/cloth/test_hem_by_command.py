"""`canvasrule hem` as a person runs it: JSON, words, the card, and what it says of bad input."""

from __future__ import annotations

import json
import re

import pypdfium2
import pytest
from pypdfium2 import raw

from devices.commands import main
from devices.job import Job
from marking.cloth.hems import hem_plan
from marking.drawing.page import PAPERS
from marking.drawing.pdf import pdf
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.output.hem_card import hem_card
from marking.record.record import open_record
from tests.cloth.sheets import assert_read_at_arms_length
from tests.cloth.test_hems import SMALL, panel
from tests.conftest import MILLRACE
from tests.output.printed import MM, inked_box, text_of, words_of
from tests.output.test_sheets_are_legible import overprinted

TEXT = """\
table = { length = "60 in", width = "30 in" }
[hems]
depth = "6 in"
folds = ["double 3 in"]
"""
SIZE = ["--width", "20 in", "--length", "40 in", "--bottom", "double 2 in"]


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "job.toml").write_text(TEXT, "utf-8")
    return tmp_path


def test_json_has_what_others_rely_on(folder, capsys):
    words = ["hem", "--job", str(folder), "--json", *SIZE, "--sides", "double 2 in"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == 1
    assert told["cut"] == pytest.approx([28 * 25.4, 52 * 25.4])
    assert told["longest_without_shift_mm"] == pytest.approx(58 * 25.4)
    assert all(set(fold) >= {"edge", "lay_to", "line", "at_mm"} for fold in told["folds"])
    by = {(fold["edge"], fold["what"]): fold for fold in told["folds"]}
    assert by["bottom", "second fold"]["line"] == "cross-4"
    assert by["bottom", "second fold"]["lay_to"] == "line 4"
    assert by["near side", "raw edge"]["line"] == "near-edge"
    assert by["far side", "first fold"]["line"] == "hem-far-2"
    assert by["top", "second fold"]["at_mm"] == pytest.approx(40 * 25.4)


@pytest.mark.parametrize(
    ("hem", "named", "place"),
    [
        ("double 1 1/2 in", "double 1 1/2 in", "1/2 in past the near long line at 1 in"),
        # To the nearest 1/32 in its second fold would miss the line's ink.
        ("double 35.3 mm", "double 1 3/8 in", "3/8 in past the near long line at 1 in"),
    ],
)
def test_what_it_says_to_write_gives_the_lines(folder, capsys, hem, named, place):
    words = ["hem", "--job", str(folder), *SIZE, "--sides", hem]
    assert main(words) == 1
    said = capsys.readouterr().out
    assert f"No line for the near side's {named} hem: first fold {place}" in said
    (line,) = re.findall(r"under \[hems\]: (folds = \[.*\])\.", said)
    (folder / "job.toml").write_text(TEXT.replace('folds = ["double 3 in"]', line), "utf-8")
    assert main(words) == 0
    assert "No line" not in capsys.readouterr().out


def test_a_cover_with_ink_gets_no_line_more(folder, capsys):
    layout = lay_out(load_job(folder, Job))
    with open_record(folder) as record:
        record.add_ink(layout, "r1c1", "begun", "a division")
    assert main(["hem", "--job", str(folder), *SIZE]) == 1
    said = capsys.readouterr().out
    assert "There is ink, and this cover gets no more lines: lay these folds by a rule" in said
    assert "write into job.toml" not in said
    # Neither does a measured stretch move a line of it.
    before = (folder / "job.toml").read_bytes()
    assert main(["cover", "--job", str(folder), "--run", "36 in", "36 5/16 in"]) == 1
    assert "lays out other lines than those already inked" in capsys.readouterr().err
    assert (folder / "job.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--repeat", "0 in"], "--repeat '0 in': .*more than zero; leave it out for plain"),
        (["--bottom", "treble 2 in"], '--bottom .*"single" or "double"'),
        (["--sides", "double 6 in"], "--sides take 12 in each of a panel 20 in wide"),
        (["--widths", "0"], "--widths 0: give 1 to 100"),
        (["--length", "40"], "--length '40': no unit"),
        (["--goods", "12 in", "--widths", "1"], "takes 3 widths of 12 in"),
        (["--name", "a\x07"], "--name has characters that cannot be printed"),
    ],
)
def test_bad_input_is_named_and_leaves_nothing(folder, capsys, words, said):
    assert main(["hem", "--job", str(folder), *SIZE, *words]) == 2
    assert re.search(said, capsys.readouterr().err)
    assert not (folder / "out").exists()


def test_a_card_has_a_file_of_its_own_by_its_name(folder, capsys):
    words = ["hem", "--job", str(folder), *SIZE, "--sides", "double 2 in"]
    assert main([*words, "--name", "Größe Nr. 1/2"]) == 0
    assert main(words) == 0
    made = {path.name for path in (folder / "out").iterdir()}
    assert made == {
        "hem-groe-nr-1-2.pdf",
        "hem-groe-nr-1-2.svg",
        "hem-panel-20-in-by-40-in.pdf",
        "hem-panel-20-in-by-40-in.svg",
    }
    assert "wrote " in capsys.readouterr().err


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_card_says_all_and_no_word_stands_over_another(make_job, paper):
    for more in (
        {"lined": True, "repeat": 24.0, "goods": 54.0},
        {"length": 70.5, "sides": "single 1/2 in", "widths": 3},
        {"heading": None, "bottom": "double 2 1/4 in"},
    ):
        job = make_job({"table": {"length": "60 in", "width": "30 in"}})
        layout = lay_out(job)
        plan = hem_plan(panel(**SMALL | more), layout, job)
        pages = hem_card(plan, layout, job, "Parlour", paper, inked=False)
        wide, high = PAPERS[paper]
        for page in pages:
            assert overprinted(words_of(page)) == []
            assert_read_at_arms_length(page)
            x0, y0, x1, y1 = inked_box(page)
            assert 10 < x0 < x1 < wide - 10
            assert 10 < y0 < y1 < high - 10
        text = text_of(pdf(pages))
        assert "Iron no hotter" in text
        assert ("No line for" in text) == bool(plan.missing)
        assert ("That is longer than the 58 in" in text) == (plan.shift_to_head is not None)


def test_a_lined_panel_of_two_widths_goes_on_one_card_with_its_cautions(make_job):
    job = make_job(MILLRACE)
    layout = lay_out(job)
    hall = panel(90.0, 108.0, repeat=25.25, goods=54.0, lined=True)
    (card,) = hem_card(hem_plan(hall, layout, job), layout, job, "hall", "letter", inked=False)
    assert inked_box(card)[1] > 10
    assert "Put blades and shears away" in text_of(pdf([card]))


@pytest.mark.parametrize(("counted", "margin"), [("edge", 0), ("line", 1)])
def test_on_the_card_every_line_lies_where_it_does_on_the_table(make_job, counted, margin):
    # PDFium measures what ReportLab drew.
    job = make_job({"table": {"length": "60 in", "width": "30 in"}, "hems": {"from": counted}})
    layout = lay_out(job)
    plan = hem_plan(panel(**SMALL), layout, job)
    card = hem_card(plan, layout, job, "Parlour", "letter", inked=False)
    page = pypdfium2.PdfDocument(pdf(card))[0]
    drawn = [item.get_bounds() for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH])]
    pen = 0.4 * MM
    lines = [(x0, y0, x1, y1) for x0, y0, x1, y1 in drawn if min(x1 - x0, y1 - y0) < 2 * pen]
    table = max(
        (box for box in drawn if box not in lines and box[2] - box[0] < page.get_width() * 0.9),
        key=lambda box: box[2] - box[0],
    )
    wide = 0.45 * MM  # of the outline, by which PDFium's box is larger all round
    x0, y0, x1, y1 = table[0] + wide, table[1] + wide, table[2] - wide, table[3] - wide
    upright = {
        round(((a + c) / 2 - x0) / (x1 - x0) * 60 - 1, 2)
        for a, b, c, d in lines
        if abs((d - b) - (y1 - y0)) < 2 * wide
    }
    level = {
        round(((b + d) / 2 - y0) / (y1 - y0) * 30, 2)
        for a, b, c, d in lines
        if abs((c - a) - (x1 - x0)) < 2 * wide
    }
    for one in plan.laid:
        at = one.at / 25.4
        if one.edge in ("bottom", "top"):
            assert min(abs(at - x) for x in upright) < 0.03, one
        else:
            y = margin + at if one.edge == "near side" else 30 - margin - at
            assert min(abs(y - found) for found in level) < 0.03, one


def test_the_drawing_gives_way_where_the_card_has_much_to_say(make_job):
    """A card is pinned over the table: a page of cautions alone would be left behind."""
    job = make_job(
        """
[table]
length = "121 3/8 in"
width = "49 5/8 in"
[table.survey]
near = "121 3/8 in"
far = "121 1/4 in"
zero_end = "49 5/8 in"
far_end = "49 3/4 in"
diagonal_from_zero_near = "131 1/2 in"
diagonal_from_zero_far = "130 5/8 in"
[hems]
folds = ["double 3 1/2 in"]
"""
    )
    layout = lay_out(job)
    asked = panel(lined=True, repeat=12, goods=54)
    plan = hem_plan(asked, layout, job)
    for paper in PAPERS:
        (page,) = hem_card(plan, layout, job, "parlour", paper, inked=False)
        assert overprinted(words_of(page)) == []
        assert inked_box(page)[1] > 8.0
