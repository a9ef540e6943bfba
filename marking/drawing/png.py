"""A drawing as PNG: the one rasteriser, PDFium, over the page that the PDF back end makes.

Type comes out in the embedded face, and no font of the machine's own is looked at. Long lines a
little out of plumb take it a tenth of the time that they take a renderer of SVG.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from marking.drawing.pdf import pdf

if TYPE_CHECKING:
    from marking.drawing.artwork import Artwork

LONGEST = 4200
"""Pixels along the longer side of a picture to look at."""


def png(artwork: Artwork, longest: int | None = None) -> bytes:
    """The drawing `longest` pixels along its longer side, or a pixel to a unit."""
    import pypdfium2

    scale = 1.0 if longest is None else longest / max(artwork.size)
    page = pypdfium2.PdfDocument(pdf([artwork], scale))[0]
    found = io.BytesIO()
    page.render(scale=1).to_pil().save(found, "PNG", compress_level=1)
    return found.getvalue()
