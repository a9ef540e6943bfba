"""`canvasrule trial`: what the plotter really draws, measured on scrap cloth and put right."""

from __future__ import annotations

import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import layout_of
from devices.commands.shared import (
    OUTPUT,
    PLACED,
    add_job_option,
    given_file,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.commands.typed import typed
from devices.history import kept_correction
from devices.output.stale import take_away
from devices.plotter.correction import (
    check_record,
    corrected_lines,
    correction_lines,
    correction_said,
    still_off,
)
from devices.session.claim import claimed
from devices.session.ending import ended_as_by_hand
from devices.session.person import Person
from devices.session.run_told import EXIT_CODES
from devices.session.session import port_for
from devices.trial.drawn import draw_sheet, refuse_begun
from devices.trial.measured import correction_to_judge, keep, solved
from devices.trial.sheet import scrap_program
from devices.trial.verniers import vernier_lines
from devices.trial.words import sheet_lines, sheet_record
from marking.errors import BadInputError, RefusedError
from marking.fastness.tried import keep_tried, read_tried
from marking.fastness.words import how_to, tried_lines, tried_record
from marking.job.keys import tape_of
from marking.output.files import replace_file
from marking.record.record import layout_hash, open_record

if TYPE_CHECKING:
    import argparse

    from devices.job import Job
    from devices.plotter.correction import Correction, DeviceCheck


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--measured",
        metavar="FILE",
        type=Path,
        help="what the tape showed on the sheet, .toml or .csv with run and length: AB, BC, CD, "
        "DA, AC and BD, and what its verniers showed, where they were read: X, Y, PX, PY",
    )
    which = verb.add_mutually_exclusive_group()
    which.add_argument(
        "--corrected",
        action="store_true",
        help="draw the sheet with the kept correction, or measure such a sheet: to see that the "
        "correction helps. Nothing is kept",
    )
    which.add_argument(
        "--replace",
        action="store_true",
        help="the sheet measured is out/trial, drawn without correction: its figures take "
        "the place of the correction kept before",
    )
    verb.add_argument(
        "--port",
        metavar="NAME",
        help="have the plotter at this port draw the sheet on scrap now, asked and stopped as "
        "drive is (p pauses, s stops); nothing of it is kept. The name of a port, or a pyserial "
        "URL",
    )
    verb.add_argument(
        "--confirmed",
        action="store_true",
        help="keep a correction of more than 1 %%: unit, sheet and tape were looked at again",
    )
    verb.add_argument(
        "--despite-ink",
        action="store_true",
        help="keep a new correction although sections are inked: later sections may be cut "
        "otherwise, and are then not joined to that ink",
    )
    verb.add_argument(
        "--ink",
        action="store_true",
        help="how to try whether the ink stays when cloth is rubbed and pressed on it, which the "
        "first section waits for",
    )
    verb.add_argument(
        "--ink-tried", metavar="FILE", type=Path, help="keep what was seen then, a .toml file"
    )
    verb.epilog = (
        "Do this before the tape marks are set out: a corrected plotter may reach less, and\n"
        "the sections are cut for that.\n\n"
        "examples:\n  canvasrule trial --job my-bench\n"
        "  canvasrule trial --job my-bench --port /dev/ttyUSB0\n"
        "  canvasrule trial --job my-bench --measured square.toml"
    )


def run(options: argparse.Namespace) -> int:
    """Writes the sheet, or solves and keeps what was measured on it."""
    job = read_job(options.job)
    if options.port is not None:
        return _draw(options, job)
    if options.ink or options.ink_tried is not None:
        return _ink(options, job)
    if options.measured is None:
        return _write_sheet(options, job)
    return _solve(options, job)


def _ink(options: argparse.Namespace, job: Job) -> int:
    """How the ink is tried; or keeps what was seen, with 1 where it comes off."""
    if options.measured is not None:
        raise BadInputError("--measured is of the plotter's sheet; keep one thing at a time")
    if options.ink_tried is None:
        command = typed(["canvasrule", "trial", "--job", options.job, "--ink-tried", "FILE"])
        lines = list(how_to(command))
        if options.json:
            print_json({"schema": 1, "how_to": lines})
        else:
            print_lines(lines)
        return 0
    path = given_file("--ink-tried", options.ink_tried, options.job)
    tried = read_tried(path, job.pens)
    layout = layout_of(options.job, job)
    with open_record(options.job) as record:
        keep_tried(record, layout_hash(layout), tried)
    if options.json:
        print_json(tried_record(tried))
    else:
        print_lines(tried_lines(tried))
    return RefusedError.exit_code if tried.comes_off else 0


