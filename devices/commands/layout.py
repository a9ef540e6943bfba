"""`canvasrule layout`: the marking, how it fits, and a picture of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import layout_of, layout_warned_of
from devices.commands.shared import (
    add_ink_option,
    add_job_option,
    check_picture_name,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.ways.chosen import zone_chosen
from marking.output.layout_json import layout_record
from marking.output.report import markdown

if TYPE_CHECKING:
    import argparse

    from devices.job import Job
    from marking.layout.layout import Layout


_MORE = """\
It tells the numerals' height (the greatest at which neighbours read as two numbers,
clear of every line and edge), how well they read from where you stand, which line
serves which fold of your hems, what the top lacks of square, how large a slip of the
tape its measurements would show, and what to think about before inking. It writes the
picture alone, and costs nothing: change job.toml and look again.

example:
  canvasrule layout --job my-bench --picture my-bench.png"""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_ink_option(verb)
    verb.add_argument(
        "--picture", metavar="FILE", type=Path, help="draw the table into FILE, .svg or .png"
    )
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Lays out the job and prints the fit report, or JSON."""
    if options.picture is not None:
        check_picture_name("--picture", options.picture)
    job = read_job(options.job)
    layout = layout_of(options.job, job, despite_ink=options.despite_ink)
    layout = layout_warned_of(layout, job, zone_chosen(options.job, job))
    if options.picture is not None:
        _write_picture(options.picture, layout, job)
    if options.json:
        print_json(layout_record(layout))
    else:
        print_lines(markdown(layout, job, None).splitlines())
    return 0


def _write_picture(path: Path, layout: Layout, job: Job) -> None:
    # What draws takes longer to import than laying out takes.
    from marking.drawing.picture_file import picture_file
    from marking.output.files import replace_file
    from marking.output.table_picture import table_picture

    replace_file(path, picture_file(table_picture(layout, job), path.name))
    say(f"drew {path}")
