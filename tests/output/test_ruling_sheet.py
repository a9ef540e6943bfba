"""The sheet to rule lines by, read back by PDFium, which did not write it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pypdfium2
import pytest

from devices.machine_zones import divided
from marking.drawing.page import PAPERS
from marking.drawing.pdf import pdf
from marking.job.keys import paper_of
from marking.layout.layout import lay_out
from marking.output.ruling_sheet import ruling_pages
from marking.ruling.order import WhoRules, ruling_order
from tests.conftest import MILLRACE
from tests.output.printed import MM, inked_box, text_of, words_of

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import MakeJob, RunCli

RULED = '\n[inking]\ncross_lines = "ruled"\n'
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("manner", [WhoRules(), WhoRules("left", by_two=True)])
def test_the_sheet_names_every_line_once_in_its_order_twelve_to_a_group(
    make_job: MakeJob, manner: WhoRules
) -> None:
    job = make_job(MILLRACE + RULED + '[pace]\ntip = "60 m"\n')
    layout = lay_out(job)
    plan = divided("plotter", layout, job, None)
    pages = ruling_pages(plan, layout, job, "letter", manner)
    rows = [
        word
        for page in pages
        for word, (x0, _, x1, _) in words_of(page)
        if re.fullmatch(r"\d+( H)?", word) and x1 - x0 < 12
    ]
    steps = [number for number in range(1, 20) if str(number) in rows[:12]]
    listed = [row.removesuffix(" H") for row in rows[max(steps[:8], default=0) :]]
    order = [step.line.of.removeprefix("cross-") for step in ruling_order(plan.ruled, job, manner)]
    assert listed == order
    heavy = {row.removesuffix(" H") for row in rows if row.endswith(" H")}
    assert heavy == {f"{n}" for n in range(0, 148, 12)}
    said = text_of(pdf(pages))
    assert len(re.findall(r"Group \d+", said)) == 13
    assert said.count("r1c1 - r2c1") == sum(x.sections == ("r1c1", "r2c1") for x in plan.ruled)
    for words in ("bevel up", "0.5 mm", "new tip", "Nobody climbs on the table", "148 lines"):
        assert words in said
    side = "far-end" if manner.hand == "left" else "zero-end"
    assert f"Lay the rule on the {side} side" in said
    assert ("helper" in said) == manner.by_two
    assert ("Change both tips" in said) == manner.by_two
    assert re.search(rf"148 lines between stubs, {manner.hand}-handed[a-z, ]*: about \d", said)


@pytest.mark.parametrize("units", ["in", "mm"])
def test_the_sheet_lies_on_its_paper(make_job: MakeJob, units: str) -> None:
    table = 'schema = 1\n[table]\nlength = "3.9 m"\nwidth = "1.6 m"\n[grid]\npitch = "25 mm"\n'
    job = make_job(table.replace("schema = 1", f'schema = 1\nunits = "{units}"') + RULED)
    layout = lay_out(job)
    paper = paper_of(job)
    pages = ruling_pages(divided("plotter", layout, job, None), layout, job, paper, WhoRules())
    document = pypdfium2.PdfDocument(pdf(pages))
    for page, artwork in zip(document, pages, strict=True):
        assert [edge / MM for edge in page.get_size()] == pytest.approx(PAPERS[paper], abs=0.1)
        x0, y0, x1, y1 = inked_box(artwork)
        assert min(x0, y0) >= 6
        assert x1 <= PAPERS[paper][0] - 6
        assert y1 <= PAPERS[paper][1] - 6


def test_write_makes_the_sheet_and_draws_what_is_ruled_in_layers_of_its_own(
    run_cli: RunCli, tmp_path: Path
) -> None:
    (tmp_path / "job.toml").write_text(MILLRACE + RULED)
    done = run_cli("write", "--svg", "--report", "--job", str(tmp_path))
    assert done.returncode == 0, done.stderr
    said = text_of((tmp_path / "out" / "ruling.pdf").read_bytes())
    assert "lines to rule" in said
    root = ET.fromstring((tmp_path / "out" / "marking.svg").read_bytes())
    layers = {group.get("id"): group for group in root.iter(f"{SVG}g") if group.get("id")}
    by_hand = [
        len(list(layer)) for name, layer in layers.items() if name and name.startswith("ruled-")
    ]
    assert sum(by_hand) == 148
    assert len(list(layers["cross-lines"])) == 2 * (148 - 13)
    report = (tmp_path / "out" / "report.md").read_text("utf-8")
    assert "148 lines between them" in report


def test_without_the_key_there_is_no_sheet(run_cli: RunCli, tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(MILLRACE)
    done = run_cli("write", "--report", "--job", str(tmp_path))
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "out" / "ruling.pdf").exists()


def test_nothing_written_of_a_line_runs_into_the_next_group(make_job: MakeJob) -> None:
    """The longest that a row can say: a tip and a wait at once, and lines with names of words."""
    table = 'schema = 1\nunits = "mm"\n[table]\nlength = "5.9 m"\nwidth = "1.6 m"\n'
    grid = '[grid]\npitch = "25 mm"\nbias = [100]\n[hems]\nfolds = ["single 110 mm"]\n'
    job = make_job(table + grid + "cross_folds = true\n" + RULED + '[pace]\ntip = "9 m"\n')
    layout = lay_out(job)
    plan = divided("plotter", layout, job, None)
    assert {line.of.partition("-")[0] for line in plan.ruled} == {"cross", "fold", "bias"}
    pages = ruling_pages(plan, layout, job, "a4", WhoRules(by_two=True))
    (x0, x1) = (13.0, PAPERS["a4"][0] - 13.0)
    edges = [x0 + k * (x1 - x0) / 3 for k in range(1, 4)]
    rows = 0
    for page in pages:
        for word, (left, _, right, _) in words_of(page):
            if re.search(r"^r\dc\d+ - |^wait|^new tip|^fold|^bias-", word):
                rows += 1
                assert right <= min(edge for edge in edges if edge > left) - 1, word
    assert rows > len(plan.ruled)