def _draw(options: argparse.Namespace, job: Job) -> int:
    """Has the plotter draw the sheet; 130 where it was paused or stopped, 1 where it was not to."""
    if options.ink or options.ink_tried is not None or options.measured is not None:
        raise BadInputError("--port draws the plotter's sheet; do one thing at a time")
    correction = _to_prove(options, job)
    with ended_as_by_hand(), claimed(options.job, "trial"):
        refuse_begun(options.job)
        person = Person(attended=True)
        with closing(port_for(options.port, job.plotter, person)) as port:
            ended = draw_sheet(job, correction, person, port, time.monotonic)
    return EXIT_CODES[ended]


def _to_prove(options: argparse.Namespace, job: Job) -> Correction | None:
    """The correction that the sheet is drawn with, if it is. Raises RefusedError."""
    correction = kept_correction(options.job, job) if options.corrected else None
    if options.corrected and correction is None:
        raise RefusedError("no correction is kept for this plotter; draw the sheet as it is first")
    return correction


def _write_sheet(options: argparse.Namespace, job: Job) -> int:
    correction = _to_prove(options, job)
    data, sheet = scrap_program(job.plotter, job.pens, correction, job.units)
    name = "trial-corrected" if options.corrected else "trial"
    path = options.job / OUTPUT / f"{name}.{job.plotter.dialect}"
    replace_file(path, data)
    if options.json:
        print_json({"schema": 1, "file": path.as_posix(), **sheet_record(sheet)})
    else:
        tape = tape_of(job.tape)
        print_lines(sheet_lines(sheet, job.pens, tape, job.units, path))
    return 0


def _solve(options: argparse.Namespace, job: Job) -> int:
    check = solved(job, given_file("--measured", options.measured, options.job))
    if options.corrected:
        return _judge_corrected(options, check, correction_to_judge(options.job, job))
    kept = keep(
        *(options.job, job, check),
        in_place=options.replace,
        likely=options.confirmed,
        despite_ink=options.despite_ink,
    )
    before, now = kept.sections
    if options.json:
        sections = {"before": before, "after": now}
        print_json({"schema": 1, "kept": True, "sections": sections, **check_record(check)})
    else:
        print_lines([*correction_lines(check), *vernier_lines(check.verniers)])
        _say_what_now(job, check, kept.before)
    if before != now:
        more = "less" if now > before else "more"
        say(
            f"the cover takes {now} sections now, {before} before: corrected like "
            f"this, the plotter reaches {more}"
        )
    if kept.draws_otherwise:
        _take_stale_away(options.job, f"trial {check.applied}")
    return 0


def _judge_corrected(options: argparse.Namespace, check: DeviceCheck, kept: DeviceCheck) -> int:
    """Says whether the kept correction helps; exit code 1 where the error is still there."""
    off = any(still_off(check, kept))
    if options.json:
        print_json({"schema": 1, "kept": False, "holds": not off, **check_record(check)})
    else:
        print_lines([*corrected_lines(check, kept), *vernier_lines(check.verniers)])
    say("measured on a corrected sheet: nothing was kept")
    if not off:
        say("the correction helps: the corrected sheet is true as far as these figures can tell")
        return 0
    say(
        "the correction does not help: the corrected sheet is not true. See that it was "
        "out/trial-corrected.hpgl that was plotted and measured; else plot out/trial.hpgl anew, "
        "measure it, and keep its figures with --replace"
    )
    return RefusedError.exit_code


def _say_what_now(job: Job, check: DeviceCheck, before: DeviceCheck | None) -> None:
    if check.applied is None:
        say("the plotter draws true as far as this tape can tell; sections are drawn as they are")
    else:
        say(
            f"kept for {job.plotter.name}: section, write, control, place and drive now use it. "
            "Draw the sheet again with --corrected to see that it helps"
        )
    if before is not None and before.applied is not None and before.applied != check.applied:
        say(f"it replaces the correction kept before: {correction_said(before.applied)}")


def _take_stale_away(folder: Path, why: str) -> None:
    out = folder / OUTPUT
    left = take_away(out, out / PLACED, why)
    if left is None:
        return
    say(
        f"what {out} held was drawn without it and was taken away: run canvasrule write "
        f'--job "{folder}" again. Throw away what was copied elsewhere or to the plotter'
    )
    for name in left:
        say(f"note: {out / name} was changed since it was written, so it was left: do not plot it")
