"""`canvasrule write`: the files that a plotter, an editor and a person open."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from devices.commands.shared import (
    OUTPUT,
    add_ink_option,
    add_job_option,
    add_zone_option,
    print_json,
    print_lines,
    read_job,
    say,
    zone_asked_for,
)
from devices.output.files import FilesWanted, write_wanted

if TYPE_CHECKING:
    import argparse

_KINDS = {
    "svg": "the whole marking and every section, true to size",
    "hpgl": "every section in the language of the job's plotter, HP-GL or G-code",
    "picture": "the whole table with sections and marks, SVG and PNG",
    "report": "fit, sections, ink and time, Markdown and JSON; the sheet for lines to rule",
    "overlay": "the light of every section that is trued up, SVG and PNG, pixel for pixel; needs "
    "--for beam",
}


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_zone_option(verb)
    add_ink_option(verb)
    for kind, summary in _KINDS.items():
        verb.add_argument(f"--{kind}", action="store_true", help=summary)
    verb.add_argument(
        "--verniers",
        action="store_true",
        help="half a vernier over each join, a file for each section, to be plotted with the "
        "removable pen before the device is moved: their readings prove the joins",
    )
    verb.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help='where to write (default: "out" in the job\'s folder)',
    )
    verb.epilog = (
        "Without a kind, all of them but the light are written.\n\n"
        "example:\n  canvasrule write --job my-bench --svg --hpgl"
    )


def run(options: argparse.Namespace) -> int:
    """Writes the kinds asked for and lists what was written."""
    job = read_job(options.job)
    kinds = [kind for kind in _KINDS if getattr(options, kind)]
    wanted = FilesWanted(
        zone_asked_for(options, job),
        kinds,
        options.out or options.job / OUTPUT,
        verniers=options.verniers,
        despite_ink=options.despite_ink,
    )
    written = write_wanted(wanted, options.job, job)
    for note in written.notes:
        say(f"note: {note}")
    if options.json:
        print_json(written.record)
    else:
        print_lines(written.lines)
    return 0
