"""What several verbs share: the job option, loading, and how results are printed."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterable

    from devices.bed import Bed
    from devices.correction import Correction
    from devices.job import Job
    from devices.plotter import Plotter
    from marking.layout import Layout
    from marking.sections import Plan

ZONES = ("plotter", "reach", "beam")


def add_job_option(verb: argparse.ArgumentParser) -> None:
    """`--job DIR` and `--json`."""
    verb.add_argument(
        "--job", metavar="DIR", type=Path, default=Path(), help="the job's folder (default: here)"
    )
    add_json_option(verb)


def add_json_option(verb: argparse.ArgumentParser) -> None:
    """`--json`."""
    verb.add_argument("--json", action="store_true", help="print the result as JSON")


def add_zone_option(verb: argparse.ArgumentParser) -> None:
    """`--for ZONE`."""
    verb.add_argument(
        "--for",
        dest="zone",
        choices=ZONES,
        default="plotter",
        help="what limits a section: the job's plotter, an arm's reach, or its projector's beam "
        "(default: plotter)",
    )


def length_option(text: str) -> float:
    """A length on the command line, in mm; argparse says what is wrong with it."""
    import argparse

    from marking.lengths import parse_length

    try:
        length = parse_length(text)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(str(fault)) from None
    if length <= 0:
        raise argparse.ArgumentTypeError("a length here must be more than zero")
    return length


def check_pace(pace: float) -> None:
    """Refuses a simulated machine's pace that no clock can run at."""
    import math

    from marking.errors import BadInputError

    if not (pace > 0 and math.isfinite(pace)):
        raise BadInputError(f"--pace {pace:g}: give how many times faster it works, as in 60")


def check_picture_name(option: str, path: Path) -> None:
    """Refuses a picture file of any other kind than SVG and PNG."""
    from marking.errors import BadInputError

    if path.suffix.lower() not in (".svg", ".png"):
        raise BadInputError(f"{option} {path}: pictures are .svg or .png; give the name one")


def read_job(folder: Path) -> Job:
    """The job in `folder`, with its machines."""
    from devices.job import Job
    from marking.jobfile import load_job

    return load_job(folder, Job)


def plan_for(zone: str, layout: Layout, job: Job, correction: Correction | None = None) -> Plan:
    """The sections of `layout` for the zone named; a corrected plotter's may reach less."""
    from marking.sections import cut_into_sections
    from marking.zones import reach_zone

    if zone == "beam":
        from devices.beam.throw import beam_zone

        return cut_into_sections(layout, job, beam_zone(job, job.projector))
    if zone == "reach":
        return cut_into_sections(layout, job, reach_zone(job))
    plotter = job.plotter
    if correction is not None:
        from devices.correction import within_reach

        plotter = within_reach(plotter, correction)
    return cut_into_sections(layout, job, plotter.zone)


def program_for(plotter: Plotter) -> tuple[Callable[..., tuple[bytes, Bed]], str]:
    """The writer of a section's program in the plotter's dialect, and its file's ending."""
    from devices import gcode, hpgl

    return (hpgl.program, "hpgl") if plotter.dialect == "hpgl" else (gcode.program, "gcode")


def print_json(record: Any) -> None:
    """A record on stdout, floats to the last bit."""
    json.dump(record, sys.stdout, allow_nan=False)
    print()


def print_lines(lines: Iterable[str]) -> None:
    """Readable lines on stdout."""
    for line in lines:
        print(line)


def say(message: str) -> None:
    """A message to the person, beside the result."""
    print(message, file=sys.stderr)
