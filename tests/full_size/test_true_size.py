"""Full-size sheets are true to a tenth of a millimetre over the whole page.

Outside authorities: PDFium and MuPDF each render the PDF that ReportLab wrote, svgelements
measures the SVG;
ISO 32000-1 annex C (200 in) and table 30 (UserUnit), from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pymupdf
import pypdfium2
import pytest
from svgelements import SVG, Path

from devices.commands import main
from marking.layout.layout import lay_out
from marking.measures.lengths import format_length
from tests.conftest import MILLRACE
from tests.full_size.printed_sheets import MM, paper

if TYPE_CHECKING:
    import pathlib

DPI = 300
PX = 25.4 / DPI
"""mm to a pixel."""


class Rendered:
    """One page, of which a part is rendered at a time; places in mm from its lower left."""

    def __init__(self, path: pathlib.Path, page: int) -> None:
        self.mupdf = pymupdf.open(path)[page - 1]
        self.pdfium = pypdfium2.PdfDocument(path)[page - 1]
        self.high = self.mupdf.rect.height * MM

    def by_mupdf(self, x0: float, y0: float, x1: float, y1: float) -> tuple[np.ndarray, float]:
        """How dark each pixel is, and where the left edge of the first one lies."""
        clip = pymupdf.Rect(x0 / MM, (self.high - y1) / MM, x1 / MM, (self.high - y0) / MM)
        got = self.mupdf.get_pixmap(clip=clip, dpi=DPI, colorspace=pymupdf.csGRAY)
        dark = 255.0 - np.frombuffer(got.samples, np.uint8).reshape(got.height, got.width)
        return dark, got.x * PX

    def by_pdfium(self, x0: float, y0: float, x1: float, y1: float) -> tuple[np.ndarray, float]:
        wide, high = (side * MM for side in self.pdfium.get_size())
        crop = tuple(edge / MM for edge in (x0, y0, wide - x1, high - y1))
        picture = self.pdfium.render(scale=DPI / 72, crop=crop, grayscale=True)
        return 255.0 - picture.to_numpy().reshape(picture.height, -1).astype(float), x0


def upright_at(dark: np.ndarray, start: float) -> float:
    """Where a single upright line lies, mm, by the middle of its darkness."""
    weight = dark.sum(axis=0)
    return start + float((weight * (np.arange(len(weight)) + 0.5)).sum() / weight.sum()) * PX


@pytest.fixture(scope="module")
def demo(tmp_path_factory, make_job):
    folder = tmp_path_factory.mktemp("demo")
    (folder / "job.toml").write_text(MILLRACE, "utf-8")
    return folder, paper(folder, "full")["files"], lay_out(make_job(MILLRACE))


def snapped(value: float) -> float:
    """The edge of a pixel near by, so that a crop begins on one."""
    return round(value / PX) * PX


@pytest.mark.parametrize("renderer", ["by_mupdf", "by_pdfium"])
def test_lines_at_all_ends_of_the_page_lie_where_they_were_laid_out(demo, renderer):
    """Cross lines 0, 74 and 147, the first and the last long line, in the whole and in panels."""
    folder, files, layout = demo
    xs = [layout.grid.cross_x[n] for n in (0, 74, 147)]
    levels = [line.y for line in layout.grid.long_lines]
    checked = 0
    for file in (files[0], files[2]):
        for part in file["parts"]:
            page = Rendered(folder / "out" / file["path"], part["page"])
            (bx0, by0, bx1, by1), at = part["box"], part["at"]
            for x in xs:
                for y in (levels[0] + 60, levels[-1] - 60, 600.0):
                    if not (bx0 + 9 < x < bx1 - 9 and by0 + 9 < y < by1 - 9):
                        continue
                    px, py = x - bx0 + at[0], y - by0 + at[1]
                    left, low = snapped(px - 5), snapped(page.high - py - 1)
                    window = left, page.high - low - 2, left + 120 * PX, page.high - low
                    found = upright_at(*getattr(page, renderer)(*window))
                    assert found == pytest.approx(px, abs=0.1), (file["path"], x, y)
                    checked += 1
    assert checked >= 15


def test_the_svg_is_as_true_as_the_pdf(demo):
    """By svgelements, every line of it by its own id."""
    folder, files, layout = demo
    part = files[1]["parts"][0]
    drawn = SVG.parse(folder / "out" / files[1]["path"], ppi=25.4)
    found = {one.id: one.bbox() for one in drawn.elements() if isinstance(one, Path) and one.id}
    x0, top = part["box"][0], part["box"][3]
    for stroke in layout.strokes:
        low, high = stroke.path.min(axis=0), stroke.path.max(axis=0)
        wanted = (low[0] - x0, top - high[1], high[0] - x0, top - low[1])
        assert found[stroke.id] == pytest.approx(wanted, abs=0.01), stroke.id


def test_a_check_length_and_the_square_measure_what_they_say(demo, tmp_path):
    """Of tiles at true size, and of tiles for a printer that is 1 % short across."""
    folder, _, _ = demo
    small = tmp_path / "job.toml"
    small.write_text('[table]\nlength = "30 in"\nwidth = "20 in"\n[hems]\nfolds = []\n')
    for measured, scale in (((), 1.0), (("--measured", "5.94 in", "6 in"), 6 / 5.94)):
        (file,) = paper(tmp_path, "tiles", *measured)["files"]
        page = pymupdf.open(tmp_path / "out" / file["path"])[1]
        thin = [
            p["rect"]
            for p in page.get_drawings()
            if p["type"] == "s"
            and p["color"] == pytest.approx((0x1D / 255, 0x21 / 255, 0x29 / 255), abs=1e-3)
        ]
        sizes = {(round(r.width * MM, 1), round(r.height * MM, 1)) for r in thin}
        # Stroked bounds: MuPDF gives the path's, so the square's are its sides.
        assert (round(25.4 * scale, 1), 25.4) in sizes
        assert round(152.4 * scale, 1) in {wide for wide, _ in sizes}
        assert 152.4 in {high for _, high in sizes}
    assert folder.exists()


def test_a_page_longer_than_200_in_counts_in_larger_units(tmp_path, capsys):
    (tmp_path / "job.toml").write_text(
        '[table]\nlength = "240 in"\nwidth = "60 in"\n[hems]\nfolds = []\n', "utf-8"
    )
    whole, _, panels = paper(tmp_path, "full")["files"]
    assert "panels.pdf always works" in capsys.readouterr().err
    assert whole["page_mm"][0] > 240 * 25.4
    data = (tmp_path / "out" / whole["path"]).read_bytes()
    assert data.startswith(b"%PDF-1.6")
    # MuPDF heeds UserUnit; PDFium gives units as they stand.
    page = pymupdf.open(stream=data)[0]
    assert page.rect.width * MM == pytest.approx(whole["page_mm"][0], abs=0.1)
    assert pypdfium2.PdfDocument(data)[0].get_width() <= 14_400
    for page in pypdfium2.PdfDocument(tmp_path / "out" / panels["path"]):
        assert page.get_width() <= 14_400
    assert len(panels["parts"]) == 4


def test_a_page_up_to_200_in_is_as_plain_as_any(demo):
    folder, files, _ = demo
    assert b"UserUnit" not in (folder / "out" / files[0]["path"]).read_bytes()


def test_words_on_the_sheets_say_which_they_are_and_how_they_are_laid(demo):
    """Text by MuPDF."""
    folder, files, _ = demo
    panels = pymupdf.open(folder / "out" / files[2]["path"])
    said = [" ".join(page.get_text().split()) for page in panels]
    assert "Beside it: above r2c1." in said[0]
    join = format_length(files[2]["parts"][1]["box"][1] + 12.7, "in")
    assert f"0 in along and {join} across" in said[1]
    assert "Print at 100 %" in said[0]
    assert [title for _, title, _ in panels.get_toc()] == ["r1c1", "r2c1"]
    assert panels.metadata["title"].endswith(": panels at true size")
    whole = " ".join(pymupdf.open(folder / "out" / files[0]["path"])[0].get_text().split())
    assert "Cut the canvas at the outer ones, 5 1/2 in beyond." in whole
    assert "no stretch is taken out" in whole


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["tiles", "--measured", "5 in"], "at 100 %"),
        (["tiles", "--measured", "6"], "no unit"),
        (["tiles", "--measured", "6 in", "6 in", "6 in"], "3 lengths"),
        (["tiles", "--overlap", "5 in"], "less overlap"),
        (["full", "--prints", "3 in"], "take larger sheets"),
        (["full", "--prints", "90 in", "--measured", "6 in"], "smaller --prints"),
        (["keep", "--measured", "6 in"], "no use for --measured"),
        (["tiles", "--prints", "30 in"], "no use for --prints"),
    ],
)
def test_what_cannot_be_printed_is_refused_with_what_would_do(demo, capsys, words, said):
    folder, _, _ = demo
    assert main(["paper", *words, "--job", str(folder)]) in (1, 2)
    assert said in capsys.readouterr().err


def test_a_printer_five_per_cent_off_is_taken_out_and_a_worse_one_refused(demo, capsys):
    folder, _, _ = demo
    assert main(["paper", "tiles", "--measured", "5.69 in", "--job", str(folder)]) == 2
    assert "shorter" in capsys.readouterr().err
