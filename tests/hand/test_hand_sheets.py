"""The sheets to mark by hand, as MuPDF reads the PDF: words, figures, sizes, outline."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest

from devices.commands import main
from marking.drawing.page import PAPERS
from marking.drawing.pdf import pdf
from marking.hand.plan import by_hand
from marking.hand.words import CAUTIONS
from marking.job.keys import paper_of, tape_of
from marking.layout.layout import lay_out
from marking.measures.lengths import rough_length
from marking.measures.tape import as_taped
from marking.network.allowed_errors import allowed_of
from marking.ruling.order import WhoRules
from marking.sheets.hand_sheet import hand_document
from marking.sheets.picture_sheet import picture_page
from marking.ways.by_hand import hand_ways
from marking.ways.ink_counted import cover_of
from marking.ways.tape_scale import tape_scale_most
from tests.conftest import MILLRACE
from tests.hand.benches import BENCHES, MM, opened, said_by
from tests.output.printed import inked_box, words_of
from tests.output.test_sheets_are_legible import SMALLEST, overprinted

if TYPE_CHECKING:
    from pathlib import Path

    import pymupdf

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.hand.plan import ByHand
    from tests.conftest import MakeJob

MANY_FOLDS = """
table = { length = "121 3/8 in", width = "49 5/8 in" }
[hems]
folds = ["double 3 1/2 in", "double 2 1/4 in", "single 1 1/4 in"]
"""

Sheets = tuple["ByHand", tuple["Artwork", ...], "pymupdf.Document", str]


@pytest.fixture(scope="module", params=BENCHES)
def sheets(request: pytest.FixtureRequest, make_job: MakeJob) -> Sheets:
    job = make_job(BENCHES[request.param])
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules())
    pages = hand_document(plan, layout, job, paper_of(job))
    return plan, pages, opened(pdf(pages)), job.units


def of_side(document: pymupdf.Document, side: str) -> list[pymupdf.Page]:
    return [page for page in document if f"{side} side: ticks" in page.get_text()]


@pytest.mark.parametrize("size", ["letter", "a4"])
def test_a_side_is_one_page_to_read_and_one_of_ticks_on_either_paper(
    make_job: MakeJob, size: PaperName
) -> None:
    """Nine ticks of 209 on a page of their own are nine that are forgotten."""
    for text in (*BENCHES.values(), MANY_FOLDS):
        job = make_job(text)
        layout = lay_out(job)
        document = opened(pdf(hand_document(by_hand(layout, job, WhoRules()), layout, job, size)))
        for side in ("near", "far"):
            assert len(of_side(document, side)) == 1
            assert not any(f"{side} side, continued" in page.get_text() for page in document)


@pytest.mark.parametrize("side", ["near", "far"])
def test_every_tick_is_told_with_its_numeral_and_the_one_across(sheets: Sheets, side: str) -> None:
    """By where MuPDF finds the words: a row is what stands on one height in one column."""
    plan, _, document, units = sheets
    told = []
    for page in of_side(document, side):
        found = page.get_text("words")
        ends = [(w[2], w[3]) for w in found if w[4] == units]
        for edge, head in ends:
            for x0, _, x1, foot, word, *_ in found:
                if abs(x1 - edge) < 1 and head + 1 < foot < page.rect.height - 40:
                    reading = [
                        w[4]
                        for w in found
                        if abs(w[3] - foot) < 1 and x0 - 25 < w[0] and w[2] < x0 and w[4] != "H"
                    ]
                    beside = [w for w in found if abs(w[3] - foot) < 3 and x1 < w[0] < x1 + 75]
                    numbers = [w[4] for w in sorted(beside) if w[4].isdigit() or w[4] == "-"]
                    told.append((" ".join([*reading, word, units]), numbers))
    assert len(told) == len(plan.ticks)
    other = "far" if side == "near" else "near"
    by_reading = dict(told)
    for tick in plan.ticks:
        numbers = by_reading[as_taped(tick.reading, plan.frame.tape, units)]
        own, across = tick.numerals.get(side), tick.numerals.get(other)
        assert numbers[-1] == (across.text if across is not None else "-")
        assert (numbers[0] == own.text) if own is not None else len(numbers) == 1


@pytest.mark.parametrize("bench", ["millrace", "metric"])
@pytest.mark.parametrize("size", ["letter", "a4"])
def test_what_a_tape_that_is_not_true_reads_stands_clear_of_all_beside_it(
    make_job: MakeJob, bench: str, size: PaperName
) -> None:
    """Such a tape shows 117 31/32 in where another shows 118, and three figures of millimetres."""
    job = make_job(BENCHES[bench] + '\n[tape]\nscale_error = "0.03 %"\n')
    layout = lay_out(job)
    pages = hand_document(by_hand(layout, job, WhoRules()), layout, job, size)
    for page in pages:
        assert overprinted(words_of(page)) == []
    document = opened(pdf(pages))
    for side in ("near", "far"):
        (ticks,) = of_side(document, side)
        shapes = [drawn["rect"] for drawn in ticks.get_drawings()]
        boxes = [
            rect for rect in shapes if abs(rect.width * MM - 3) < 0.5 > abs(rect.height * MM - 3)
        ]
        figures = [word for word in ticks.get_text("words") if re.fullmatch(r"[\d./]+", word[4])]
        assert len(boxes) == len(layout.grid.cross_x) < len(figures)
        assert not any(box.intersects(figure[:4]) for box in boxes for figure in figures)


def test_each_long_line_of_the_corner_has_its_distance_beside_it(make_job: MakeJob) -> None:
    """Those a quarter inch from a whole one too, where figures would stand over each other."""
    job = make_job(MANY_FOLDS)
    layout = lay_out(job)
    page = picture_page(layout, job, "letter")
    written = words_of(page)
    assert overprinted(written) == []
    low = float(layout.top.corners_table[:, 1].min())
    near = [rough_length(one.y - low, "in") for one in layout.grid.long_lines if one.side == "near"]
    assert len(near) > 8
    shown = [text for text, box in sorted(written, key=lambda word: word[1][1]) if text in near]
    assert shown == near


def test_each_side_is_told_on_which_hand_its_zero_is_and_its_checks(sheets: Sheets) -> None:
    plan, _, document, units = sheets
    for work, hand in ((plan.near, "LEFT"), (plan.far, "RIGHT")):
        first = next(
            p for p in document if f"at the {work.side} edge: the zero end" in p.get_text()
        )
        said = said_by([first])
        assert f"the zero end is on your {hand}" in said
        for check in work.checks:
            assert f"{check.name} at {as_taped(check.reading, plan.frame.tape, units)}" in said


def test_the_first_page_tells_order_cautions_and_what_a_careful_hand_leaves(
    sheets: Sheets,
) -> None:
    plan, _, document, _ = sheets
    said = said_by([document[0]])
    assert all(caution in said for caution in CAUTIONS)
    assert f"{plan.expected.total:.2f} mm" in said
    assert ("hand leaves: HOLDS" in said) == (not plan.expected.past(plan.limits))
    steps = ("The cover lies", "Frame, ", "Near side:", "Far side:", "in place of steps 3 and 4")
    steps += ("Rule the lines", "Write the numerals", "prove the cover", "take removable ticks")
    order = [said.index(word) for word in steps]
    assert order == sorted(order)
    assert "nothing may come off onto white cotton" in said


def test_what_is_read_before_a_numeral_is_written_stands_apart_and_to_a_tenth(
    sheets: Sheets,
) -> None:
    """The heavy line's H stands by its box; where the numeral begins is told alike everywhere."""
    plan, _, document, _ = sheets
    words = [word for page in of_side(document, "near") for word in page.get_text("words")]
    begins = [word[4] for word in words if re.fullmatch(r"\d+\.\d", word[4])]
    assert len(begins) == sum("near" in tick.numerals for tick in plan.ticks)
    marked = [word for word in words if word[4] == "H"]
    assert len(marked) == sum(tick.heavy for tick in plan.ticks)
    for x0, _, x1, foot, *_ in marked:
        apart = [w for w in words if abs(w[3] - foot) < 2 and x1 <= w[0] < x0 + 60]
        assert min(w[0] for w in apart) - x1 > 1.0


