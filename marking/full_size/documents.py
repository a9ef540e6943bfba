"""The documents at true size: the whole, its panels for a wide printer, its tiles for any other.

It lays out sheets and says how to put them together; `marking.full_size.sheet` draws each.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from msgspec.structs import replace

from marking.drawing.page import PAPERS
from marking.errors import RefusedError
from marking.full_size.ink import InkByPlace
from marking.full_size.parts import parted
from marking.full_size.scale import Lengths, Scale, scale_of
from marking.full_size.sheet import Paper, Printing, held_true, part_sheet
from marking.full_size.tile_map import tile_map
from marking.full_size.whole import check_lengths
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box
    from marking.drawing.artwork import Artwork
    from marking.full_size.parts import Part, Parting
    from marking.job.keys import MarkingJob, PaperSize
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

PRINTS_ACROSS = {"in": 35 * 25.4, "mm": 890.0}
"""mm across a roll of 36 in, less half an inch at each side: from memory."""
PANEL_OVERLAP = {"in": 25.4, "mm": 25.0}
TILE_OVERLAP = {"in": 12.7, "mm": 12.0}
TILE_LENGTHS = {"in": Lengths(6 * 25.4, 6 * 25.4), "mm": Lengths(150.0, 150.0)}
LONGEST_PANEL = 199 * 25.4
"""mm: under the 200 in that a page's side may have without larger units."""
_RIM, _PANEL_RIM = 8.0, 3.0
"""mm left white: by a home printer 1/4 in or less, from memory; round a panel, for its words."""


class SheetOf(NamedTuple):
    """Where a part of the table stands in a document."""

    page: int
    name: str
    box: Box
    """Table frame, mm, true size."""
    at: tuple[float, float]
    """mm from the page's lower left corner, of the box's; a corrected page is drawn by so much
    larger or smaller that it comes out true."""


class Document(NamedTuple):
    """Pages, and what of the table each carries."""

    pages: tuple[Artwork, ...]
    sheets: tuple[SheetOf, ...]
    left_out: tuple[str, ...] = ()
    """Names of sheets that would carry no ink."""
    corrected: Scale = Scale()


def panels(
    layout: Layout,
    job: MarkingJob,
    about: str,
    *,
    across: float,
    overlap: float | None = None,
    measured: Sequence[str] = (),
) -> Document:
    """The marking in panels along the table, none wider than a printer prints `across`.

    Raises BadInputError for a scale that cannot be, RefusedError for a printer that is too narrow.
    """
    lap = PANEL_OVERLAP[job.units] if overlap is None else overlap
    paper = Paper(LONGEST_PANEL, across, _PANEL_RIM)
    plain = _parted(layout, job, paper, Scale(), lap)
    lengths = check_lengths(_least(plain), job.units)
    scale = scale_of(measured, lengths, job.units)
    parting = plain if scale.one else _parted(layout, job, paper, scale, lap)
    printing = Printing(layout, job, InkByPlace(layout), parting, scale, lengths, about)
    says = (
        "Print at 100 %. Measure the square and both lengths before use. Cut one of two panels "
        "along its dashed line and lay it over the other,",
        "ringed cross on ringed cross, the reading above by tape from the zero corner. Cut on a "
        "mat, never on the canvas, and do not climb on the table.",
    )
    pages: list[Artwork] = []
    sheets: list[SheetOf] = []
    for part in parting.parts:
        x0, y0, x1, y1 = part.window
        own = Paper.round_window((x1 - x0) * scale.across, (y1 - y0) * scale.up, _PANEL_RIM)
        numbered = replace(printing, about=_page_of(about, len(pages) + 1, len(parting.parts)))
        pages.append(part_sheet(part, numbered, own, says))
        pages[-1].chapter = part.name
        sheets.append(SheetOf(len(pages), part.name, part.window, own.window_at))
    pages[0].title = f"{job.title}: panels at true size"
    return Document(tuple(pages), tuple(sheets), (), scale)


def _page_of(about: str, page: int, count: int) -> str:
    return f"{about}, page {page} of {count}"


def _least(parting: Parting) -> Box:
    """A box as wide as the narrowest sheet and as high as the lowest."""
    wide = min(part.window[2] - part.window[0] for part in parting.parts)
    high = min(part.window[3] - part.window[1] for part in parting.parts)
    return 0.0, 0.0, wide, high


