"""`canvasrule prove`: what to measure on the finished cover, and what that says of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import asdict

from devices.commands.shared import (
    OUTPUT,
    add_job_option,
    add_zone_option,
    given_file,
    print_json,
    print_lines,
    read_job,
    say,
    zone_asked_for,
)
from devices.proving.cover import proved_cover
from devices.proving.judged import judge
from devices.proving.marked_before import asked_spots, judge_spots
from devices.proving.sheet import asked_sheet, keep_sheet
from marking.errors import BadInputError, RefusedError
from marking.job.keys import paper_of, tape_of
from marking.marked_before.words import asked_lines, off_lines, off_record
from marking.output.files import replace_file
from marking.proof.sheet_words import sheet_lines, sheet_record

if TYPE_CHECKING:
    import argparse

    from devices.job import Job

_FEWEST, _MOST = 10, 300


_MORE = """\
Without --measured it writes the sheet, out/proof.svg and out/proof.pdf: ten distances
that tell what the whole cover has done, more only where sections need them, each with
what it is for. Where no number is enough it says which error is in the way, and what
would do. Write what the tape shows under [measured], p01 = "163 1/16 in" and so on, and
of verniers v01 = "0.2 mm".

The verdict speaks of each limit: total from zero, square (over 54 in, or over the width
where only tolerance is given), neighbours, the step at a join, long lines straight. It
is PASS only when every limit that is asked for is shown to be kept, else FAIL, CANNOT
TELL (the tape is too coarse, or the distances too few) or MEASURE AGAIN. Nothing is
taken from how sections were placed, and a section that no measurement touches never
passes. Proved again after some years, it says what the cloth has done since.

examples:
  canvasrule prove --job my-bench
  canvasrule prove --job my-bench --measured proof.toml --confirmed p07"""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_zone_option(verb)
    verb.add_argument(
        "--measured",
        metavar="FILE",
        type=Path,
        help="what the tape showed, .toml or .csv with id and length, for the ids of the sheet",
    )
    verb.add_argument(
        "--confirmed",
        metavar="ID",
        action="append",
        default=[],
        help="a distance that was measured again and stands; may be given more than once",
    )
    verb.add_argument(
        "--slack",
        action="store_true",
        help="the cover is measured before it is stretched on, for a sheet of the slack cloth",
    )
    verb.add_argument(
        "--distances",
        metavar="N",
        type=int,
        help="how many the sheet asks for (default: the fewest on which a cover without any error "
        "can pass)",
    )
    verb.add_argument(
        "--verniers",
        action="store_true",
        help="verniers were drawn over the joins (write --verniers): the sheet asks for their "
        "readings too, and for fewer distances",
    )
    verb.add_argument(
        "--marked-before",
        action="store_true",
        help="for a cover marked by hand, or bought, which should have job.toml's lines: what to "
        "measure on it; with --measured how far off it is, and the card of known errors",
    )
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Writes the sheet, or gives the verdict on what was measured."""
    job = read_job(options.job)
    if options.marked_before:
        if options.confirmed or options.verniers or options.slack or options.distances is not None:
            raise BadInputError("--marked-before goes with --measured FILE alone")
        return (_ask_spots if options.measured is None else _judge_spots)(options, job)
    options.zone = zone_asked_for(options, job)
    if options.distances is not None and not _FEWEST <= options.distances <= _MOST:
        raise BadInputError(
            f"--distances {options.distances}: give {_FEWEST} to {_MOST}; fewer tell nothing, "
            "and nobody measures more"
        )
    if options.measured is None:
        if options.confirmed:
            raise BadInputError("--confirmed is said of a distance in --measured FILE; give both")
        return _write_sheet(options, job)
    if options.verniers:
        raise BadInputError(
            "--verniers is for the sheet; the sheet written last knows what it asked for"
        )
    return _judge(options, job)


def _write_sheet(options: argparse.Namespace, job: Job) -> int:
    # What draws is imported where something is drawn: it takes a while.
    from marking.drawing.pdf import pdf
    from marking.drawing.svg import svg
    from marking.output.proof_sheet import proof_pages

    cover = proved_cover(options.job, job, options.zone, slack=options.slack)
    sheet = asked_sheet(options.job, job, cover, most=options.distances, verniers=options.verniers)
    told = (sheet.plan, sheet.verniers, sheet.tape)
    pages = proof_pages(*told, job.title, job.units, paper_of(job), job.numerals, sheet.notes)
    files = {"proof.svg": svg(pages[0]), "proof.pdf": pdf(pages)}
    keep_sheet(options.job, job, cover, sheet)
    paths = [options.job / OUTPUT / name for name in files]
    for path, data in zip(paths, files.values(), strict=True):
        replace_file(path, data)
    if options.json:
        print_json(sheet_record(sheet.plan, sheet.verniers, paths, sheet.tape, job.units))
    else:
        print_lines(sheet_lines(*told, job.units, job.numerals, sheet.notes))
        say(f"wrote {', '.join(map(str, paths))}")
    return 0


def _judge(options: argparse.Namespace, job: Job) -> int:
    path = given_file("--measured", options.measured, options.job)
    judged = judge(options.job, job, path, options.confirmed)
    if judged.read_before:
        say(f"with what was kept of verniers read before: {', '.join(judged.read_before)}")
    if options.json:
        print_json({**judged.record, "says": list(judged.lines(job.units))})
    else:
        print_lines(judged.lines(job.units))
    return 0 if judged.verdict.outcome == "pass" else RefusedError.exit_code


def _ask_spots(options: argparse.Namespace, job: Job) -> int:
    """The sheet for a cover that this tool did not draw."""
    asked = asked_spots(job)
    path = options.job / OUTPUT / "marked-before.pdf"
    replace_file(path, asked.pdf)
    if options.json:
        spots = list(map(asdict, asked.spots))
        print_json({"schema": 1, "files": [path.as_posix()], "asked": spots})
    else:
        print_lines(asked_lines(asked.spots, tape_of(job.tape), job.units, asked.notes))
        say(f"wrote {path}")
    return 0


def _judge_spots(options: argparse.Namespace, job: Job) -> int:
    """How far off such a cover is, and its card."""
    file = given_file("--measured", options.measured, options.job)
    off, card = judge_spots(options.job, job, file)
    path = options.job / OUTPUT / "known-errors.pdf"
    replace_file(path, card)
    if options.json:
        print_json({"schema": 1, "files": [path.as_posix()], **off_record(off)})
    else:
        print_lines(off_lines(off, job.units))
        say(f"wrote {path}: the card to pin up")
        if off.contradicted:
            say("do not pin it up before you have measured again")
        say(f"a new cover with the same choices: canvasrule start NEW --like {options.job}")
    return 0 if off.advice == "keep" else RefusedError.exit_code
