"""`canvasrule paper`: what is printed on paper, kind by kind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from devices.begun import layout_of
from devices.commands.shared import (
    OUTPUT,
    add_job_option,
    print_json,
    print_lines,
    read_job,
    say,
)
from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence

    from devices.job import Job
    from marking.drawing.artwork import Artwork
    from marking.drawing.printed_file import PrintedFile
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
        help="hand: what the check length of a printed strip came out as, to take out the "
        "printer's scale",
    )
    verb.add_argument("--left-handed", action="store_true", help="hand: rule with the left hand")
    verb.add_argument("--by-two", action="store_true", help="hand: a helper rules the far halves")
    verb.epilog = (
        'Sheets go to "out/paper" in the job\'s folder, on the paper that [paper] size names. '
        "Print at 100 % (actual size).\n\n"
        "hand: hand.pdf is what to do in order, the frame, both sides with every tape reading and "
        "its numeral,\nand the lines to rule; strips.pdf the margins at true size, each strip laid "
        "by its own tape reading;\nstencils.svg the digits to cut out. canvasrule control --for "
        "reach tells what a careful hand leaves.\n"
        "\nexamples:\n  canvasrule paper hand --job my-bench\n"
        '  canvasrule paper hand --job my-bench --measured "5 31/32 in"'
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


_TAKEN = {"hand": ("measured", "left_handed", "by_two")}
"""The options that each kind has a use for."""


def _check_taken(options: argparse.Namespace) -> None:
    """Refuses an option that the kind has no use for."""
    for name in {option for taken in _TAKEN.values() for option in taken}:
        if getattr(options, name) and name not in _TAKEN.get(options.kind, ()):
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
    from marking.measures.counts import counted

    wide, high = (round(side) for side in file.page_mm)
    return f"{counted(file.pages, 'page')}, {wide} by {high} mm"


def _hand(asked: Asked) -> Sequence[PrintedFile]:
    """all sheets for marking by hand, with strips of the margins and stencils for the digits"""
    from marking.drawing.printed_file import printed_file
    from marking.drawing.svg import svg
    from marking.hand.plan import by_hand
    from marking.hand.stencils import stencils_of
    from marking.hand.strips import strips_of
    from marking.job.keys import paper_of, tape_of
    from marking.ruling.order import Manner
    from marking.sheets.hand_sheet import hand_document
    from marking.sheets.stencil_sheet import stencil_artwork
    from marking.sheets.strip_sheet import strip_document

    options, job, layout = asked
    paper = paper_of(job)
    strips = strips_of(layout, job, paper, _measured(options))
    manner = Manner("left" if options.left_handed else "right", options.by_two)
    pages = hand_document(by_hand(layout, job, manner), layout, job, paper)
    files = [
        _printed("hand", "hand", pages),
        _printed("strips", "hand", strip_document(strips, job, tape_of(job.tape), paper)),
    ]
    try:
        stencils = stencils_of(layout, job)
    except RefusedError as why:
        say(f"note: {why}")
        stencils = None
    if stencils is not None:
        drawn = stencil_artwork(stencils, job)
        files.append(printed_file("stencils.svg", "hand", svg(drawn), [drawn]))
    return files


def _measured(options: argparse.Namespace) -> float | None:
    """The one length of `--measured`, in mm."""
    from marking.measures.lengths import parse_length

    if not options.measured:
        return None
    if len(options.measured) > 1:
        raise BadInputError("--measured: a strip has one check length; give that alone")
    try:
        return parse_length(options.measured[0])
    except ValueError as fault:
        raise BadInputError(f"--measured {options.measured[0]}: {fault}") from None


def _printed(name: str, kind: str, pages: Sequence[Artwork]) -> PrintedFile:
    from marking.drawing.pdf import pdf
    from marking.drawing.printed_file import printed_file

    return printed_file(f"{name}.pdf", kind, pdf(pages), pages)


KINDS: dict[str, Callable[[Asked], Sequence[PrintedFile]]] = {"hand": _hand}
"""What can be printed; the first line of each says what it is."""


def _kinds_said() -> str:
    return "; ".join(f"{name}: {made.__doc__}" for name, made in KINDS.items())
