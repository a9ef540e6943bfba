"""`canvasrule control`: the control marks to set out by tape, and what they will hold."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from devices.commands.history import add_ink_option, guard, kept_correction
from devices.commands.shared import (
    add_job_option,
    check_picture_name,
    length_option,
    plan_for,
    print_json,
    print_lines,
    read_job,
    say,
)

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from devices.job import Job
    from marking.control import Control, TapeRun
    from marking.layout import Layout
    from marking.lengths import Units
    from marking.remedies import Task, Work
    from marking.sections import Plan

_SPACINGS = {"in": (609.6, 304.8, 152.4, 76.2), "mm": (600.0, 300.0, 150.0, 75.0)}
"""What is tried, wide to close: 24, 12, 6 and 3 in, or about as much in whole millimetres."""
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
        "--seam-rows",
        metavar="N",
        type=int,
        default=0,
        help="set marks along every N-th seam between rows of sections too: 1 for each, 2 for "
        "one in two (default: none)",
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
    from marking.layout import lay_out
    from marking.record import open_record
    from marking.remedies import remedies
    from marking.standing import keep_control

    if options.map is not None:
        check_picture_name("--map", options.map)
    job = read_job(options.job)
    layout = lay_out(job)
    guard(options.job, layout, despite_ink=options.despite_ink)
    plan = plan_for("plotter", layout, job, kept_correction(options.job, job))
    heights = _heights(plan, options.seam_rows)
    control, task, done = _chosen(job, layout, plan, options.spacing, heights)
    found: tuple[Work, ...] = ()
    if not done.forecast.holds:
        _progress("the forecast does not hold; trying remedies")
        # Another order would need ticks that the sections of this plan do not lay.
        fitting = [work for work in remedies(task, done.marks) if work.order == done.order]
        found = tuple(sorted(fitting, key=lambda w: (not w.forecast.holds, w.minutes, w.visible)))
    files = _write_sheet(options.job, control, layout, job)
    if options.map is not None:
        _write_map(options.map, layout, job, plan, done)
        files.append(options.map)
    with open_record(options.job) as record:
        keep_control(record, layout, plan, control)
    if options.json:
        print_json(_record(control, done, found, files))
    else:
        print_lines(_lines(control, done, found, job))
        say(f"wrote {', '.join(map(str, files))}")
    return 0


def _heights(plan: Plan, every: int) -> list[float]:
    """Where rows of marks stand between the long edges, in mm from the near edge."""
    from marking.errors import BadInputError
    from marking.settingout import row_seams

    if not 0 <= every <= plan.rows:
        raise BadInputError(f"--seam-rows {every}: give 1 for each seam, 2 for one in two, or 0")
    return row_seams(plan)[::every] if every else []


def _chosen(
    job: Job, layout: Layout, plan: Plan, spacing: float | None, heights: list[float]
) -> tuple[Control, Task, Work]:
    """The widest spacing whose forecast holds, or the best; only `spacing` when it is given."""
    from marking.errors import RefusedError

    tried = []
    spacings = _SPACINGS[job.units] if spacing is None else (spacing,)
    for count, one in enumerate(spacings):
        _progress(f"forecast with marks every {one:.1f} mm")
        try:
            tried.append(_forecast(job, layout, plan, one, heights))
        except RefusedError:
            # Too far apart for the first section to see two; closer marks may do.
            if count + 1 == len(spacings) and not tried:
                raise
            continue
        if tried[-1][2].forecast.holds:
            return tried[-1]
    return min(tried, key=lambda each: each[2].visible)


def _forecast(
    job: Job, layout: Layout, plan: Plan, spacing: float, heights: list[float]
) -> tuple[Control, Task, Work]:
    import numpy as np

    from marking.control import control_datum, set_out
    from marking.limits import Limits
    from marking.readings import READING_SD
    from marking.remedies import Task, work
    from marking.tape import tape_of

    control = set_out(layout, spacing, tape_of(job.tape), job.units, heights=heights)
    tape_sd = float(np.sqrt(np.mean([mark.sd**2 for mark in control.marks])))
    limits, datum = Limits(job.tolerance), control_datum(control)
    task = Task(plan, layout.grid, limits, READING_SD, tape_sd, job.units, datum)
    marks = [mark.mark for mark in control.marks]
    return control, task, work(task, "as set out", marks)


def _write_sheet(folder: Path, control: Control, layout: Layout, job: Job) -> list[Path]:
    from devices.commands.write import OUTPUT
    from marking.controlsheet import control_pages
    from marking.files import replace_file
    from marking.page import page_svg, pages_pdf, paper_for

    pages = control_pages(control, layout, job.title, job.units, paper_for(job.units))
    files = {"control.svg": page_svg(pages[0]), "control.pdf": pages_pdf(pages)}
    for name, data in files.items():
        replace_file(folder / OUTPUT / name, data)
    return [folder / OUTPUT / name for name in files]


def _write_map(path: Path, layout: Layout, job: Job, plan: Plan, done: Work) -> None:
    from marking.errormap import error_map_svg
    from marking.files import replace_file
    from marking.picture import png

    svg = error_map_svg(layout, job, plan, done.forecast, done.marks)
    replace_file(path, png(svg) if path.suffix.lower() == ".png" else svg)


def _progress(message: str) -> None:
    if sys.stderr.isatty():
        say(f"{message} …")


def _lines(control: Control, done: Work, found: tuple[Work, ...], job: Job) -> Iterator[str]:
    from marking.controlsheet import reading_rows
    from marking.counts import counted
    from marking.lengths import format_length

    units = job.units

    def shown(run: TapeRun) -> str:
        return format_length(run.reading, units, remainder=True)

    square, diagonals = control.square, control.diagonals
    along, up, slope = square.ratio
    yield (
        f"{len(control.marks)} control marks, at most {format_length(control.spacing, units)} "
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
    yield (
        f"Diagonals: each {shown(diagonals.run)}, within {diagonals.allowed:.1f} mm of each other"
    )
    for row in control.rows:
        yield f"Row {row.letter}: {shown(row.up)} up from the base line, at both ends"
    yield ""
    yield "tape reads, each from its line's own zero:"
    for reading in reading_rows(control, units):
        yield f"  {reading.reading:>20}  {reading.line:<7} {', '.join(reading.marks)}"
    yield ""
    yield from forecast_lines(done, units)
    if found:
        yield "What would help, as forecast:"
        for work in found[:_FEW_REMEDIES]:
            holds = "holds" if work.forecast.holds else "does not hold"
            yield (
                f"  {work.what}: line {work.forecast.worst_line:.2f} mm, step "
                f"{work.forecast.worst_step:.2f} mm, {len(work.marks)} marks, about "
                f"{work.minutes / 60:.1f} h of setting out and reading: {holds}"
            )
        yield "Marks along seams are set out with --seam-rows 2 for one in two, or 1 for each."


def forecast_lines(done: Work, units: Units) -> Iterator[str]:
    """The forecast in words: 95 of 100 covers have less."""
    from marking.lengths import format_length

    found = done.forecast
    limits = found.limits
    yield "Forecast, 95 of 100 covers, if every mark that a section sees is read once:"
    yield (
        f"  worst line {found.worst_line:.2f} mm from true; {limits.tolerance:.2f} mm "
        f"({format_length(limits.tolerance, units)}) is wanted"
    )
    yield "  (with what the tape and the square shift all marks by together)"
    yield f"  worst step at a seam {found.worst_step:.2f} mm; {limits.step:.2f} mm is wanted"
    yield f"  {'holds' if found.holds else 'DOES NOT HOLD'}"


def _record(
    control: Control, done: Work, found: tuple[Work, ...], files: list[Path]
) -> dict[str, Any]:
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
        "forecast": _forecast_record(done),
        "remedies": [_forecast_record(work) for work in found],
        "files": [path.as_posix() for path in files],
    }


def _forecast_record(work: Work) -> dict[str, Any]:
    found = work.forecast
    return {
        "what": work.what,
        "marks": len(work.marks),
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
            for each in found.seams
        ],
    }
