"""`canvasrule control`: the tape marks to set out by tape, and what they will hold."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import begin, guard_sections, layout_of, plan_of
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
from devices.history import at_own_pace, has_record, kept_check, kept_correction
from devices.plotter.known_errors import with_plotter
from devices.setting_down.fence_words import clamping_lines
from devices.ways.hours_said import hours_said
from marking.begun.on_the_cover import keep_tape_marks, replaced, tape_marks_set_out
from marking.errors import BadInputError, RefusedError
from marking.job.keys import paper_of, tape_of
from marking.layout.edges import off_the_wall
from marking.measures.counts import counted
from marking.network.allowed import allowed_of
from marking.network.error_model import error_model_of
from marking.output.files import replace_file
from marking.output.tape_marks_words import (
    control_lines,
    control_record,
    forecast_lines,
    tape_marks_lines,
    tape_marks_record,
)
from marking.record.record import open_record
from marking.tape_marks.choice import MarksChoice, Task, least_work, remedies, widest, work

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.network.fence import Clamping
    from marking.sections.plan import Plan
    from marking.tape_marks.asked import Ties
    from marking.tape_marks.choice import ChosenMarks
    from marking.tape_marks.marks import Control, TapeRow


TIES_BELOW: dict[str, Ties] = {
    "few": "beside and few below",
    "some": "beside and some below",
    "all": "beside and below",
}
"""What `--tie-below` can be, and what it asks for."""


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
    verb.epilog = (
        "Writes the sheet to carry to the table into out/control.svg and out/control.pdf.\n\n"
        "example:\n  canvasrule control --job my-bench --map my-bench-errors.png"
    )


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
    rows = _rows_set_out(options.job, layout, job.units)
    check = kept_check(options.job, job)
    errors = with_plotter(error_model_of(job), job.plotter, check, turned=plan.zone.turned)
    tape, limits = tape_of(job.tape), allowed_of(job)
    fence = job.fence
    task = Task(layout, plan, tape, job.units, limits, rows, job.pace, errors, fence)
    done, found = _chosen(options, task)
    if done.forecast.holds:
        found = ()
    elif not found:
        _progress("the forecast does not hold; trying remedies")
        found = remedies(task, done.way)
    # Marks in rows are read without a fence, whether there is one or not.
    at = fence if done.fences else None
    said = hours_said(job.model_copy(update={"fence": at}), layout, plan, done.setting_out)
    clamped = _fence_lines(job, task, done)
    says = (
        done.setting_out.said,
        said,
        *([_where_to_clamp(done)] if clamped else []),
        *(line.strip() for line in forecast_lines(done, job.units)),
    )
    files = []
    if not options.only_look:
        files = _keep(options, job, layout, plan, done.control, says, done.fences)
    if options.map is not None:
        _write_map(options.map, job, task, done)
        files.append(options.map)
    if options.json:
        print_json(tape_marks_record(done, found, files, job.units))
    else:
        print_lines([*tape_marks_lines(done, found, job.units), said, *off_the_wall(job.table)])
        if clamped:
            print_lines(["", *clamped])
        if files:
            say(f"wrote {', '.join(map(str, files))}")
    return 0 if done.forecast.holds else RefusedError.exit_code


def _fence_lines(job: Job, task: Task, done: ChosenMarks) -> list[str]:
    """Where the fence is clamped, row by row; nothing without one."""
    at = {one.mark.id: one.mark.at_table for one in done.control.marks}
    fences = done.fences or {}
    return list(clamping_lines(task.plan.sections, fences, at, job.plotter, job.units))


def _by_hand(options: argparse.Namespace, job: Job, layout: Layout) -> int:
    """The few marks of a hand that ticks and rules; kept as any others, or only shown."""
    from marking.hand.plan import frame, hand_holds
    from marking.hand.words import expected_lines, expected_record, time_said

    for name in ("spacing", "nodes", "tie_below", "join_rows", "read_twice", "map"):
        if getattr(options, name):
            shown = name.replace("_", "-")
            raise BadInputError(f"--{shown} is for marks that a plotter reads; leave it out")
    control, limits = frame(layout, job), allowed_of(job)
    expected = hand_holds(layout, job)
    says = (time_said(control, job), *expected_lines(expected, limits))
    files = []
    if not options.only_look:
        plan = plan_of(options.job, "reach", job, layout, None)
        files = _keep(options, job, layout, plan, control, says)
    if options.json:
        print_json(
            {
                **control_record(control),
                "forecast": expected_record(expected, limits),
                "files": [path.as_posix() for path in files],
            }
        )
    else:
        print_lines((*control_lines(control, job.units), *says, *off_the_wall(job.table)))
        if files:
            say(f"wrote {', '.join(map(str, files))}")
    return RefusedError.exit_code if expected.past(limits) else 0


def _where_to_clamp(done: ChosenMarks) -> str:
    """What the sheet says of a fence: the places themselves would fill it."""
    moved = counted(len(set((done.fences or {}).values())), "clamping")
    return f"{moved} of the fence: canvasrule drive says where, and control --only-look lists them."


def _rows_set_out(folder: Path, layout: Layout, units: Units) -> tuple[TapeRow, ...]:
    """The rows of marks that were chosen for this layout before."""
    if not has_record(folder):
        return ()
    with open_record(folder) as record:
        before = tape_marks_set_out(record, layout, units)
    return before.rows if before is not None else ()


def _chosen(options: argparse.Namespace, task: Task) -> tuple[ChosenMarks, tuple[ChosenMarks, ...]]:
    """What is asked for; of what is left open, the least work whose forecast holds, or the best.

    With what else was tried and may be asked for instead.
    """
    rows_asked_for = options.spacing is not None or options.join_rows is not None
    if rows_asked_for and (options.nodes is not None or options.tie_below):
        raise BadInputError(
            "--nodes and --tie-below are for marks where sections meet, --spacing and --join-rows "
            "for marks in rows: give one or the other"
        )
    if options.tie_below and options.nodes is None:
        raise BadInputError("--tie-below: give --nodes all or --nodes half with it")
    if options.nodes is not None and (options.nodes == "ends") != (task.fence is not None):
        raise BadInputError(
            f"--nodes {options.nodes}: with a [fence] in job.toml marks stand at the ends of its "
            "rows, without one at all or half of the places: give --nodes "
            f"{'all or half' if task.fence is None else 'ends'}"
        )
    repeats = 2 if options.read_twice else 1

    def told(way: MarksChoice) -> None:
        _progress(f"forecast with {way.flags(task.units)}")

    if options.nodes is not None:
        ties: Ties = TIES_BELOW[options.tie_below] if options.tie_below else "beside"
        way = MarksChoice(None, 0, repeats, options.nodes, ties)
    elif not rows_asked_for:
        return least_work(task, repeats, told)
    elif options.spacing is None:
        return widest(task, options.join_rows, repeats, told), ()
    else:
        way = MarksChoice(options.spacing, options.join_rows or 0, repeats)
    told(way)
    return work(task, way), ()


def _keep(
    options: argparse.Namespace,
    job: Job,
    layout: Layout,
    plan: Plan,
    control: Control,
    says: Sequence[str],
    fences: Mapping[str, Clamping] | None = None,
) -> list[Path]:
    """Writes the sheet and keeps the marks, unless those set out before have to stay.

    With what each section's device is to be pushed against, by the section's id.
    """
    with open_record(options.job) as record:
        undone = replaced(record, layout, job.units, control)
        look = "--only-look shows what other marks would hold and changes nothing"
        stay = "The marks that are set out stay, and so does their sheet"
        if undone.inked:
            raise RefusedError(
                f"{_few(undone.inked)}: ink on the cover was placed by these marks, and this would "
                f"set them out otherwise or not at all. {stay}. Closer marks that keep all of "
                f"these are taken; {look}"
            )
        if undone.read and not options.set_out_anew:
            raise RefusedError(
                f"{_few(undone.read)}: these marks were read already, and this would set them out "
                f"otherwise or not at all. {stay}. {look}; --set-out-anew takes the others all "
                "the same"
            )
        files = _write_sheet(options.job, control, layout, job, says)
        correction = kept_correction(options.job, job) if plan.zone.name == "plotter" else None
        begin(record, job, layout, plan, correction)
        keep_tape_marks(record, layout, plan, control, fences)
    if undone.gone:
        say(
            "note: this takes the place of the marks chosen before. If they are on the cover, "
            f"take {len(undone.gone)} of them off: {_few(undone.gone)}"
        )
    return files


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")


def _write_sheet(
    folder: Path, control: Control, layout: Layout, job: Job, says: Sequence[str]
) -> list[Path]:
    # What draws is imported where something is drawn: it takes a while, and --only-look needs none.
    from marking.drawing.pdf import pdf
    from marking.drawing.svg import svg
    from marking.output.tape_sheet import tape_sheet_pages

    paper = paper_of(job)
    notes = tuple(off_the_wall(job.table))
    pages = tape_sheet_pages(control, layout, job.title, job.units, paper, says, notes)
    files = {"control.svg": svg(pages[0]), "control.pdf": pdf(pages)}
    for name, data in files.items():
        replace_file(folder / OUTPUT / name, data)
    return [folder / OUTPUT / name for name in files]


def _write_map(path: Path, job: Job, task: Task, done: ChosenMarks) -> None:
    from marking.drawing.picture_file import picture_file
    from marking.output.error_map import error_map

    marks = [mark.mark for mark in done.control.marks]
    drawn = error_map(task.layout, job, task.plan, done.forecast, marks)
    replace_file(path, picture_file(drawn, path.name))


def _progress(message: str) -> None:
    if sys.stderr.isatty():
        say(f"{message} …")
