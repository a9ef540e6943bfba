"""`canvasrule control`: the tape marks to set out by tape, and what they will hold."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from devices.begun import begin, guard_sections, layout_of, plan_of
from devices.commands.shared import (
    add_ink_option,
    add_job_option,
    check_picture_name,
    length_option,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.history import has_record, kept_correction
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.tape_marks.choice import Task, Work
    from marking.tape_marks.marks import TapeRow, TapeRun

_FEW_REMEDIES = 4


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_ink_option(verb)
    verb.add_argument(
        "--spacing",
        metavar="LENGTH",
        type=length_option,
        help="from one mark to the next; by default the widest whose forecast holds",
    )
    verb.add_argument(
        "--join-rows",
        metavar="N",
        type=int,
        default=0,
        help="set marks along every N-th join between rows of sections too: 1 for each, 2 for "
        "one in two (default: none)",
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
    from marking.job.keys import tape_of
    from marking.network.allowed import Limits
    from marking.tape_marks.choice import Task, remedies

    if options.map is not None:
        check_picture_name("--map", options.map)
    job = read_job(options.job)
    layout = layout_of(options.job, job, despite_ink=options.despite_ink)
    plan = plan_of(options.job, "plotter", job, layout, kept_correction(options.job, job))
    if not options.only_look:
        guard_sections(
            options.job,
            job,
            layout,
            despite_ink=options.despite_ink,
            otherwise="chooses marks for the new cut",
        )
    rows = _rows_set_out(options.job, layout, job.units)
    task = Task(layout, plan, tape_of(job.tape), job.units, Limits(job.tolerance), rows)
    done = _chosen(options, task)
    found: tuple[Work, ...] = ()
    if not done.forecast.holds:
        _progress("the forecast does not hold; trying remedies")
        found = remedies(task, done.way)
    files = [] if options.only_look else _keep(options, job, task, done)
    if options.map is not None:
        _write_map(options.map, job, task, done)
        files.append(options.map)
    if options.json:
        print_json(_record(done, found, files, job.units))
    else:
        print_lines(_lines(done, found, job))
        if files:
            say(f"wrote {', '.join(map(str, files))}")
    return 0 if done.forecast.holds else RefusedError.exit_code


def _rows_set_out(folder: Path, layout: Layout, units: Units) -> tuple[TapeRow, ...]:
    """The rows of marks that were chosen for this layout before."""
    from marking.begun.on_the_cover import tape_marks_set_out
    from marking.record.record import open_record

    if not has_record(folder):
        return ()
    with open_record(folder) as record:
        before = tape_marks_set_out(record, layout, units)
    return before.rows if before is not None else ()


def _chosen(options: argparse.Namespace, task: Task) -> Work:
    """The widest spacing whose forecast holds, or the best; only `--spacing` when it is given."""
    from marking.tape_marks.choice import Way, widest, work

    repeats = 2 if options.read_twice else 1

    def told(way: Way) -> None:
        _progress(f"forecast with {way.flags(task.units)}")

    if options.spacing is None:
        return widest(task, options.join_rows, repeats, told)
    way = Way(options.spacing, options.join_rows, repeats)
    told(way)
    return work(task, way)


def _keep(options: argparse.Namespace, job: Job, task: Task, done: Work) -> list[Path]:
    """Writes the sheet and keeps the marks, unless those set out before have to stay."""
    from marking.begun.on_the_cover import keep_tape_marks, replaced
    from marking.record.record import open_record

    with open_record(options.job) as record:
        undone = replaced(record, task.layout, job.units, done.control)
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
        files = _write_sheet(options.job, done, task.layout, job)
        begin(record, job, task.layout, task.plan, kept_correction(options.job, job))
        keep_tape_marks(record, task.layout, task.plan, done.control)
    if undone.gone:
        say(
            "note: this takes the place of the marks chosen before. If they are on the cover, "
            f"take {len(undone.gone)} of them off: {_few(undone.gone)}"
        )
    return files


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")


def _write_sheet(folder: Path, done: Work, layout: Layout, job: Job) -> list[Path]:
    from devices.commands.write import OUTPUT
    from marking.drawing.page import page_svg, pages_pdf, paper_for
    from marking.output.files import replace_file
    from marking.output.tape_sheet import tape_sheet_pages

    says = (done.setting_out.said, *(line.strip() for line in forecast_lines(done, job.units)))
    paper = paper_for(job.units)
    pages = tape_sheet_pages(done.control, layout, job.title, job.units, paper, says)
    files = {"control.svg": page_svg(pages[0]), "control.pdf": pages_pdf(pages)}
    for name, data in files.items():
        replace_file(folder / OUTPUT / name, data)
    return [folder / OUTPUT / name for name in files]


def _write_map(path: Path, job: Job, task: Task, done: Work) -> None:
    from marking.output.error_map import error_map_svg
    from marking.output.files import replace_file
    from marking.output.table_picture import png

    marks = [mark.mark for mark in done.control.marks]
    svg = error_map_svg(task.layout, job, task.plan, done.forecast, marks)
    replace_file(path, png(svg) if path.suffix.lower() == ".png" else svg)


def _progress(message: str) -> None:
    if sys.stderr.isatty():
        say(f"{message} …")


def _lines(done: Work, found: tuple[Work, ...], job: Job) -> Iterator[str]:
    from marking.measures.counts import counted
    from marking.measures.lengths import format_length
    from marking.measures.tape import as_taped
    from marking.output.tape_sheet import allowed_apart, reading_rows

    control, units = done.control, job.units

    def shown(run: TapeRun) -> str:
        return as_taped(run.reading, control.tape, units)

    square, diagonals = control.square, control.diagonals
    along, up, slope = square.ratio
    yield (
        f"{len(control.marks)} tape marks, at most {format_length(control.spacing, units)} "
        "apart, along both long edges and both end lines"
        + (f", and in {counted(len(control.rows), 'row')} between" if control.rows else "")
    )
    yield ""
    yield f"Base line: {shown(control.offset_near)} from the near edge, at both ends"
    yield f"Zero line: {shown(control.offset_zero)} from the zero end, along the near edge"
    yield f"Base line to far line: {shown(control.height)}"
    yield (
        f"Square {along}-{up}-{slope}: {shown(square.along)} along the base line, "
        f"{shown(square.up)} up the zero line, {shown(square.slope)} between"
    )
    apart = allowed_apart(diagonals, units)
    yield f"Diagonals: each {shown(diagonals.run)}, within {apart} of each other"
    for row in control.rows:
        yield f"Row {row.letter}: {shown(row.up)} up from the base line, at both ends"
    yield ""
    yield "tape reads, each from its line's own zero:"
    for reading in reading_rows(control, units):
        yield f"  {reading.reading:>20}  {reading.line:<7} {', '.join(reading.marks)}"
    yield ""
    yield done.setting_out.said
    yield from forecast_lines(done, units)
    if found:
        yield "What would help, each as canvasrule control with these options forecasts it:"
        for work in found[:_FEW_REMEDIES]:
            holds = "holds" if work.forecast.holds else "does not hold"
            yield (
                f"  {work.way.flags(units)}: line {work.forecast.worst_line:.2f} mm, step "
                f"{work.forecast.worst_step:.2f} mm, {len(work.control.marks)} marks, about "
                f"{work.minutes / 60:.1f} h of setting out and reading: {holds}"
            )


def forecast_lines(done: Work, units: Units) -> Iterator[str]:
    """The forecast in words, the verdict last: 95 of 100 covers have less."""
    from marking.measures.lengths import format_length

    found = done.forecast
    limits = found.limits
    times = "once" if done.way.repeats == 1 else "twice"
    yield f"If every mark that a section sees is read {times}, 95 of 100 covers have"
    yield (
        f"  no line further than {found.worst_line:.2f} mm from true, what the tape and the square "
        f"shift all marks by included ({limits.tolerance:.2f} mm, "
        f"{format_length(limits.tolerance, units, remainder=True)}, is allowed),"
    )
    yield (
        f"  and no step at a join over {found.worst_step:.2f} mm ({limits.step:.2f} mm is allowed)."
    )
    yield "  HOLDS" if found.holds else "  DOES NOT HOLD"


def _record(done: Work, found: tuple[Work, ...], files: list[Path], units: Units) -> dict[str, Any]:
    control = done.control

    def run_record(run: TapeRun) -> dict[str, float]:
        return {"length": run.length, "reading": run.reading}

    square = control.square
    return {
        "schema": 1,
        "spacing": control.spacing,
        "marks": [
            {
                "id": mark.mark.id,
                "line": mark.line,
                "place": mark.place,
                "at": list(mark.mark.at_table),
                **run_record(mark.run),
                "sd": mark.sd,
            }
            for mark in control.marks
        ],
        "offset_near": run_record(control.offset_near),
        "offset_zero": run_record(control.offset_zero),
        "height": run_record(control.height),
        "rows": [{"letter": row.letter, **run_record(row.up)} for row in control.rows],
        "square": {
            "ratio": list(square.ratio),
            "along": run_record(square.along),
            "up": run_record(square.up),
            "slope": run_record(square.slope),
        },
        "diagonals": {**run_record(control.diagonals.run), "allowed": control.diagonals.allowed},
        "forecast": _forecast_record(done, units),
        "remedies": [_forecast_record(work, units) for work in found],
        "files": [path.as_posix() for path in files],
    }


def _forecast_record(work: Work, units: Units) -> dict[str, Any]:
    found = work.forecast
    return {
        "what": work.way.flags(units),
        "marks": len(work.control.marks),
        "readings": found.readings,
        "minutes": work.minutes,
        "worst_line": found.worst_line,
        "worst_step": found.worst_step,
        "tolerance": found.limits.tolerance,
        "step": found.limits.step,
        "holds": found.holds,
        "sections": [
            {"id": each.section, "at": list(each.at_table), "error": each.error}
            for each in found.sections
        ],
        "seams": [
            {"sections": list(each.sections), "at": list(each.at_table), "step": each.step}
            for each in found.joins
        ],
    }
