"""A file to print, and what a program is told of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from marking.drawing.pdf import POINTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork


class PrintedFile(NamedTuple):
    """One file by its path below the output folder, with forward slashes."""

    path: str
    kind: str
    data: bytes
    pages: int
    page_mm: tuple[float, float]
    """Of the first page."""
    parts: tuple[dict[str, Any], ...] = ()
    """Of the table, by page, where the pages carry it at true size."""


def printed_file(
    path: str,
    kind: str,
    data: bytes,
    pages: Sequence[Artwork],
    parts: tuple[dict[str, Any], ...] = (),
) -> PrintedFile:
    """`data`, which was made from `pages`."""
    first = pages[0]
    wide, high = (side * POINTS[first.unit] * 25.4 / 72 for side in first.size)
    return PrintedFile(path, kind, data, len(pages), (round(wide, 4), round(high, 4)), parts)
