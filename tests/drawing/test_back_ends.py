"""One drawing, three files: the same to the eye, true to size, and its words to be selected.

Outside authorities: PDFium reads and renders the PDF, Chromium and resvg the SVG, svgelements
measures it, fontTools reads the typeface.
"""

from __future__ import annotations

import base64
import io
import subprocess
import sys

import numpy as np
import pypdfium2
import pytest
from fontTools.ttLib import TTFont
from PIL import Image
from pypdfium2 import raw
from svgelements import SVG, Circle, Path
from svgelements import Text as SvgText

from marking.drawing.artwork import Artwork, Style
from marking.drawing.page import PAPERS, Page
from marking.drawing.pdf import pdf
from marking.drawing.picture_file import picture_file
from marking.drawing.png import png
from marking.drawing.svg import svg
from marking.drawing.typeface import FAMILY, em_of_capital, text_width, typeface_file
from tests.output.printed import drawn_by_resvg, text_of, words_of
from tests.output.test_svg_true_to_size import chromium

PX_PER_MM = 96 / 25.4


@pytest.fixture
def artwork() -> Artwork:
    """One of everything, on ground that does not start at nought."""
    artwork = Artwork((-20.0, -10.0, 140.0, 90.0), "Zoë’s bench", "Nothing in particular")
    tint = artwork.layer("tint", Style(fill="#dcebf7", opacity=0.5))
    tint.box((0, 0, 60, 40), "box")
    tint.area([(70, 0), (120, 0), (120, 40)], "triangle", fill="#c2410c")
    lines = artwork.layer("lines", Style("#0f766e", 2.0, dashes=(6.0, 3.0), ends="butt"))
    lines.line([(0, 50), (120, 50)], [(0, 55), (120, 60)], name="pair")
    artwork.layer("ring", Style("#111111", 1.0)).circle((115, 70), 12, "ring")
    artwork.layer("words", Style(fill="#333333")).write("Cross line 147, 8 1/16 in", 0, 70, 6)
    return artwork


def grey(picture: bytes, size: tuple[int, int] | None = None) -> np.ndarray:
    """Rows of pixels, 0 black to 255 white."""
    seen = Image.open(io.BytesIO(picture)).convert("RGB").convert("L")
    return np.asarray(seen if size is None else seen.resize(size), dtype=float)


def alike(one: np.ndarray, other: np.ndarray) -> float:
    """How far two pictures go together, 1 for entirely."""
    return float(np.corrcoef(one.ravel(), other.ravel())[0, 1])


def by_chromium(picture: bytes, folder, size: tuple[int, int]) -> np.ndarray:
    """The SVG as a browser shows it, in the faces that this machine has."""
    (folder / "page.svg").write_bytes(picture)
    quiet = ("--headless", "--disable-gpu", "--disable-quic", "--no-first-run", "--no-sandbox")
    shot = folder / "shot.png"
    subprocess.run(
        [
            *(chromium(), *quiet, f"--user-data-dir={folder / 'profile'}", "--hide-scrollbars"),
            *(f"--window-size={size[0]},{size[1]}", f"--screenshot={shot}"),
            (folder / "page.svg").as_uri(),
        ],
        check=True,
        capture_output=True,
    )
    return grey(shot.read_bytes())


def with_face(picture: bytes) -> bytes:
    """The SVG with our own typeface in it, for a browser on a machine that lacks it."""
    face = base64.b64encode(typeface_file().read_bytes()).decode()
    style = f"<style>@font-face{{font-family:'{FAMILY}';src:url(data:font/ttf;base64,{face})}}"
    return picture.replace(b"<defs />", f"{style}</style>".encode(), 1)


def test_svg_and_png_show_the_same(artwork, tmp_path):
    width, height = (round(side * PX_PER_MM) for side in artwork.size)
    ours = grey(png(artwork, width))[:height]
    assert ours.shape == (height, width)
    assert alike(ours, grey(drawn_by_resvg(svg(artwork), width), (width, height))) > 0.97
    assert alike(ours, by_chromium(with_face(svg(artwork)), tmp_path, (width, height))) > 0.95
    # In a face of the machine's own what is said is still as wide as it was measured.
    browser = by_chromium(svg(artwork), tmp_path, (width, height))
    words = slice(int(10 * PX_PER_MM), int(22 * PX_PER_MM))
    for seen in (ours, browser):
        inked = np.flatnonzero((seen[words, : int(120 * PX_PER_MM)] < 128).any(axis=0))
        ends = np.array([0.0, text_width("Cross line 147, 8 1/16 in") * 6]) + 20
        assert inked[[0, -1]] / PX_PER_MM == pytest.approx(ends, abs=1.2)