def tiles(
    layout: Layout,
    job: MarkingJob,
    about: str,
    *,
    size: PaperSize,
    overlap: float | None = None,
    measured: Sequence[str] = (),
) -> Document:
    """The marking on sheets of a home printer, after a map of them; those without ink left out.

    The sheets stand or lie, whichever needs fewer. Raises BadInputError for a scale that cannot
    be, RefusedError for an overlap that leaves no room.
    """
    lap = TILE_OVERLAP[job.units] if overlap is None else overlap
    lengths = TILE_LENGTHS[job.units]
    scale = scale_of(measured, lengths, job.units)
    standing = Paper(*PAPERS[size], _RIM)
    ink = InkByPlace(layout)

    def inked_on(paper: Paper, scale: Scale) -> tuple[Parting, list[Part]]:
        parting = _parted(layout, job, paper, scale, lap)
        return parting, [part for part in parting.parts if ink.any_in(part.core)]

    # As they lay when a check length was measured, or across would be up.
    plain = {paper: inked_on(paper, Scale()) for paper in (standing, standing.lying)}
    paper = min(plain, key=lambda paper: len(plain[paper][1]))
    parting, inked = plain[paper] if scale.one else inked_on(paper, scale)
    printing = Printing(layout, job, ink, parting, scale, lengths, about)
    says = (
        "Print at 100 %, not fitted to the page. Measure the square and both lengths. Cut this "
        "sheet along its dashed lines",
        "or lay the next one over them, ringed cross on ringed cross; hold each row to the tape. "
        "Cut on a mat, not on the canvas.",
    )
    left_out = tuple(part.name for part in parting.parts if part not in inked)
    first = tile_map(
        layout, job.title, parting, inked, size, _how(job.units, lengths, scale, len(inked)), about
    )
    first.chapter = "Map"
    pages, sheets, row = [first], [], 0
    for part in inked:
        numbered = replace(printing, about=_page_of(about, len(pages) + 1, len(inked) + 1))
        pages.append(part_sheet(part, numbered, paper, says))
        if part.row != row:
            row = part.row
            pages[-1].chapter = f"Row {row}"
        sheets.append(SheetOf(len(pages), part.name, part.window, paper.window_at))
    return Document(tuple(pages), tuple(sheets), left_out, scale)


def _how(units: Units, lengths: Lengths, scale: Scale, count: int) -> tuple[str, ...]:
    """What the map says to do, in order."""
    true = format_length(lengths.across, units)
    example = "5 31/32 in" if units == "in" else "149.2 mm"
    corrected = (
        f"The printer's scale is taken out: {scale.across - 1:+.2%} across, {scale.up - 1:+.2%} up."
        if not scale.one
        else "The printer's scale is not taken out yet."
    )
    return (
        f"Print page 2 alone at 100 % (actual size, not fitted to the page). Its check lengths "
        f"must measure {true} from tick to tick, across and up. If one reads {example}, print "
        f'anew with --measured "{example}", and the one up the sheet after it. {corrected}',
        f"Then print all {count} sheets on the same paper, on the same day: paper grows with damp.",
        "Lay them row by row from the zero corner. Cut one of two neighbours along its dashed "
        "line, lay it over the other, ringed cross on ringed cross, and tape it.",
        "Each sheet says where its lower left corner lies. Bring it there by the tape from the one "
        "zero, and never only to the last sheet: errors would add up.",
        "Cut on a mat, never on the canvas, blade away from the fingers. Do not climb on the "
        "table: work from its edges.",
    )


def _parted(layout: Layout, job: MarkingJob, paper: Paper, scale: Scale, overlap: float) -> Parting:
    held = held_true(paper, scale)
    least = 3 * overlap
    if min(held) < least:
        room = min(held)
        raise RefusedError(
            f"a sheet {format_length(paper.width, job.units)} by "
            f"{format_length(paper.height, job.units)} has room for "
            f"{format_length(max(room, 0.0), job.units)} of the marking, and "
            f"{format_length(overlap, job.units)} of overlap at both sides wants at least "
            f"{format_length(least, job.units)}: take larger sheets or less overlap"
        )
    return parted(layout, job.pens, held, overlap)


def whole_sheet(artwork: Artwork) -> SheetOf:
    """The one sheet of a whole marking."""
    return SheetOf(1, "whole", artwork.box, (0.0, 0.0))
