"""`canvasrule days`: work spread over days, and the morning's check before it goes on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import layout_of, plan_of
from devices.commands.shared import (
    add_job_option,
    print_json,
    print_lines,
    read_job,
)
from devices.history import has_record, kept_correction
from marking.begun.inked import done_sections
from marking.begun.on_the_cover import readings_asked_for, tape_marks_set_out
from marking.days.morning import CHECKS, judged, keep_morning, last_morning, meant
from marking.days.spread import HOURS, section_seconds, spread
from marking.days.words import MOUNTED, day_lines, day_record, morning_lines
from marking.errors import BadInputError, RefusedError, shortened
from marking.measures.lengths import parse_length
from marking.record.record import open_record

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.tape_marks.marks import TapeMarks

_LONGEST = 24.0


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--hours",
        default=f"{HOURS:g}",
        metavar="N",
        help="hours at the table in a day (default: %(default)s)",
    )
    verb.add_argument(
        "--morning",
        nargs=3,
        metavar=("BASE", "UP", "DOWN"),
        help="keep what the tape shows along the base line and both diagonals, up from the zero "
        "line at the base line, down from it at the far line; drive waits for it after a night",
    )
    verb.epilog = (
        "Rows are inked whole where a day has room for one, from the near edge: what is whole\n"
        "can be worked with. Times are those of [pace].\n\n"
        "examples:\n  canvasrule days --job my-bench --hours 5\n"
        '  canvasrule days --job my-bench --morning "148 in" "160 1/32 in" "160 in"'
    )


def run(options: argparse.Namespace) -> int:
    """Shows the days that are left, or keeps a morning's check and what it says."""
    hours = _hours(options.hours)
    job = read_job(options.job)
    layout = layout_of(options.job, job)
    if options.morning is not None:
        return _morning(options, job, layout)
    return _show(options, job, layout, hours)


def _hours(given: str) -> float:
    """Raises BadInputError for what no day has."""
    try:
        hours = float(given)
    except ValueError:
        hours = 0.0
    if not 0 < hours <= _LONGEST:
        raise BadInputError(
            f"--hours {shortened(repr(given))}: give the hours of a day as a figure, up to 24"
        )
    return hours


def _tape_marks(options: argparse.Namespace, job: Job, layout: Layout) -> TapeMarks | None:
    if not has_record(options.job):
        return None
    with open_record(options.job) as record:
        return tape_marks_set_out(record, layout, job.units)


def _shown(given: Sequence[str]) -> dict[str, float]:
    """What the tape showed at each of `CHECKS`, mm. Raises BadInputError for each that is none."""
    shown, faults = {}, []
    for name, text in zip(CHECKS, given, strict=True):
        try:
            shown[name] = parse_length(text)
        except ValueError as fault:
            faults.append(f"--morning {name.upper()} {shortened(repr(text))}: {fault}")
    if faults:
        raise BadInputError(*faults)
    return shown


def _morning(options: argparse.Namespace, job: Job, layout: Layout) -> int:
    shown = _shown(options.morning)
    tape_marks = _tape_marks(options, job, layout)
    if tape_marks is None:
        raise RefusedError(
            f"{options.job}: no tape marks are set out, so there is no base line and no diagonal "
            "to check; run canvasrule control first"
        )
    with open_record(options.job) as record:
        before = last_morning(record, layout)
        good = before[1] if before is not None and not before[1].wrong else None
        morning = judged(shown, layout, tape_marks, good, job.units)
        keep_morning(record, layout, morning)
    if options.json:
        print_json({"schema": 1, "wrong": list(morning.wrong)})
    elif morning.wrong:
        print_lines(
            [
                "DO NOT INK: the cover does not lie as it did.",
                *(f"  {wrong}" for wrong in morning.wrong),
                "Read them again. If it stands, pull the canvas back to its marks, or read the "
                "marks of the next section anew and see whether they still agree.",
            ]
        )
    else:
        print_lines(["The base line and both diagonals read as they did: go on."])
    return RefusedError.exit_code if morning.wrong else 0


def _show(options: argparse.Namespace, job: Job, layout: Layout, hours: float) -> int:
    correction = kept_correction(options.job, job)
    plan = plan_of(options.job, "plotter", job, layout, correction)
    done: frozenset[str] = frozenset()
    asked: dict[str, int] = {}
    if has_record(options.job):
        with open_record(options.job) as record:
            done = done_sections(record, layout, plan)
            named = readings_asked_for(record, layout, plan, job.units)
            asked = {name: len(marks) for name, marks in named.items()}
    seconds = {s.id: section_seconds(s, plan, job.pace, asked.get(s.id)) for s in plan.sections}
    days = spread(plan, done, seconds, hours * 3600)
    tape_marks = _tape_marks(options, job, layout)
    if options.json:
        print_json({"schema": 1, "days": list(map(day_record, days))})
        return 0
    mounted = plan.zone.feed is None and layout.slack == (1.0, 1.0) and not done
    lines = [*(MOUNTED if mounted else ()), *day_lines(days, plan, layout, seconds, job.units)]
    if tape_marks is not None and days:
        lines += morning_lines(meant(layout, tape_marks), tape_marks.tape, job.units)
    print_lines(lines)
    return 0
