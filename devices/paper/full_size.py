"""The marking at true size: whole, in panels, in tiles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from devices.paper.asked import Printed, version
from marking.errors import BadInputError

if TYPE_CHECKING:
    from devices.paper.asked import PaperAsked
    from marking.drawing.printed_file import PrintedFile
    from marking.full_size.documents import Document, SheetOf


def full(asked: PaperAsked) -> Printed:
    """the whole marking at true size, and in panels where a printer is narrower than the cover"""
    from marking.drawing.pdf import pdf, user_unit
    from marking.drawing.printed_file import printed_file
    from marking.drawing.svg import svg
    from marking.full_size.documents import PRINTS_ACROSS, panels, whole_sheet
    from marking.full_size.whole import whole_marking

    job, layout = asked.job, asked.layout
    whole = whole_marking(layout, job, _about(asked))
    parts = (_part(whole_sheet(whole)),)
    files = [
        printed_file(f"full.{ending}", "full", made([whole]), [whole], parts)
        for ending, made in (("pdf", pdf), ("svg", lambda pages: svg(pages[0])))
    ]
    unit = user_unit(whole)
    notes: tuple[str, ...] = ()
    if unit > 1:
        notes = (
            f"full.pdf is longer than 200 in and counts in units of {unit}/72 in. PDFium "
            f"(Chrome, Edge) and Poppler show it {unit} times too small; panels.pdf always works",
        )
    across = asked.prints or PRINTS_ACROSS[job.units]
    if whole.size[1] > across or unit > 1:
        document = panels(
            layout,
            job,
            _about(asked),
            across=across,
            overlap=asked.overlap,
            measured=asked.measured,
        )
        files.append(_document("panels", document))
    elif asked.measured or asked.overlap:
        raise BadInputError(
            "--measured and --overlap are for panels, and this printer prints the cover in one "
            "piece: leave them out, or give a smaller --prints"
        )
    return Printed(tuple(files), notes)


def tiles(asked: PaperAsked) -> Printed:
    """the whole marking at true size on sheets of a home printer"""
    from marking.full_size.documents import tiles as tiled
    from marking.job.keys import paper_of

    job, layout = asked.job, asked.layout
    document = tiled(
        layout,
        job,
        _about(asked),
        size=paper_of(job),
        overlap=asked.overlap,
        measured=asked.measured,
    )
    return Printed((_document("tiles", document),))


def _document(kind: str, document: Document) -> PrintedFile:
    from marking.drawing.pdf import pdf
    from marking.drawing.printed_file import printed_file

    parts = tuple(map(_part, document.sheets))
    return printed_file(f"{kind}.pdf", kind, pdf(document.pages), document.pages, parts)


def _part(sheet: SheetOf) -> dict[str, Any]:
    return {"page": sheet.page, "name": sheet.name, "box": list(sheet.box), "at": list(sheet.at)}


def _about(asked: PaperAsked) -> str:
    """Which version of what marking, for the foot of a sheet."""
    from marking.record.record import layout_hash

    return f"canvasrule {version()}, marking {layout_hash(asked.layout)[:16]}"
