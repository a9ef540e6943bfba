"""`canvasrule rule`: which lines are ruled by hand between stubs, and which come next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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
from marking.errors import BadInputError, RefusedError
from marking.job.line_numbers import lines_counted
from marking.measures.counts import counted
from marking.output.files import replace_file
from marking.record.record import open_record
from marking.ruling.order import GROUP, WhoRules, ruling_order
from marking.ruling.words import line_name, time_told

if TYPE_CHECKING:
    import argparse
    from collections.abc import Collection, Iterator, Sequence
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.sections.ruled import RuledLine

_MOST_AT_ONCE = 100_000
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
    _tell(options, job, layout, plan, manner)
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
    lines = _named(given, plan, "--undo" if undo else "--done")
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


def _named(given: str, plan: Plan, option: str) -> Sequence[RuledLine]:
    """The lines of `0-11,24,bias-3`. Raises BadInputError for one that is not there."""
    known = {line_name(line): line for line in plan.ruled}
    found: dict[str, RuledLine] = {}
    for word in filter(None, (part.strip() for part in given.split(","))):
        for name in [word] if word in known else _counted_up(word):
            if name not in known:
                raise BadInputError(
                    f"{option} {given}: no line {name} is to be ruled; {_there_are(plan.ruled)}"
                )
            found[name] = known[name]
    if not found:
        raise BadInputError(f"{option} {given!r}: names no line; {_there_are(plan.ruled)}")
    return list(found.values())


def _counted_up(word: str) -> Iterator[str]:
    first, dash, last = word.partition("-")
    ascii_digits = first.isascii() and first.isdigit() and last.isascii() and last.isdigit()
    if dash and ascii_digits and int(first) <= int(last) < _MOST_AT_ONCE:
        return map(str, range(int(first), int(last) + 1))
    return iter([word])


def _there_are(lines: Sequence[RuledLine]) -> str:
    return f"there are {_listed([line_name(line) for line in lines])}"


def _listed(names: Sequence[str]) -> str:
    """Names in their order, numbers that follow each other as `0-11`."""
    runs: list[list[str]] = []
    for name in names:
        last = runs[-1][-1] if runs else ""
        if name.isdigit() and last.isdigit() and int(name) == int(last) + 1:
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _done(folder: Path, layout: Layout, plan: Plan) -> Collection[str]:
    if not has_record(folder):
        return ()

    with open_record(folder) as record:
        return ruled_lines_done(record, layout, plan)


def _tell(
    options: argparse.Namespace, job: Job, layout: Layout, plan: Plan, manner: WhoRules
) -> None:
    done = _done(options.job, layout, plan)
    ruled = [line for line in plan.ruled if line.id in done]
    steps = ruling_order(plan.ruled, job, manner, done)
    if options.json:
        shown: dict[str, Any] = {
            "schema": 1,
            "zone": plan.zone.name,
            "ruled": [line.id for line in ruled],
            "lines": [
                {"id": line.id, "name": line_name(line), "of": line.of, "ruled": line.id in done}
                for line in plan.ruled
            ],
            "next": [
                {"line": step.line.id, "wait_seconds": step.waits, "new_tip": step.new_tip}
                for step in steps
            ],
        }
        print_json(shown)
        return
    names = _listed([line_name(line) for line in ruled])
    lines = [f"{len(ruled)} of {counted(len(plan.ruled), 'line')} ruled" + ":" * bool(ruled)]
    lines += [f"  {names}"] if ruled else []
    if steps:
        following = [line_name(step.line) for step in steps[:GROUP]]
        lines.append(f"next, in this order: {', '.join(following)}")
        lines.append(f"{counted(len(steps), 'line')} to rule: {time_told(steps, job, manner)}")
    lines += lines_counted(job.numerals)
    print_lines(lines)
