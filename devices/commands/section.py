"""`canvasrule section`: what each setup inks, in which order, and where it is set down."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import layout_of, plan_of, warned_of
from devices.commands.shared import (
    add_ink_option,
    add_job_option,
    add_zone_option,
    print_json,
    print_lines,
    read_job,
    say,
    zone_asked_for,
)
from devices.history import in_force, kept_correction
from marking.output.layout_json import plan_record
from marking.output.report import ink_lines, mark_table, section_table

if TYPE_CHECKING:
    import argparse


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_zone_option(verb)
    add_ink_option(verb)
    verb.epilog = (
        "Sections meet at joins, midway between lines where that needs no more sections; else\n"
        "anywhere that keeps 1 1/4 mm from each line's own ink (two fifths of the cloth between\n"
        "lines that stand closer) and 0.1 mm from a numeral. A bed is turned a quarter where\n"
        "that needs fewer sections. Minutes are the plotter's; for reach and beam none are\n"
        "known, and seconds is null in --json.\n\n"
        "example:\n  canvasrule section --job my-bench --for reach"
    )


def run(options: argparse.Namespace) -> int:
    """Cuts the job's layout and prints the sections, or JSON."""
    job = read_job(options.job)
    options.zone = zone_asked_for(options, job)
    layout = layout_of(options.job, job, despite_ink=options.despite_ink)
    correction = kept_correction(options.job, job)
    plan = plan_of(options.job, options.zone, job, layout, correction)
    kept = in_force(options.job, job, layout, plan)
    plan = warned_of(plan, job)
    if options.json:
        record = plan_record(plan)
        for section in record["sections"]:
            section["control"] = list(kept.tape_marks.get(section["id"], ()))
            section["read"] = list(kept.read.get(section["id"], ()))
        print_json({**record, "correction": kept.correction})
        return 0
    for warning in (*layout.warnings, *plan.warnings):
        say(f"note: {warning}")
    print_lines(section_table(plan, job, layout, kept))
    print_lines(mark_table(plan, job.units))
    print_lines(ink_lines(plan, job.pens, kept))
    return 0