def test_pages_are_numbered_lie_on_their_paper_and_stand_in_the_outline(sheets: Sheets) -> None:
    _, pages, document, units = sheets
    paper = PAPERS["letter" if units == "in" else "a4"]
    for number, (page, artwork) in enumerate(zip(document, pages, strict=True), 1):
        assert f"page {number} of {len(document)}" in page.get_text()
        assert [page.rect.width * MM, page.rect.height * MM] == pytest.approx(paper, abs=0.1)
        x0, y0, x1, y1 = inked_box(artwork)
        assert min(x0, y0) >= 6
        assert x1 <= paper[0] - 6
        assert y1 <= paper[1] - 6
    chapters = [title for _, title, _ in document.get_toc()]
    assert chapters == [
        "What to do, in order",
        "What it comes to look like",
        "Frame: base line, zero line, square",
        "Near side",
        "Far side",
        "Lines to rule",
    ]


def test_no_word_stands_over_another_and_figures_are_large_enough(sheets: Sheets) -> None:
    _, pages, _, _ = sheets
    for page in pages:
        texts = words_of(page)
        assert overprinted(texts, 0.0) == []
        for text, (_, low, _, high) in texts:
            # A lone point or stroke is lower than the figures of its line.
            assert high - low > min(SMALLEST, 1.3) or not re.search(r"\d", text), text


