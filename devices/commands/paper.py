"""`canvasrule paper`: what is printed on paper, kind by kind."""

from __future__ import annotations

from importlib import import_module
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
from devices.paper.asked import PaperAsked
from marking.errors import BadInputError
from marking.measures.counts import counted
from marking.output.files import write_set
from marking.record.record import layout_hash

if TYPE_CHECKING:
    import argparse

    from devices.paper.asked import Printed
    from marking.drawing.printed_file import PrintedFile

FOLDER = "paper"
"""Below the output folder."""


class Kind(NamedTuple):
    """One kind of sheets: what it is, the options it has a use for, and where it is made."""

    says: str
    takes: tuple[str, ...]
    room: str

    def made(self, asked: PaperAsked) -> Printed:
        """The sheets, by the function that bears the kind's name."""
        room, _, name = self.room.rpartition(".")
        printed: Printed = getattr(import_module(f"devices.paper.{room}"), name)(asked)
        return printed


KINDS = {
    "job": Kind(
        "the job sheet: the whole job on paper for the way chosen",
        ("left_handed", "by_two"),
        "job_sheet.job",
    ),
    "hand": Kind(
        "all sheets for marking by hand, with strips of the margins and stencils for the digits",
        ("measured", "left_handed", "by_two"),
        "hand.hand",
    ),
    "full": Kind(
        "the whole marking at true size, and in panels where a printer is narrower than the cover",
        ("measured", "overlap", "prints"),
        "full_size.full",
    ),
    "tiles": Kind(
        "the whole marking at true size on sheets of a home printer",
        ("measured", "overlap"),
        "full_size.tiles",
    ),
    "keep": Kind(
        "the page that the job is made again from, to staple under the table", (), "keep.keep"
    ),
}
"""What can be printed."""


_MORE = """\
Sheets go to "out/paper" in the job's folder, on the paper that [paper] size names. Print
at 100 % (actual size).

job: job.pdf is the whole job for the way under [ways], or for the machine that is there:
what to buy, tape marks, a card for every set-down, lines to rule, the proof with drawings
of it, the keep page. Choose tape marks (canvasrule control) first: its cards then ask for
their readings. Where no number of distances can pass the cover by tape, it asks for the ten
that tell of the whole, and says what would do.
hand: hand.pdf is what to do in order, what it comes to look like, the frame, both sides with
every tape reading and its numeral, and the lines to rule; strips.pdf the margins at true
size, each strip laid by its own tape reading; stencils.svg the digits to cut out. canvasrule
control --for reach tells what a careful hand leaves.
full: full.pdf and full.svg are the whole marking in one piece, for a shop that prints on
canvas, with the canvas to wrap and to cut back round it and [cloth]'s stretch taken out. A
page longer than 200 in counts in larger units (UserUnit, PDF 1.6): MuPDF heeds that (1.28,
tried), PDFium, which is in Chrome and Edge, and Poppler do not (159 and 22.12, tried) and
show the page smaller by a whole number. panels.pdf is for any wide printer: no panel is
wider than --prints or longer than 200 in, so that it always works.
tiles: tiles.pdf is a map and then sheets of a home printer, those without ink left out.
keep: keep.pdf is the page to staple under the table; "canvasrule start DIR --from-page"
makes the job again from its text, typed or scanned.

examples:
  canvasrule paper job --job my-bench
  canvasrule paper hand --job my-bench
  canvasrule paper tiles --job my-bench --measured "5 31/32 in" "6 1/32 in"
  canvasrule paper full --job my-bench --prints "41 in\""""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    verb.add_argument("kind", metavar="KIND", choices=sorted(KINDS), help=_kinds_said())
    add_job_option(verb)
    verb.add_argument(
        "--measured",
        metavar="LENGTH",
        nargs="+",
        default=[],
        help="what a check length came out as, to take out the printer's scale: hand, that of a "
        "strip; full, tiles, the one across the sheet, for both ways, or that and the one up it",
    )
    verb.add_argument(
        "--overlap",
        metavar="LENGTH",
        type=length_option,
        help="full, tiles: how far two sheets overlap (default: 1 in or 25 mm, of tiles 1/2 in or "
        "12 mm)",
    )
    verb.add_argument(
        "--prints",
        metavar="LENGTH",
        type=length_option,
        help="full: how far across the printer prints (default: 35 in or 890 mm, of a 36 in roll)",
    )
    verb.add_argument(
        "--left-handed", action="store_true", help="job, hand: rule with the left hand"
    )
    verb.add_argument(
        "--by-two", action="store_true", help="job, hand: a helper rules the far halves"
    )
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Makes the sheets of one kind and lists them."""
    _check_taken(options)
    job = read_job(options.job)
    layout = layout_of(options.job, job)
    printed = KINDS[options.kind].made(
        PaperAsked(
            options.job,
            job,
            layout,
            tuple(options.measured),
            options.overlap,
            options.prints,
            options.left_handed,
            options.by_two,
        )
    )
    files = printed.files
    folder = options.job / OUTPUT / FOLDER
    contents = {file.path: file.data for file in files}
    done = write_set(folder, contents, layout_hash(layout))
    for name in done.removed:
        say(f"note: {folder / name}: taken away, being of an earlier layout")
    for name in done.left:
        say(f"note: {folder / name} is of an earlier layout and was changed since; it was left")
    for note in printed.notes:
        say(f"note: {note}")
    shas = {file.path: file.sha256 for file in done.written}
    if options.json:
        print_json({"schema": 1, "files": [_record(file, shas[file.path]) for file in files]})
    else:
        print_lines(f"{folder / file.path}   {_said(file)}" for file in files)
    return 0


def _check_taken(options: argparse.Namespace) -> None:
    """Refuses an option that the kind has no use for."""
    for name in sorted({option for kind in KINDS.values() for option in kind.takes}):
        if getattr(options, name) and name not in KINDS[options.kind].takes:
            shown = name.replace("_", "-")
            raise BadInputError(f"paper {options.kind} has no use for --{shown}; leave it out")


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
    wide, high = (round(side) for side in file.page_mm)
    return f"{counted(file.pages, 'page')}, {wide} by {high} mm"


def _kinds_said() -> str:
    return "; ".join(f"{name}: {kind.says}" for name, kind in KINDS.items())
