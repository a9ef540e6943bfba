"""`canvasrule ways`: what each way of marking this cover costs in hours and holds in error."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from devices.begun import layout_of, plan_of
from devices.commands.shared import (
    add_job_option,
    check_picture_name,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.history import has_record, kept_correction, own_pace
from devices.job import Job
from devices.ways.reckoned import reckoning
from marking.errors import BadInputError, RefusedError
from marking.job.folder import load_job
from marking.layout.edges import off_the_wall
from marking.output.files import replace_file
from marking.output.ways_words import way_lines, ways_lines, ways_record
from marking.ways.own_pace import at_own_pace

if TYPE_CHECKING:
    import argparse
    from typing import Literal

    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.ways.own_pace import Timed
    from marking.ways.reckoning import Reckoning


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--all",
        dest="every",
        action="store_true",
        help="try every stock machine too, and a usual fence where the job names none",
    )
    verb.add_argument("--way", metavar="ID", help="where the hours of this one way go")
    verb.add_argument(
        "--picture", metavar="FILE", type=Path, help="draw the hours into FILE, .svg or .png"
    )
    verb.epilog = "example:\n  canvasrule ways --job my-bench --all --picture my-bench-ways.png"


def run(options: argparse.Namespace) -> int:
    """Reckons every way and prints the table, or JSON; done whether any holds or not."""
    if options.picture is not None:
        check_picture_name("--picture", options.picture)
    # What is told is every way, so that the one chosen is not followed here; but it must be one.
    chosen = read_job(options.job)
    job = load_job(options.job, Job)
    layout = layout_of(options.job, job)
    timed = _timed(options.job, chosen, layout)
    job = job.model_copy(update={"pace": at_own_pace(job.pace, timed)})

    def own_plan(kind: Literal["plotter", "projector"], asked: Job) -> Plan:
        correction = kept_correction(options.job, asked) if kind == "plotter" else None
        zone: Literal["plotter", "beam"] = "plotter" if kind == "plotter" else "beam"
        return plan_of(options.job, zone, asked, layout, correction)

    found = reckoning(options.job, job, layout, own_plan, every=options.every)
    found = replace(found, timed=timed)
    if options.picture is not None:
        _write_picture(options.picture, found, job)
    if options.json:
        print_json(ways_record(found.ways, found.best, found.timed))
        return 0
    if options.way is None:
        print_lines(ways_lines(found, job.title, tried_all=options.every))
        print_lines(f"- {note}" for note in off_the_wall(job.table))
        return 0
    shown = next((one for one in found.ways if one.way.id == options.way), None)
    if shown is None:
        ids = ", ".join(sorted(one.way.id for one in found.ways))
        raise BadInputError(f"--way {options.way}: no way of marking this cover; one of {ids}")
    print_lines(way_lines(shown, found))
    return 0


def _timed(folder: Path, job: Job, layout: Layout) -> tuple[Timed, ...]:
    """What the job's record knows of its pace, by the plotter that it goes by."""
    if not has_record(folder):
        return ()

    try:
        plan = plan_of(folder, "plotter", job, layout, kept_correction(folder, job))
    except RefusedError:
        return ()
    return own_pace(folder, job, layout, plan)


def _write_picture(path: Path, found: Reckoning, job: Job) -> None:
    # What draws takes longer to import than all else here.
    from marking.drawing.picture_file import picture_file
    from marking.output.ways_picture import ways_picture

    replace_file(path, picture_file(ways_picture(found.ways, job.title, found.chosen), path.name))
    say(f"drew {path}")
