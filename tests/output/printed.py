"""What written pictures and sheets say and show, as libraries find it that do not write them.

PDFium reads the PDF that ReportLab wrote; resvg draws the SVG.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pypdfium2
import resvg_py
from pypdfium2 import raw

from marking.drawing.pdf import pdf
from marking.drawing.typeface import typeface_file

if TYPE_CHECKING:
    from marking.drawing.artwork import Artwork

Box = tuple[float, float, float, float]
MM = 72 / 25.4


def words_of(artwork: Artwork) -> list[tuple[str, Box]]:
    """Every line of type of a drawing and the box of its ink, in the drawing's own frame."""
    page = pypdfium2.PdfDocument(pdf([artwork]))[0]
    text = page.get_textpage()
    written = []
    for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT], textpage=text):
        left, low, right, high = (edge / MM for edge in item.get_bounds())
        x, y = artwork.box[:2]
        written.append((item.extract().strip(), (left + x, low + y, right + x, high + y)))
    return written


def inked_box(artwork: Artwork) -> Box:
    """The box round all that a page's PDF draws but the paper itself, in mm of the page."""
    page = pypdfium2.PdfDocument(pdf([artwork]))[0]
    _paper, *drawn = page.get_objects()
    boxes = [item.get_bounds() for item in drawn]
    ends = [f(box[k] for box in boxes) / MM for k, f in enumerate((min, min, max, max))]
    return (ends[0], ends[1], ends[2], ends[3])


def text_of(data: bytes) -> str:
    """All that can be selected in a PDF, its lines joined by spaces."""
    document = pypdfium2.PdfDocument(data)
    every = " ".join(page.get_textpage().get_text_range() for page in document)
    return " ".join(every.split())


def drawn_by_resvg(picture: bytes, width: int) -> bytes:
    """An SVG as PNG so many pixels wide, its type in our own face and no other."""
    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=picture.decode(),
            width=width,
            dpi=96,
            skip_system_fonts=True,
            font_files=[str(typeface_file())],
        )
    )