def test_every_shape_lies_where_it_was_drawn(artwork):
    """By svgelements in the SVG and by PDFium in the PDF."""
    x0, y0, _, y1 = artwork.box
    drawn = SVG.parse(io.BytesIO(svg(artwork)), ppi=25.4)
    found = {one.id: one.bbox() for one in drawn.elements() if isinstance(one, Path | Circle)}
    wanted = {
        "box": (0, 0, 60, 40),
        "triangle": (70, 0, 120, 40),
        "pair": (0, 50, 120, 60),
        "ring": (103, 58, 127, 82),
    }
    for name, (left, low, right, high) in wanted.items():
        box = (left - x0, y1 - high, right - x0, y1 - low)
        assert found[name] == pytest.approx(box, abs=1e-3), name
    page = pypdfium2.PdfDocument(pdf([artwork]))[0]
    scale = 72 / 25.4
    assert page.get_size() == pytest.approx((160 * scale, 100 * scale), abs=1e-3)
    filled = [one.get_bounds() for one in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH])][1:3]
    for box, name in zip(filled, ("box", "triangle"), strict=True):
        shifted = np.array(wanted[name]) - (x0, y0, x0, y0)
        assert np.array(box) / scale == pytest.approx(shifted, abs=0.02)


def test_type_is_text_in_both_and_its_capitals_are_as_high_as_asked(artwork):
    (text,) = (one for one in SVG.parse(io.BytesIO(svg(artwork))).elements(_is_text))
    assert text.text == "Cross line 147, 8 1/16 in"
    page = Page("a4", "Capitals")
    page.write("H", 50, 100, 7.0, align=0.5)
    ((_, (left, low, right, high)),) = words_of(page.artwork)
    assert (low, high) == pytest.approx((100, 107), abs=0.03)
    assert (left + right) / 2 == pytest.approx(50, abs=0.1)


def _is_text(one: object) -> bool:
    return isinstance(one, SvgText)


def test_a_pdf_has_its_title_its_language_and_its_only_face_within(artwork):
    """ISO 32000-1, 14.3.3 (Title), 14.9.2 (Lang) and 9.9 (FontFile2): read from memory."""
    data = pdf([artwork])
    document = pypdfium2.PdfDocument(data)
    assert document.get_metadata_dict()["Title"] == "Zoë’s bench"
    assert b"/Lang (en)" in data
    assert b"/DisplayDocTitle true" in data
    assert data.count(b"/BaseFont ") == data.count(b"/FontFile2 ") == 1
    (item,) = document[0].get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT])
    assert item.get_font().is_embedded


def test_the_same_drawing_is_the_same_bytes_in_another_process():
    """Nothing may hang on a date, on the order of a set or on what was drawn before."""
    says = (
        "import hashlib, sys; from marking.drawing.page import Page; "
        "from marking.drawing.pdf import pdf; from marking.drawing.png import png; "
        "from marking.drawing.svg import svg; p = Page('a4', 'One'); "
        "p.paragraph('Every line is measured from zero. ' * 9, 13, 200, 120, 2.1); "
        "[hashlib.sha256(x) and print(hashlib.sha256(x).hexdigest()) "
        "for x in (svg(p.artwork), png(p.artwork, 700), pdf([p.artwork, p.artwork]))]"
    )
    runs = {
        subprocess.run(
            [sys.executable, "-c", says], check=True, capture_output=True, text=True
        ).stdout
        for _ in range(2)
    }
    assert len(runs) == 1
    assert len(runs.pop().split()) == 3


def test_a_name_that_ends_with_png_is_a_picture_of_pixels(artwork):
    assert picture_file(artwork, "Map.PNG").startswith(b"\x89PNG")
    assert b"<svg" in picture_file(artwork, "map.svg")


def test_the_face_has_what_a_person_may_write_and_figures_of_one_width():
    face = TTFont(str(typeface_file()))
    characters, widths = face.getBestCmap(), face["hmtx"]
    wanted = [*map(chr, range(0x20, 0x7F)), *map(chr, range(0xA1, 0x180))]
    wanted += "′″⅛¼⅜½⅝¾⅞⁄–—‘’“”×±−°ΑΒΓΔαβγδАБВГабвг"
    assert [one for one in wanted if ord(one) not in characters] == []
    assert len({widths[characters[ord(figure)]][0] for figure in "0123456789"}) == 1
    # As the face's own tables have it.
    per_em = face["head"].unitsPerEm
    assert em_of_capital() == pytest.approx(per_em / face["OS/2"].sCapHeight, rel=2e-3)
    set_out = sum(widths[characters[ord(one)]][0] for one in "61 15/16 in") / per_em
    assert text_width("61 15/16 in") == pytest.approx(set_out * em_of_capital(), rel=1e-3)
    # Regular and upright, whatever else the file can be made to be.
    assert [axis.defaultValue for axis in face["fvar"].axes if axis.axisTag == "wght"] == [400]


def test_a_paragraph_keeps_to_its_width_and_says_every_word():
    page = Page("letter", "A paragraph")
    text = "Use one tape for everything, drawn taut and flat, and hold a printed mark at zero. " * 4
    end = page.paragraph(text, 20, 200, 60, 2.1)
    lines = words_of(page.artwork)
    assert len(lines) > 5
    assert all(left >= 20 and right <= 80 for _, (left, _, right, _) in lines)
    assert " ".join(line for line, _ in lines).split() == text.split()
    assert end < min(low for _, (_, low, _, _) in lines)
    assert text_of(pdf([page.artwork])) == " ".join(text.split())
    assert page.artwork.size == PAPERS["letter"]
