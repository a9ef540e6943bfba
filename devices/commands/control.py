"""`canvasrule control`: the tape marks to set out by tape, and what they will hold."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import guard_sections, layout_of, plan_of
from devices.commands.shared import (
    OUTPUT,
    add_ink_option,
    add_job_option,
    check_picture_name,
    length_option,
    print_json,
    print_lines,
    read_job,
    say,
    zone_asked_for,
)
from devices.history import at_own_pace, kept_correction
from devices.tape_marks.chosen_for import choose
from devices.tape_marks.kept import guard_set_out, keep_chosen, write_map
from marking.errors import BadInputError, RefusedError
from marking.hand.plan import frame, hand_holds
from marking.hand.words import expected_lines, expected_record, time_said
from marking.layout.edges import off_the_wall
from marking.network.allowed_errors import allowed_of
from marking.output.tape_marks_words import (
    control_lines,
    control_record,
    tape_marks_lines,
    tape_marks_record,
)
from marking.tape_marks.wanted import TIES_BELOW, MarksWanted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.network.fence import Clamping
    from marking.sections.plan import Plan
    from marking.tape_marks.marks import TapeMarks


_MORE = """\
Tape marks are removable marks, set by tape before any ink, that sections are placed by.
Writes the sheet to carry to the table into out/control.svg and out/control.pdf: what
the tape reads at each mark, always from the one zero, the 3-4-5, both diagonals, the
hours.

Marks stand where sections meet, one for all that reach it, and each section is asked
for the few readings worth taking: enough that a slip of about 3 mm in any shows. Of the
ways to do so it takes the one that costs least time at your [pace] among those whose
forecast holds tolerance and [allowed]. If nothing holds it says so and lists what would
help, as options to type just as they stand; sections may be placed all the same, each
judged by its own readings. The map shows what to expect of each section and of the
whole cover, which has a larger figure because any of its sections may be the one that
errs. [tape] takes the tape's class, how finely you read it, the room's temperature and
a measured error. A mark that ink was placed by stays for good.

