"""`canvasrule rule`: which lines are ruled by hand between stubs, and which come next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import begin, guard_division, layout_of, plan_of
from devices.commands.shared import (
    OUTPUT,
    add_job_option,
    print_json,
    print_lines,
    read_job,
    say,
    zone_asked_for,
)
from devices.history import has_record, kept_correction
from devices.session.claim import claimed
from marking.begun.inked import done_sections, ruled_lines_done
from marking.begun.on_the_cover import plan_hash
from marking.errors import RefusedError
from marking.measures.counts import counted
from marking.output.files import replace_file
from marking.record.record import open_record
from marking.ruling.order import WhoRules
from marking.ruling.ticked import lines_named, ticked_lines, ticked_record

if TYPE_CHECKING:
    import argparse
    from collections.abc import Collection
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

_MORE = """\
Without --done and --undo it shows what is ruled and what comes next.

A stub goes past the band's inner line, 2 in at least, so that a rule can be laid to it.
Bias lines that run from band to band are ruled as cross lines are; long lines across the
whole width are refused. The rows of the two bands do not meet: each begins by tape marks
of its own. The sheet tells how to lay the rule and when to change the tip, with a box to
tick for each line, twelve to a group.

example:
  canvasrule rule --job my-bench --done 0-11"""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--for",
        dest="zone",
        choices=("plotter", "beam"),
        help="what inks the stubs: the job's plotter, or who traces its projector's light "
        "(default: what the way chosen says, else plotter)",
    )
    ticks = verb.add_mutually_exclusive_group()
    ticks.add_argument(
        "--done",
        metavar="LINES",
        help="these are ruled: numbers of cross lines and ids of others, as in 0-11,24,bias-3",
    )
    ticks.add_argument(
        "--undo", metavar="LINES", help="these were ticked by mistake and are not ruled"
    )
    verb.add_argument(
        "--sheet",
        action="store_true",
        help="write out/ruling.svg and out/ruling.pdf for the hand and help given",
    )
    verb.add_argument("--left-handed", action="store_true", help="an order for the left hand")
    verb.add_argument("--by-two", action="store_true", help="a helper rules the far halves")
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Ticks lines off where asked, and tells how far the ruling is."""
    job = read_job(options.job)
    options.zone = zone_asked_for(options, job)
    if options.zone == "reach":
        raise RefusedError(
            f"{options.job}: the way chosen is by hand, so that no machine inks stubs to rule "
            "between; the tape sheets say where each line goes"
        )
    layout = layout_of(options.job, job)
    correction = None if options.zone == "beam" else kept_correction(options.job, job)
    plan = plan_of(options.job, options.zone, job, layout, correction)
    if not plan.ruled:
        why = (
            "the hem bands leave too little between them"
            if job.inking.cross_lines == "ruled"
            else 'inking.cross_lines = "ruled" leaves cross lines to the rule'
        )
        raise RefusedError(
            f"{options.job}: the sections for the {options.zone} ink every line whole, so there "
            f"is none to rule: {why}, and a begun job keeps its sections"
        )
    manner = WhoRules("left" if options.left_handed else "right", options.by_two)
    if options.done is not None or options.undo is not None:
        _tick(options, job, layout, plan, correction)
    if options.sheet:
        # What draws takes longer to import than all else here.
        from devices.output.drawings import ruling_files

        for name, data in ruling_files(job, layout, plan, manner).items():
            replace_file(options.job / OUTPUT / name, data)
            say(f"wrote {options.job / OUTPUT / name}")
    done = _done(options.job, layout, plan)
    if options.json:
        print_json(ticked_record(plan, done, job, manner))
    else:
        print_lines(ticked_lines(plan, done, job, manner))
    return 0


def _tick(
    options: argparse.Namespace,
    job: Job,
    layout: Layout,
    plan: Plan,
    correction: Correction | None,
) -> None:
    undo = options.done is None
    given = options.undo if undo else options.done
    lines = lines_named(given, plan, "--undo" if undo else "--done")
    with claimed(options.job, "rule"), open_record(options.job) as record:
        record.guard_layout(layout)
        guard_division(record, job, layout, plan, correction)
        begin(record, job, layout, plan, correction)
        done = ruled_lines_done(record, layout, plan)
        change = [line.id for line in lines if (line.id in done) == undo]
        if change:
            record.add_ruled(layout, change, "undone" if undo else "ruled", plan_hash(plan))
        inked = done_sections(record, layout, plan)
    same = len(lines) - len(change)
    if same:
        say(f"note: {counted(same, 'line')} of {given} {'not ticked' if undo else 'ticked'} before")
    bare = sorted({name for line in lines for name in line.sections} - inked)
    if bare and not undo:
        say(
            f"note: by the record {', '.join(bare[:4])}{', …' if bare[4:] else ''} "
            f"{'is' if len(bare) == 1 else 'are'} not inked yet; look that there are stubs, or "
            "take the tick back with --undo"
        )


def _done(folder: Path, layout: Layout, plan: Plan) -> Collection[str]:
    if not has_record(folder):
        return ()
    with open_record(folder) as record:
        return ruled_lines_done(record, layout, plan)
