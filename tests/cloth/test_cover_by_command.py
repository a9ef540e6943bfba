"""`canvasrule cover` as a person runs it: JSON, sheets, and what it writes into job.toml."""

from __future__ import annotations

import json
import re
import tomllib

import pytest

from devices.commands import main
from devices.job import Job
from marking.cloth.cover import cover_for
from marking.cloth.cover_words import amounts, cover_lines
from marking.drawing.page import PAPERS
from marking.drawing.pdf import pdf
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.output.cover_sheet import cover_pages
from tests.cloth.sheets import assert_read_at_arms_length
from tests.conftest import MILLRACE
from tests.output.printed import inked_box, text_of, words_of
from tests.output.test_sheets_are_legible import overprinted

TEXT = """\
# My bench.
title = "Small bench"  # a name
table = { length = "50 in", width = "30 in" }
[cloth]   # measured in spring
stretch_width = "0.5 %"  # across
# the last word
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "job.toml").write_bytes(TEXT.encode())
    return tmp_path


def test_json_has_what_others_rely_on(folder, capsys):
    assert main(["cover", "--job", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == 1
    assert set(told) >= {"canvas", "pad", "underlay", "staples", "reference_lines"}
    assert set(told["canvas"]) >= {"cut", "bought_width", "seam"}
    assert told["canvas"]["seam"] is None
    assert told["pad"] == [1270.0, 762.0]
    board = told["underlay"]
    assert (board["sheet"], board["sheets"]) == ([2438.4, 1219.2], 1)
    assert board["pieces"] == [
        {"sheet": 1, "cut": [0.0, 0.0, 1270.0, 762.0], "lies": [0.0, 0.0, 1270.0, 762.0]}
    ]


def test_a_measured_run_is_written_and_every_other_byte_stays(folder, capsys):
    words = ["cover", "--job", str(folder), "--json", "--run", "36 in", "36 5/16 in"]
    for ends in ("\n", "\r\n"):
        (folder / "job.toml").write_bytes(TEXT.replace("\n", ends).encode())
        assert main(words) == 0
        made = (folder / "job.toml").read_bytes().decode()
        left = made.replace(f'stretch_length = "0.8681 %"{ends}', "")
        assert left == TEXT.replace("\n", ends)
        assert tomllib.loads(made)["cloth"]["stretch_length"] == "0.8681 %"
    assert "a longer run tells it better" in capsys.readouterr().err
    # A second run takes the place of the first, and one across goes beside it.
    assert main([*words[:5], "36 in", "36 1/4 in", "--run-across", "50 cm", "50.5 cm"]) == 0
    made = (folder / "job.toml").read_bytes().decode()
    assert made.count("stretch_length") == made.count("stretch_width") == 1
    assert 'stretch_length = "0.6944 %"' in made
    assert 'stretch_width = "1 %"  # across' in made


@pytest.mark.parametrize(
    "text",
    [
        'cloth.stretch_width = "1 %" # dotted\n[table]\nlength = "50 in"\nwidth = "30 in"',
        'cloth = { stretch_length = "1 %" } # inline\n[table]\nlength = "50 in"\nwidth = "30 in"',
        '\ufeff[table]\nlength = "50 in"\nwidth = "30 in"\n[cloth]\n\n[grid] # next\n',
        '[cloth]\n"stretch_length" = \'2 %\' # quoted\n[table]\nwidth = "30 in"\nlength="50 in"',
    ],
)
def test_a_run_is_written_however_the_table_is_written(folder, text):
    (folder / "job.toml").write_bytes(text.encode())
    assert main(["cover", "--job", str(folder), "--json", "--run", "1 m", "1.005 m"]) == 0
    assert load_job(folder, Job).cloth.stretch_length == pytest.approx(0.005)
    made = (folder / "job.toml").read_bytes().decode()
    assert made[:5] == text[:5]
    for comment in re.findall("# .*", text):
        assert comment in made


def test_a_job_without_the_table_gets_it_at_its_end(folder):
    (folder / "job.toml").write_text('[table]\nlength = "50 in"\nwidth = "30 in" # top\n', "utf-8")
    assert main(["cover", "--job", str(folder), "--run", "1 m", "1.01 m"]) == 0
    job = load_job(folder, Job)
    assert job.cloth.stretch_length == pytest.approx(0.01)
    assert (folder / "job.toml").read_text("utf-8").startswith("[table]\nlength")


def test_a_stretch_that_canvas_hardly_has_is_written_and_doubted(folder, capsys):
    """Canvas gives a few per cent: common practice, no source."""
    words = ["cover", "--job", str(folder), "--json", "--run", "36 in"]
    assert main([*words, "36 5/16 in"]) == 0
    assert "Measure the run again" not in capsys.readouterr().err
    assert main([*words, "40 in"]) == 0
    assert load_job(folder, Job).cloth.stretch_length == pytest.approx(4 / 36, abs=1e-5)
    assert "11.1% is more than a cover usually stretches" in capsys.readouterr().err


def test_a_metric_cover_is_told_in_figures_that_a_metric_trade_uses(make_job):
    job = make_job(
        {
            "table": {"length": "213 cm", "width": "91 cm"},
            "units": "mm",
            "cover": {
                "thickness": "40 mm",
                "wrap": "10 cm",
                "widths": ["115 cm"],
                "staple_spacing": "4 cm",
                "sheet": ["244 cm", "122 cm"],
            },
        }
    )
    layout = lay_out(job)
    told = " ".join(cover_lines(cover_for(layout, job), layout, job, pulled_on=False))
    assert "a strip of it" in told
    figures = {float(shown) for shown in re.findall(r"([\d.]+) mm", told)}
    # Inches make of it 51 mm to square, screws 305 mm apart, a 13 mm seam; the seam lies 88 mm out.
    pens = {pen.width for pen in job.pens.by_name.values()}
    assert {one for one in figures if one % 5} - pens == {12.0, 1.5, 88.0}


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--run", "36 in", "35 7/8 in"], 2, "--run 914.4 mm to 911.225 mm"),
        (["--run", "36", "36 5/16 in"], 2, "no unit"),
        (["--run-across", "2 in", "2 1/16 in"], 2, "too short a run"),
    ],
)
def test_a_run_that_cannot_be_changes_nothing(folder, capsys, words, code, said):
    assert main(["cover", "--job", str(folder), *words]) == code
    assert said in capsys.readouterr().err
    assert (folder / "job.toml").read_bytes() == TEXT.encode()


@pytest.mark.parametrize(
    ("cover", "said"),
    [
        ('sheet = ["8 in", "4 ft"]', "cover.sheet = .*offcut"),
        ("widths = []", "cover.widths"),
        ('staple_spacing = "0 in"', "cover.staple_spacing.*more than zero"),
        ('fastened = "glue"', "cover.fastened.*underneath"),
        ('widths = ["20 in"]', "cover.widths: .*a seam would cross the marks"),
    ],
)
def test_what_cannot_be_bought_is_named_by_its_key(folder, capsys, cover, said):
    (folder / "job.toml").write_text(f"{TEXT}[cover]\n{cover}\n", "utf-8")
    assert main(["cover", "--job", str(folder)]) in (1, 2)
    assert re.search(said, capsys.readouterr().err)
    assert not (folder / "out").exists()


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_sheets_say_all_and_no_word_stands_over_another(make_job, paper):
    for top in (("150 in", "64 in"), ("213 cm", "91 cm"), ("12' 3 1/2\"", "4' 10 1/2\"")):
        job = make_job(
            {
                "table": dict(zip(("length", "width"), top, strict=True)),
                "units": "mm" if "cm" in top[0] else "in",
                "cover": {"widths": ["72 in", "150 cm"]},
            }
        )
        layout = lay_out(job)
        cover = cover_for(layout, job)
        pages = cover_pages(cover, job, paper, pulled_on=False)
        wide, high = PAPERS[paper]
        for page in pages:
            assert overprinted(words_of(page)) == []
            assert_read_at_arms_length(page)
            x0, y0, x1, y1 = inked_box(page)
            assert 10 < x0 < x1 < wide - 10
            assert 10 < y0 < y1 < high - 10
        text = text_of(pdf(pages))
        for caution in ("eye protection", "makes dust", "Two people lift a sheet", "your iron"):
            assert caution in text
        told = " ".join(cover_lines(cover, layout, job, pulled_on=False))
        assert told.index("Cut each sheet by cuts") < told.index("1. Screw the boards down")
        for number, piece in enumerate(cover.underlay.pieces, 1):
            assert f"board {number}, from sheet {piece.sheet}" in told
            assert f"{number}: " in text


def test_the_drawing_asks_for_the_length_that_the_list_does_and_names_no_colour(make_job):
    """Sheets are printed in grey; a length that is drawn shorter than listed is bought short."""
    job = make_job(MILLRACE)
    cover = cover_for(lay_out(job), job)
    listed = dict(amounts(cover, job))["canvas"].split(" (")[0]
    said = text_of(pdf(cover_pages(cover, job, "letter", pulled_on=False)[:1]))
    assert f"{listed} off the roll" in said
    assert not re.search(r"\b(brown|red|green|blue)\b", said)


def test_the_drawing_of_boards_is_to_scale(make_job):
    job = make_job({"table": {"length": "150 in", "width": "64 in"}})
    layout = lay_out(job)
    cover = cover_for(layout, job)
    page = cover_pages(cover, job, "letter", pulled_on=False)[2]
    outlines = [
        line
        for layer in page.layers
        for item in layer.items
        if hasattr(item, "lines")
        for line in item.lines
        if len(line) == 5
    ]
    drawn = {
        round((box[:, 0].max() - box[:, 0].min()) / (box[:, 1].max() - box[:, 1].min()), 3)
        for box in outlines
    }
    for piece in cover.underlay.pieces:
        x0, y0, x1, y1 = piece.lies
        assert round((x1 - x0) / (y1 - y0), 3) in drawn


@pytest.mark.parametrize(
    "more", ['[cloth]\nstretch_length = "1 %"', '[plotter]\nprofile = "roll-36"']
)
def test_a_cover_that_is_marked_loose_is_pulled_onto_its_ticks(tmp_path, capsys, more):
    text = 'table = { length = "50 in", width = "30 in" }\n'
    for pulled in (False, True):
        (tmp_path / "job.toml").write_text(text + more * pulled, "utf-8")
        assert main(["cover", "--job", str(tmp_path)]) == 0
        said = capsys.readouterr().out
        assert ("from its two ends to the middle" in said) == (not pulled)
        assert ("pull its lines onto the ticks" in said) == pulled