example:
  canvasrule control --job my-bench --map my-bench-errors.png"""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_ink_option(verb)
    verb.add_argument(
        "--for",
        dest="zone",
        choices=("plotter", "reach"),
        help="who is placed by them: the plotter's sections, or a hand that ticks by tape and "
        "rules, which needs few (default: what the way chosen says, else plotter)",
    )
    verb.add_argument(
        "--spacing",
        metavar="LENGTH",
        type=length_option,
        help="set marks in rows along the edges and ends, so far apart at most, and read every one "
        "in sight; by default marks stand where sections meet, and few are read",
    )
    verb.add_argument(
        "--nodes",
        choices=("all", "half", "ends"),
        help="a mark at each place where sections meet, at half of them, or with a [fence] at the "
        "ends of its rows; by default whichever takes least time and holds",
    )
    verb.add_argument(
        "--tie-below",
        choices=tuple(TIES_BELOW),
        help="with --nodes: few sections, some, or all, read ink of the row below them too, or "
        "with a [fence] of the section beside",
    )
    verb.add_argument(
        "--join-rows",
        metavar="N",
        type=int,
        help="set marks along every N-th join between rows of sections too: 1 for each, 2 for "
        "one in two (default: none); without --spacing at the widest that holds",
    )
    # Its name until version 0.2, which sheets that are already printed still show.
    verb.add_argument(
        "--seam-rows", dest="join_rows", type=int, default=argparse.SUPPRESS, help=argparse.SUPPRESS
    )
    verb.add_argument(
        "--read-twice",
        action="store_true",
        help="forecast for every mark read twice, the pen taken off and brought back in between",
    )
    verb.add_argument(
        "--only-look",
        action="store_true",
        help="show what this would hold, and draw the map: the marks that are set out stay as "
        "they are, and so does their sheet",
    )
    verb.add_argument(
        "--set-out-anew",
        action="store_true",
        help="take other marks although some of the present ones were read: those readings no "
        "longer count. Never where ink was placed by them",
    )
    verb.add_argument(
        "--map",
        metavar="FILE",
        type=Path,
        help="draw the table with the error to expect of each section, .svg or .png",
    )
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Chooses the marks, writes the sheet and prints the readings, or JSON."""
    if options.map is not None:
        check_picture_name("--map", options.map)
    job = read_job(options.job)
    layout = layout_of(options.job, job, despite_ink=options.despite_ink)
    if zone_asked_for(options, job) == "reach":
        return _by_hand(options, job, layout)
    plan = plan_of(options.job, "plotter", job, layout, kept_correction(options.job, job))
    if not options.only_look:
        guard_sections(
            options.job,
            job,
            layout,
            despite_ink=options.despite_ink,
            otherwise="chooses marks for the new division",
        )
    job = at_own_pace(options.job, job, layout, plan)
    done = choose(options.job, job, layout, plan, _wanted(options), _progress)
    if not options.only_look:
        # Before remedies are tried, which takes a while.
        guard_set_out(
            options.job, job.units, layout, done.marks.to_set_out, anew=options.set_out_anew
        )
    instead = done.instead(_progress)
    files = []
    if not options.only_look:
        marks = done.marks
        files = _keep(options, job, layout, plan, marks.to_set_out, done.on_sheet(), marks.fences)
    if options.map is not None:
        write_map(options.map, job, done.task, done.marks)
        files.append(options.map)
    if options.json:
        print_json(tape_marks_record(done.marks, instead, files, job.units))
    else:
        told = tape_marks_lines(done.marks, instead, job.units)
        print_lines([*told, done.hours, *off_the_wall(job.table)])
        if done.clamped:
            print_lines(["", *done.clamped])
        if files:
            say(f"wrote {', '.join(map(str, files))}")
    return 0 if done.marks.forecast.holds else RefusedError.exit_code


def _wanted(options: argparse.Namespace) -> MarksWanted:
    return MarksWanted(
        options.spacing,
        options.join_rows,
        options.nodes,
        options.tie_below,
        read_twice=options.read_twice,
    )


def _by_hand(options: argparse.Namespace, job: Job, layout: Layout) -> int:
    """The few marks of a hand that ticks and rules; kept as any others, or only shown."""
    for name in ("spacing", "nodes", "tie_below", "join_rows", "read_twice", "map"):
        if getattr(options, name):
            shown = name.replace("_", "-")
            raise BadInputError(f"--{shown} is for marks that a plotter reads; leave it out")
    tape_marks, limits = frame(layout, job), allowed_of(job)
    expected = hand_holds(layout, job.tape)
    says = (time_said(tape_marks, job.pace), *expected_lines(expected, limits, job.units))
    files = []
    if not options.only_look:
        plan = plan_of(options.job, "reach", job, layout, None)
        files = _keep(options, job, layout, plan, tape_marks, says)
    if options.json:
        print_json(
            {
                **control_record(tape_marks),
                "forecast": expected_record(expected, limits),
                "files": [path.as_posix() for path in files],
            }
        )
    else:
        print_lines((*control_lines(tape_marks, job.units), *says, *off_the_wall(job.table)))
        if files:
            say(f"wrote {', '.join(map(str, files))}")
    return RefusedError.exit_code if expected.past(limits) else 0


def _keep(
    options: argparse.Namespace,
    job: Job,
    layout: Layout,
    plan: Plan,
    tape_marks: TapeMarks,
    says: Sequence[str],
    fences: Mapping[str, Clamping] | None = None,
) -> list[Path]:
    out, anew = options.job / OUTPUT, options.set_out_anew
    files, note = keep_chosen(
        options.job, out, job, layout, plan, tape_marks, says, fences, anew=anew
    )
    if note is not None:
        say(note)
    return files


def _progress(message: str) -> None:
    if sys.stderr.isatty():
        say(f"{message} …")
