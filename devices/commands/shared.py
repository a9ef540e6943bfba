"""What several verbs share: the job option, loading, and how results are printed."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable

    from devices.job import Job
    from marking.sections.zones import ZoneName

ZONES = ("plotter", "reach", "beam")
OUTPUT = "out"
"""What is written for a job goes here, in its folder, unless a person says otherwise."""
PLACED = "placed"
"""The folder below `out` for sections re-cut to where the device stands."""


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
        help="what limits a section: the job's plotter, an arm's reach, or its projector's beam "
        "(default: what the way chosen says, else plotter)",
    )


def add_ink_option(verb: argparse.ArgumentParser) -> None:
    """`--despite-ink`."""
    verb.add_argument(
        "--despite-ink",
        action="store_true",
        help="take this layout although sections are inked under another: you say that the lines "
        "already on the cover may disagree with it. Nothing can take ink away again",
    )


def length_option(text: str) -> float:
    """A length on the command line, in mm; argparse says what is wrong with it."""
    import argparse

    from marking.measures.lengths import parse_length

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
    """Refuses a picture file of any other kind than SVG and PNG, or in a folder that is not there.

    A misspelt folder would be made without a word, and the picture looked for in vain.
    """
    from marking.errors import BadInputError

    if path.suffix.lower() not in (".svg", ".png"):
        raise BadInputError(f"{option} {path}: pictures are .svg or .png; give the name one")
    if not path.parent.exists():
        raise BadInputError(
            f"{option} {path}: there is no folder {path.parent}; make it first, or mend its name"
        )


def given_file(option: str, path: Path, folder: Path) -> Path:
    """`path` as a person gave it. Raises BadInputError when it lies in the job's folder instead."""
    from marking.errors import BadInputError

    inside = folder / path
    if not path.exists() and inside.exists():
        raise BadInputError(
            f"{option} {path}: no such file in {Path.cwd()}; {inside} is there: give that path"
        )
    return path


def read_job(folder: Path) -> Job:
    """The job in `folder`, with its machines, as the way that [ways] chooses has it."""
    from devices.job import Job
    from marking.job.folder import load_job

    job = load_job(folder, Job)
    if job.ways.way is None:
        return job
    from devices.ways.chosen import followed

    return followed(folder, job)


def check_way(folder: Path, job: Job, verb: str, *kinds: Literal["plotter", "projector"]) -> None:
    """Raises RefusedError where the way that [ways] chooses has nothing for `verb` to do."""
    if job.ways.way is not None:
        from devices.ways.chosen import check_inked_by

        check_inked_by(folder, job, kinds, verb)


def zone_asked_for(options: argparse.Namespace, job: Job) -> ZoneName:
    """The zone of `--for`; where that is not given, that of the way chosen, or the plotter's."""
    given: ZoneName | None = options.zone
    if job.ways.way is None:
        return given or "plotter"
    from devices.ways.chosen import chosen_way

    way = chosen_way(options.job, job)
    assert way is not None
    if given not in (None, way.zone):
        say(f"note: the way chosen is {way.id}, and these are the sections for --for {given}")
    return given or way.zone


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
