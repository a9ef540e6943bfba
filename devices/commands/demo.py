"""`canvasrule demo`: the Millrace bench laid out, cut and written, with no hardware."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import layout_of, plan_of
from devices.commands.shared import OUTPUT, add_json_option, print_json, print_lines, read_job, say
from devices.history import kept_correction
from devices.output.files import KINDS, write_files
from marking.job.folder import JOB_FILE
from marking.output.files import write_new
from marking.shipped_files import stock

if TYPE_CHECKING:
    import argparse


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    verb.add_argument(
        "folder",
        metavar="DIR",
        type=Path,
        nargs="?",
        default=Path("millrace"),
        help="where to put it (default: millrace)",
    )
    add_json_option(verb)
    verb.epilog = "example:\n  canvasrule demo"


def run(options: argparse.Namespace) -> int:
    """Makes the Millrace job (or takes the one there) and writes everything it can."""
    path = options.folder / JOB_FILE
    if not path.exists():
        write_new(path, stock().joinpath("demo", "millrace", JOB_FILE).read_bytes())
    job = read_job(options.folder)
    layout = layout_of(options.folder, job)
    correction = kept_correction(options.folder, job)
    plan = plan_of(options.folder, "plotter", job, layout, correction)
    folder = options.folder / OUTPUT
    written = write_files(
        *(job, layout, plan, folder, KINDS, correction), job_folder=options.folder
    )
    for note in written.notes:
        say(f"note: {note}")
    record = written.record
    if options.json:
        print_json(record)
        return 0
    sections = len({file["section"] for file in record["files"]} - {None})
    print_lines(
        [
            f"{job.title}: {len(record['files'])} files in {folder}",
            "",
            f"  {folder / 'picture.png'}   look at this first: the table, its sections and joins",
            f"  {folder / 'report.md'}     then read this: fit, warnings, where to set down",
            f"  {folder / 'marking.svg'}   the whole marking, true to size",
            f"  {folder / 'sections'}      {sections} sections as SVG and HP-GL",
            "",
            f"The job itself is {path}: change it and run",
            f'  canvasrule write --job "{options.folder}"',
            "To see a section plotted on simulated cloth, run",
            f'  canvasrule drive --job "{options.folder}" --simulate --unattended --most 1',
        ]
    )
    say("The Millrace workroom is invented; measure your own table before you ink it.")
    return 0