def test_paper_hand_writes_the_sheets_and_lists_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.toml").write_text(MILLRACE + '\n[paper]\nsize = "a4"\n')
    words = ("paper", "hand", "--job", str(tmp_path), "--json")
    assert main(words) == 0
    listed = capsys.readouterr().out
    files = {file["path"]: file for file in json.loads(listed)["files"]}
    assert list(files) == ["paper/hand.pdf", "paper/strips.pdf", "paper/stencils.svg"]
    assert files["paper/hand.pdf"]["page_mm"] == [210.0, 297.0]
    for name, file in files.items():
        assert set(file) == {"path", "kind", "pages", "page_mm", "sha256"}
        data = (tmp_path / "out" / name).read_bytes()
        if name.endswith(".pdf"):
            assert len(opened(data)) == file["pages"]
    assert main(words) == 0
    assert capsys.readouterr().out == listed


def test_control_for_reach_plans_few_marks_and_says_what_a_hand_leaves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], make_job: MakeJob
) -> None:
    (tmp_path / "job.toml").write_text(MILLRACE)
    ended = main(["control", "--for", "reach", "--job", str(tmp_path), "--json"])
    told = json.loads(capsys.readouterr().out)
    assert [mark["id"] for mark in told["marks"]] == [
        f"{side}{number}" for side in "nf" for number in (0, 48, 96, 144, 147)
    ]
    # The one reckoning that ways tells too.
    job = make_job(MILLRACE)
    most = tape_scale_most(tape_of(job.tape))
    hand = next(iter(hand_ways(cover_of(lay_out(job)), job.pace, most, "letter"))).expected
    assert hand is not None
    for name in ("total", "square", "neighbours", "step"):
        assert told["forecast"][name] == getattr(hand, name)
    limits = allowed_of(job)
    assert told["forecast"]["holds"] is (not hand.past(limits)) is (ended == 0)
    assert (tmp_path / "out" / "control.pdf").exists()
    words = ["control", "--for", "reach", "--spacing", "6 in", "--job", str(tmp_path)]
    assert main(words) == 2
    assert "leave it out" in capsys.readouterr().err


def test_a_limit_that_no_hand_keeps_is_said_to_break(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.toml").write_text(MILLRACE + '\n[allowed]\nneighbours = "1/64 in"\n')
    assert main(["control", "--for", "reach", "--only-look", "--job", str(tmp_path)]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "DOES NOT HOLD"
    assert not (tmp_path / "job.db").exists()
