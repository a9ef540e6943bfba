"""A picture to look at as the kind of file that its name asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.png import LONGEST, png
from marking.drawing.svg import svg

if TYPE_CHECKING:
    from marking.drawing.artwork import Artwork


def picture_file(artwork: Artwork, name: str) -> bytes:
    """PNG for a name that ends with it, in either case; else SVG."""
    return png(artwork, LONGEST) if name.lower().endswith(".png") else svg(artwork)
