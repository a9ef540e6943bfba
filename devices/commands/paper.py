"""`canvasrule paper`: what is printed on paper, kind by kind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from devices.begun import layout_of
from devices.commands.shared import (
    OUTPUT,
    add_job_option,
    length_option,
    print_json,
    print_lines,
    read_job,
    say,
)
from marking.errors import BadInputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence

    from devices.job import Job
    from marking.drawing.artwork import Artwork
    from marking.drawing.printed_file import PrintedFile
    from marking.full_size.documents import Document, SheetOf
    from marking.layout.layout import Layout

FOLDER = "paper"
"""Below the output folder."""


class Asked(NamedTuple):
    """What a kind is made from."""

    options: argparse.Namespace
    job: Job
    layout: Layout


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    verb.add_argument("kind", metavar="KIND", choices=sorted(KINDS), help=_kinds_said())
    add_job_option(verb)
    verb.add_argument(
        "--measured",
        metavar="LENGTH",
        nargs="+",
        default=[],
        help="full, tiles: what a check length came out as, to take out the printer's scale: the "
        "one across the sheet, for both ways, or that and the one up it",
    )
    verb.add_argument(
        "--overlap", metavar="LENGTH", type=length_option, help="full, tiles: of two sheets"
    )
    verb.add_argument(
        "--prints",
        metavar="LENGTH",
        type=length_option,
        help="full: how far across the printer prints (default: 35 in or 890 mm, of a 36 in roll)",
    )
    verb.epilog = (
        'Sheets go to "out/paper" in the job\'s folder, on the paper that [paper] size names. '
        "Print at 100 % (actual size).\n\n"
        "full: out/paper/full.pdf and full.svg are the whole marking in one piece, for a shop that "
        "prints\non canvas, with the canvas to wrap and to cut back round it and [cloth]'s "
        "stretch taken out. A page\nlonger than 200 in counts in larger units (UserUnit, PDF 1.6): "
        "MuPDF heeds that (1.28, tried),\nPDFium, which is in Chrome and Edge, and Poppler do not "
        "(159 and 22.12, tried) and show the page\nsmaller by a whole number. panels.pdf is for "
        "any wide printer: none is wider than --prints or longer\nthan 200 in, and always works.\n"
        "tiles: out/paper/tiles.pdf, a map and then sheets of a home printer, those without ink "
        "left out.\n"
        "keep: out/paper/keep.pdf, the page to staple under the table; "
        '"canvasrule start DIR --from-page"\nmakes the job again from its text, typed or scanned.\n'
        "\nexamples:\n  canvasrule paper tiles --job my-bench\n"
        '  canvasrule paper tiles --job my-bench --measured "5 31/32 in" "6 1/32 in"\n'
        '  canvasrule paper full --job my-bench --prints "41 in"'
    )


def run(options: argparse.Namespace) -> int:
    """Makes the sheets of one kind and lists them."""
    from marking.output.files import write_set
    from marking.record.record import layout_hash

    _check_taken(options)
    job = read_job(options.job)
    layout = layout_of(options.job, job)
    files = KINDS[options.kind](Asked(options, job, layout))
    folder = options.job / OUTPUT / FOLDER
    contents = {file.path: file.data for file in files}
    done = write_set(folder, contents, layout_hash(layout))
    for name in done.removed:
        say(f"note: {folder / name}: taken away, being of an earlier layout")
    for name in done.left:
        say(f"note: {folder / name} is of an earlier layout and was changed since; it was left")
    shas = {file.path: file.sha256 for file in done.written}
    if options.json:
        print_json({"schema": 1, "files": [_record(file, shas[file.path]) for file in files]})
    else:
        print_lines(f"{folder / file.path}   {_said(file)}" for file in files)
    return 0


def _check_taken(options: argparse.Namespace) -> None:
    """Refuses an option that the kind has no use for."""
    taken = {"full": ("measured", "overlap", "prints"), "tiles": ("measured", "overlap")}
    for name in ("measured", "overlap", "prints"):
        if getattr(options, name) and name not in taken.get(options.kind, ()):
            raise BadInputError(f"paper {options.kind} has no use for --{name}; leave it out")


def _record(file: PrintedFile, sha256: str) -> dict[str, Any]:
    record: dict[str, Any] = {
        "path": f"{FOLDER}/{file.path}",
        "kind": file.kind,
        "pages": file.pages,
        "page_mm": list(file.page_mm),
        "sha256": sha256,
    }
    return record | ({"parts": list(file.parts)} if file.parts else {})


def _said(file: PrintedFile) -> str:
    from marking.measures.counts import counted

    wide, high = (round(side) for side in file.page_mm)
    return f"{counted(file.pages, 'page')}, {wide} by {high} mm"


def _about(asked: Asked) -> str:
    """Which version of what marking, for the foot of a sheet."""
    from marking.record.record import layout_hash

    return f"canvasrule {_version()}, marking {layout_hash(asked.layout)[:16]}"


def _version() -> str:
    from importlib.metadata import version

    return version("canvasrule")


def _full(asked: Asked) -> Sequence[PrintedFile]:
    """the whole marking at true size, and in panels where a printer is narrower than the cover"""
    from marking.drawing.pdf import pdf, user_unit
    from marking.drawing.printed_file import printed_file
    from marking.drawing.svg import svg
    from marking.full_size.documents import PRINTS_ACROSS, needs_panels, panels, whole_sheet
    from marking.full_size.whole import whole_marking

    options, job, layout = asked
    whole = whole_marking(layout, job, _about(asked))
    parts = (_part(whole_sheet(whole)),)
    files = [
        printed_file(f"full.{ending}", "full", made([whole]), [whole], parts)
        for ending, made in (("pdf", pdf), ("svg", lambda pages: svg(pages[0])))
    ]
    unit = user_unit(whole)
    if unit > 1:
        say(
            f"note: full.pdf is longer than 200 in and counts in units of {unit}/72 in. PDFium "
            f"(Chrome, Edge) and Poppler show it {unit} times too small; panels.pdf always works"
        )
    across = options.prints or PRINTS_ACROSS[job.units]
    if needs_panels(layout, across) or unit > 1:
        document = panels(
            layout,
            job,
            _about(asked),
            across=across,
            overlap=options.overlap,
            measured=options.measured,
        )
        files.append(_document("panels", document))
    elif options.measured or options.overlap:
        raise BadInputError(
            "--measured and --overlap are for panels, and this printer prints the cover in one "
            "piece: leave them out, or give a smaller --prints"
        )
    return files


def _tiles(asked: Asked) -> Sequence[PrintedFile]:
    """the whole marking at true size on sheets of a home printer"""
    from marking.full_size.documents import tiles
    from marking.job.keys import paper_of

    options, job, layout = asked
    document = tiles(
        layout,
        job,
        _about(asked),
        size=paper_of(job),
        overlap=options.overlap,
        measured=options.measured,
    )
    return [_document("tiles", document)]


def _document(kind: str, document: Document) -> PrintedFile:
    from marking.drawing.pdf import pdf
    from marking.drawing.printed_file import printed_file

    parts = tuple(map(_part, document.sheets))
    return printed_file(f"{kind}.pdf", kind, pdf(document.pages), document.pages, parts)


def _part(sheet: SheetOf) -> dict[str, Any]:
    return {"page": sheet.page, "name": sheet.name, "box": list(sheet.box), "at": list(sheet.at)}


def _keep(asked: Asked) -> Sequence[PrintedFile]:
    """the page that the job is made again from, to staple under the table"""
    from marking.drawing.pdf import pdf
    from marking.drawing.printed_file import printed_file

    pages = keep_pages_of(asked)
    return [printed_file("keep.pdf", "keep", pdf(pages), pages)]


def keep_pages_of(asked: Asked) -> tuple[Artwork, ...]:
    """The keep page, by itself or as the last of a job sheet."""
    from marking.job.keys import paper_of
    from marking.keep.kept_job import kept_job
    from marking.keep.page import keep_pages
    from marking.record.record import layout_hash

    options, job, layout = asked
    kept = kept_job(options.job, job, _version(), layout_hash(layout))
    return keep_pages(kept, job, paper_of(job))


KINDS: dict[str, Callable[[Asked], Sequence[PrintedFile]]] = {
    "full": _full,
    "tiles": _tiles,
    "keep": _keep,
}
"""What can be printed; the first line of each says what it is."""


def _kinds_said() -> str:
    return "; ".join(f"{name}: {made.__doc__}" for name, made in KINDS.items())
