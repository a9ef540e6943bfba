"""The job sheet as MuPDF reads it: the cards ask for what the record asks for, in its order."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pymupdf
import pytest

from devices.begun import layout_of, plan_of
from devices.commands import main
from devices.history import in_force
from devices.job import Job
from marking.drawing.page import PAPERS
from marking.drawing.pdf import pdf
from marking.job.folder import load_job
from marking.measures.lengths import rough_length
from marking.measures.tape import Tape
from marking.proof.distances import plan_proof
from marking.proof.limits import within
from marking.sheets.job_sheet import proof_maps
from tests.hand.benches import MM, opened, said_by

if TYPE_CHECKING:
    from pathlib import Path

SMALL = """
title = "Small Millrace bench"
table = { length = "44 in", width = "30 in" }
hems = { depth = "4 in", folds = ["double 2 in"] }
allowed = { total = "1/4 in", square = "1/4 in", step = "2 mm" }
"""
TURNED = """
[plotter]
profile = "flatbed-a3"
x_size = "16 in"
y_size = "10 in"
"""
PLOTTER = '\n[plotter]\nprofile = "flatbed-a3"\n'


def sheet(folder: Path, text: str, *before: str) -> pymupdf.Document:
    (folder / "job.toml").write_text(text)
    if before:
        # Marks whose forecast does not hold are set out all the same, and it says so.
        assert main([*before, "--job", str(folder)]) in (0, 1)
    assert main(["paper", "job", "--job", str(folder)]) == 0
    return pymupdf.open(folder / "out" / "paper" / "job.pdf")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("job-sheet")


@pytest.fixture(scope="module")
def by_plotter(folder: Path) -> pymupdf.Document:
    return sheet(folder, SMALL + PLOTTER, "control", "--nodes", "all")


def chapter(document: pymupdf.Document, name: str) -> list[pymupdf.Page]:
    toc = [(title, page - 1) for _, title, page in document.get_toc()]
    first = next(page for title, page in toc if title == name)
    after = [page for _, page in toc if page > first]
    return list(document)[first : min(after, default=len(document))]


def test_the_outline_tells_the_whole_job_in_the_order_of_work(
    by_plotter: pymupdf.Document,
) -> None:
    assert [title for _, title, _ in by_plotter.get_toc()] == [
        "The job",
        "What to buy, and how the cover sits",
        "The table and its sections",
        "Tape marks",
        "Locating marks",
        "Set-downs",
        "Proof: where each distance runs",
        "Distances to measure",
        "To keep under the table",
    ]
    for number, page in enumerate(by_plotter, 1):
        assert f"job sheet, page {number} of {len(by_plotter)}" in said_by([page])
        size = sorted((page.rect.width * MM, page.rect.height * MM))
        assert size == pytest.approx(PAPERS["letter"], abs=0.1)


def test_each_card_has_boxes_for_the_readings_in_the_order_they_are_typed(
    by_plotter: pymupdf.Document, folder: Path
) -> None:
    job = load_job(folder, Job)
    layout = layout_of(folder, job)
    plan = plan_of(folder, "plotter", job, layout, None)
    read = in_force(folder, job, layout, plan).read
    assert read
    cards = {}
    for page in chapter(by_plotter, "Set-downs"):
        words = page.get_text("words")
        boxes = [
            drawing["rect"]
            for drawing in page.get_drawings()
            if drawing["rect"].width * MM == pytest.approx(24.0, abs=0.3)
        ]
        for x0, top, _, low, name, *_ in words:
            # A name in larger type heads a card; others are told of on it.
            if low - top > 14 and re.fullmatch(r"r\d+c\d+", name):
                foot = min(
                    w[3] for w in words if w[4] == "done" and w[3] > top and abs(w[0] - x0) < 9
                )
                marks = sorted(
                    (word[1], word[4])
                    for word in words
                    if top < word[1] < foot
                    and abs(word[0] - x0) < 6
                    and re.fullmatch(r"w\d+|j[a-z]+\d+|[nfze]\d+", word[4])
                )
                cards[name] = [mark for _, mark in marks]
                beside = [
                    box for box in boxes if top < box.y0 < foot and x0 - 9 < box.x0 < x0 + 300
                ]
                assert len(beside) == 2 * len(marks)
    assert cards == {name: list(marks) for name, marks in read.items()}
    said = said_by(chapter(by_plotter, "Set-downs"))
    for words in ("INK", "READ AGAIN", "MOVE", "ADD A MARK", "done by"):
        assert said.count(words) == len(plan.sections)
    assert "Hands, hair and sleeves clear" in said


def test_above_the_cards_stands_which_way_the_device_lies(
    by_plotter: pymupdf.Document, folder: Path
) -> None:
    pages = chapter(by_plotter, "Set-downs")
    first = said_by(pages[:1])
    lies = load_job(folder, Job).plotter.pointing(turned=False)
    assert lies == "its X towards the far end and its Y towards the far edge"
    assert first.index(f"Set the device down with {lies}") < first.index("r1c1")
    assert said_by(pages).count("Set the device down") == 1


def test_a_card_of_a_device_that_is_turned_a_quarter_says_which_way_it_lies_then(
    tmp_path: Path,
) -> None:
    said = said_by(chapter(sheet(tmp_path, SMALL + TURNED), "Set-downs"))
    job = load_job(tmp_path, Job)
    plan = plan_of(tmp_path, "plotter", job, layout_of(tmp_path, job), None)
    assert plan.zone.turned
    lies = "its X towards the far edge and its Y towards the zero end"
    assert f"down, turned a quarter anticlockwise from its profile, with {lies}" in said
    on_a_card = f"Turned a quarter anticlockwise from its profile, {lies}."
    assert said.count(on_a_card) == len(plan.sections)


def test_every_locating_mark_that_a_card_asks_for_is_listed_with_its_place(
    by_plotter: pymupdf.Document, folder: Path
) -> None:
    """From the sheet alone: w02 says nothing to who has not the division before them."""
    job = load_job(folder, Job)
    layout = layout_of(folder, job)
    plan = plan_of(folder, "plotter", job, layout, None)
    asked = {mark for read in in_force(folder, job, layout, plan).read.values() for mark in read}
    marks = {mark.id: mark for section in plan.sections for mark in section.locating_marks}
    listed = said_by(chapter(by_plotter, "Locating marks"))
    assert asked & marks.keys()
    for name in asked & marks.keys():
        along, across = (rough_length(length, "in") for length in marks[name].at_table)
        kind = {"grid": "crossing", "cross": "tick"}[marks[name].kind]
        assert f"{name} {along} {across} {kind}" in listed


@pytest.mark.usefixtures("by_plotter")
def test_a_second_page_of_where_distances_run_is_called_so(folder: Path) -> None:
    job = load_job(folder, Job)
    layout = layout_of(folder, job)
    plan = plan_of(folder, "plotter", job, layout, None)
    distances = plan_proof(layout, plan, Tape(), within(job.tolerance), "in").distances
    many = [distances[count % len(distances)] for count in range(150)]
    first, *others = opened(pdf(proof_maps(many, layout, job.title, "letter")))
    assert "each distance runs, continued" not in said_by([first])
    assert others
    for page in others:
        assert "each distance runs, continued" in said_by([page])


def test_every_distance_of_the_proof_is_drawn_and_asked_for(
    by_plotter: pymupdf.Document,
) -> None:
    drawn = said_by(chapter(by_plotter, "Proof: where each distance runs"))
    sheet_words = said_by(chapter(by_plotter, "Distances to measure"))
    ids = set(re.findall(r"\bp\d\d+\b", sheet_words))
    assert len(ids) >= 10
    assert ids <= set(re.findall(r"\bp\d\d+\b", drawn))


def test_the_order_has_what_ink_waits_for_and_the_cards_a_morning_for_every_day_after_the_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = SMALL + PLOTTER + '[pace]\nset_down = "2 h"\n'
    document = sheet(tmp_path, text, "control")
    order = " ".join(said_by([document[0]]).split())
    said = ("canvasrule trial.", "trial --ink", "Set out the tape marks", "days --morning")
    said += ("Section after section", "canvasrule prove")
    places = [order.index(words) for words in said]
    assert places == sorted(places)
    capsys.readouterr()
    assert main(["days", "--job", str(tmp_path)]) == 0
    days = capsys.readouterr().out
    begins = re.findall(r"^Day \d+: (r\d+c\d+)", days, re.MULTILINE)
    assert len(begins) > 1
    shown = dict(re.findall(r"^  (.+): (\S+(?: \S+)? in)$", days, re.MULTILINE))
    cards = " ".join(said_by(chapter(document, "Set-downs")).split())
    for count, section in list(enumerate(begins, 1))[1:]:
        morning = cards.index(f"Morning of day {count}")
        assert morning < cards.index(f" {section} ", morning)
        assert not re.search(r"done by.*done by", cards[morning : cards.index(section, morning)])
    assert "Morning of day 1 " not in cards
    assert len(shown) == 3
    for check, reading in shown.items():
        assert cards.count(f"{check}: {reading}") == len(begins) - 1


def test_a_card_asks_for_the_pens_that_a_run_asks_for(tmp_path: Path) -> None:
    """By the metres that the profile says one pen lasts, counted from one section to the next."""
    lasts = 'ink_length = "8 m"'
    pens = ("lines", "heavy", "numerals")
    text = "".join(f'[pens.{pen}]\nslot = 1\nwidth = "1 mm"\n{lasts}\n' for pen in pens)
    document = sheet(tmp_path, SMALL + PLOTTER + text)
    cards = said_by(chapter(document, "Set-downs"))
    job = load_job(tmp_path, Job)
    plan = plan_of(tmp_path, "plotter", job, layout_of(tmp_path, job), None)
    # From one pen to the next at most 8 m, and what one stroke is longer than is left of it.
    ink = sum(
        piece.stroke.length * piece.stroke.times(job.pens.named(piece.stroke.pen))
        for section in plan.sections
        for piece in section.pieces
        if job.pens.named(piece.stroke.pen).slot == 1
    )
    asked = cards.count("Put a new pen into holder 1.")
    assert ink / 8000 - 1 <= asked <= ink / 7000


def test_where_no_number_of_distances_can_pass_ten_are_asked_for_and_what_would_do(
    tmp_path: Path,
) -> None:
    text = SMALL.replace(
        'total = "1/4 in", square = "1/4 in", step = "2 mm"',
        'total = "1/64 in", square = "1/64 in", step = "0.5 mm"',
    )
    document = sheet(tmp_path, text + PLOTTER)
    said = said_by(chapter(document, "Distances to measure"))
    assert set(re.findall(r"\bp\d\d+\b", said)) == {f"p{n:02}" for n in range(1, 11)}
    assert "These 10 tell what the whole cover has done" in said
    assert "They pass no cover. No number of distances can pass a cover" in said
    assert "verniers drawn over the joins" in said
    assert "By tape alone no proof can pass this cover" in said_by([document[0]])
    # What prove then asks for is what the next sheet has, under the same names.
    assert main(["prove", "--verniers", "--job", str(tmp_path)]) == 0
    proof = said_by(list(pymupdf.open(tmp_path / "out" / "proof.pdf")))
    again = sheet(tmp_path, (tmp_path / "job.toml").read_text())
    on_sheet = said_by(chapter(again, "Distances to measure"))
    for kind in (r"\bp\d\d+ \S+ \S+", r"\bv\d+ r\S+ \S+ \S+"):
        assert re.findall(kind, on_sheet) == re.findall(kind, proof) != []


def test_before_tape_marks_are_chosen_the_first_page_says_so(tmp_path: Path) -> None:
    document = sheet(tmp_path, SMALL + PLOTTER)
    assert "No tape marks are chosen yet: run canvasrule control first" in said_by([document[0]])
    assert "Tape marks" not in [title for _, title, _ in document.get_toc()]


def test_by_hand_it_holds_the_hand_sheets_and_no_cards(tmp_path: Path) -> None:
    text = SMALL + '\n[ways]\nway = "hand"\n[paper]\nsize = "a4"\n'
    document = sheet(tmp_path, text)
    chapters = [title for _, title, _ in document.get_toc()]
    assert chapters[2:8] == [
        "What to do, in order",
        "What it comes to look like",
        "Frame: base line, zero line, square",
        "Near side",
        "Far side",
        "Lines to rule",
    ]
    assert "Set-downs" not in chapters
    assert document[0].rect.height * MM == pytest.approx(297, abs=0.1)


def test_bands_by_plotter_have_the_sheet_for_the_lines_to_rule(tmp_path: Path) -> None:
    text = SMALL + PLOTTER + '[ways]\nway = "flatbed-a3-bands"\n'
    document = sheet(tmp_path, text)
    assert "from stub to stub" in said_by(chapter(document, "Lines to rule"))
    told = said_by(chapter(document, "Distances to measure"))
    assert "Not judged: " in told
    assert ".." not in told


def test_a_way_that_the_job_does_not_have_is_refused_with_those_that_it_has(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.toml").write_text(SMALL + PLOTTER + '[ways]\nway = "no-such"\n')
    assert main(["paper", "job", "--job", str(tmp_path)]) == 2
    assert "flatbed-a3-bands" in capsys.readouterr().err


def test_the_proof_has_the_names_that_prove_keeps(
    by_plotter: pymupdf.Document, folder: Path
) -> None:
    """Or what is measured for one distance would be judged as another."""
    on_sheet = said_by(chapter(by_plotter, "Distances to measure"))
    assert main(["prove", "--job", str(folder)]) == 0
    proof = said_by(list(pymupdf.open(folder / "out" / "proof.pdf")))
    assert re.findall(r"p\d\d+ \S+ \S+", proof) == re.findall(r"p\d\d+ \S+ \S+", on_sheet)
    again = sheet(folder, (folder / "job.toml").read_text())
    listed = re.compile(r"id from - to (.*?), page")
    assert listed.findall(said_by(chapter(again, "Distances to measure"))) == listed.findall(
        on_sheet
    )


def test_a_cover_that_is_marked_slack_is_not_proved_by_its_slack_figures(tmp_path: Path) -> None:
    document = sheet(tmp_path, SMALL + '\n[cloth]\nstretch_length = "1 %"\n')
    assert not [t for _, t, _ in document.get_toc() if t.startswith(("Proof", "Distances"))]


def test_a_card_at_a_fence_says_where_it_is_clamped_and_where_its_stop_goes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As `control` lists the clampings, once each, and every set-down with its stop."""
    document = sheet(tmp_path, SMALL + PLOTTER + '[fence]\nlength = "8 ft"\n', "control")
    listed = re.findall(r"^(Fence \S+, from .*)$", capsys.readouterr().out, re.MULTILINE)
    cards = " ".join(said_by(chapter(document, "Set-downs")).split())
    assert listed
    for line in listed:
        assert cards.count(line) == 1
        # The frame stands out beyond its reach, and so does a rail along the near edge.
        assert ("beyond the near edge, on boards" in line) == ("from r1c1 on" in line)
    job = load_job(tmp_path, Job)
    plan = plan_of(tmp_path, "plotter", job, layout_of(tmp_path, job), None)
    assert cards.count("Set the stop ") == len(plan.sections)
