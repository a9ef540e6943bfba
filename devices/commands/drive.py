"""`canvasrule drive`: inks section after section on the job's plotter, and resumes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import layout_of, plan_of
from devices.commands.shared import (
    add_job_option,
    check_pace,
    check_way,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.commands.typed import typed
from devices.driving.port import chosen
from devices.driving.who_answers import answer_lines, who_answers
from devices.history import has_record, kept_correction
from devices.inking.in_turn import asked_for, known, lines_to_rule, mends_to_rule
from devices.inking.outcome_words import exit_code, outcome_lines, outcomes_record
from devices.inking.sections import Commands, Wished, ink_in_turn, record_for, verniers_added
from devices.session.claim import claimed
from devices.session.ending import ended_as_by_hand
from devices.session.person import Person
from devices.session.progress import record_csv
from devices.session.session import Workplace
from marking.errors import BadInputError
from marking.record.readings import read_readings
from marking.record.record import open_record

if TYPE_CHECKING:
    import argparse

    from devices.job import Job
    from marking.proof.verniers import JoinVernier

_SCALE = 60.0
_MORE = """\
For each section it says where to set the device down, has you bring the pen over each
mark (arrow keys, by 0.1, 1 or 10 mm as 1, 2 and 3 choose; Enter reads, Backspace goes
back), works out where the device stands and whether to ink, and inks. Nothing is inked
that no reading stands for. While it inks: p pauses after the strokes under way and
parks the pen, s stops at once with the pen up, and so do Ctrl C and closing the
terminal; an HP-GL plotter first draws on to its next point, which is never far (0.4 s,
or 12 mm with a slow pen).

Keep hands, hair, sleeves and cords clear of the moving plotter; know its own stop. Use
a short, good cable, and try it on scrap.

It ends with 0 when all asked for is drawn, 1 when something is not to be inked, 3 when
the plotter failed, 130 when it was paused or stopped.

Before the first ink it asks whether it was tried that the ink stays (canvasrule trial
--ink); after a night it waits for the morning's check (canvasrule days). What canvasrule
mend asks to be inked anew comes in its turn, each set-down by marks of its own: --section
r1c2-m1.

Going on: every stroke is kept as sent before it is sent, and as drawn only when the
plotter has told where its pen stands after it. Run the same command again and it shows by
the pen that the device still stands where it stood. Readings of marks read anew say
whether anything has moved, and how large a move they would have shown; a file that is
known already shows none. With --moved the marks must be read anew, and what was inked
before keeps its own place in the record. How the plotter is told (speed of the cable,
buffer, pace) may be set anew in between; what moves ink (bed, unit, axes, correction,
holders and widths of the pens) may not.

A machine that may have lost its place inks nothing before its marks are read anew: one
that restarted or lost its power, tells an alarm by which its position may be lost, goes
silent, or whose answer is lost; a gantry without switches to find its zero
(homes = false) that does not show it still stands where it was left; a bed that does not
find its corner by itself (power_up). Set its zero at the corner it counts from, its pen
raised clear of the cloth; where a screw carries the pen, set its height anew too, or it
may draw in the air and be told as drawn.

With --verniers an attended section knows to a tenth or two of a millimetre how it lies to
the ink beside it: the steps typed move it before it is inked, towards that ink as far as
being true to the table allows, and every later section is placed with them. The long
lines of its halves are drawn over themselves after the ink: a doubled one says that the
device was moved. It needs a holder of its own for the removable pen; without one, or with
nobody there, all halves come after the ink, and canvasrule place --steps takes what they
show.

Once the first section is inked, and again after a new pen, an attended drive asks to
bring the pen by the arrow keys over a few crossings that it has just inked: how far what
reads stands from what inks is kept with its doubt, counted in every reading from then on,
and out of those before. With nobody there, what the profile says of it (pointer_doubt)
goes on.

Which port: --who asks for the name of what is there and moves nothing; a gantry that
restarts when its port is opened does so then too.

Machines: what an HP-GL plotter's buffer holds is tried with raised moves before any ink.
It acknowledges nothing: behind a garbled instruction two strokes or 8 seconds of drawing,
whichever is more, may lie in the wrong place. A G-code line that arrives garbled is
refused before the next is sent; a digit that turns into another digit shows only by where
the pen stands after the stroke. A gantry's own settings ($$) are asked before it moves:
it is driven at its own pace where that is slower, and refused where it travels less. A
machine with one holder is asked for its pens by hand; handshake = "timed" confirms
nothing: look at the cloth yourself.

example:
  canvasrule drive --job my-bench --simulate --unattended --most 1"""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    line = verb.add_mutually_exclusive_group()
    line.add_argument("--port", metavar="NAME", help="the plotter's port, or a pyserial URL")
    line.add_argument(
        "--simulate",
        action="store_true",
        help="rehearse on a simulated plotter, and picture its cloth; the job's record stays as "
        "it is",
    )
    verb.add_argument(
        "--pace",
        type=float,
        default=_SCALE,
        metavar="N",
        help=f"the simulated plotter's time runs N times faster (default: {_SCALE:g})",
    )
    verb.add_argument("--section", metavar="ID", help="ink this section only")
    verb.add_argument("--most", type=int, metavar="N", help="stop after N sections")
    verb.add_argument(
        "--readings", type=Path, metavar="FILE", help="readings of marks, TOML or CSV"
    )
    verb.add_argument(
        "--unattended",
        action="store_true",
        help="ask nothing: readings come from --readings; without them nothing is inked",
    )
    verb.add_argument(
        "--moved", action="store_true", help="the device was moved since the section was begun"
    )
    verb.add_argument(
        "--ink-anyway",
        metavar="REASON",
        help="ink against the verdict, or with no readings; the reason is recorded",
    )
    verb.add_argument(
        "--ink-untried",
        metavar="REASON",
        help="ink although it was not tried that this ink stays on the canvas; the reason is kept",
    )
    verb.add_argument(
        "--verniers",
        action="store_true",
        help="with each section its halves of the verniers over its joins, with the removable "
        "pen; from the first section on. Where the ink beside it has drawn the other half, they "
        "come first, and what the pairs show is asked for before anything is inked. canvasrule "
        "prove --verniers asks for their readings",
    )
    verb.add_argument(
        "--pointer",
        action="store_true",
        help="find anew, once a section is inked, how far what reads stands from the pen",
    )
    verb.add_argument("--outline", action="store_true", help="go round each section pen up first")
    verb.add_argument(
        "--who",
        action="store_true",
        help="ask what answers at --port, or at every port there is, and end; nothing moves",
    )
    verb.add_argument("--csv", action="store_true", help="print the record as CSV, and end")
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Drives what is not yet done, in order; returns 0 when all asked for is done."""
    check_pace(options.pace)
    if options.most is not None and options.most < 1:
        raise BadInputError(f"--most {options.most}: give how many sections to ink, 1 or more")
    job = read_job(options.job)
    if options.csv:
        return _print_record(options.job)
    check_way(options.job, job, "drive", "plotter")
    if options.who:
        return _ask_who(options, job)
    layout = layout_of(options.job, job)
    correction = kept_correction(options.job, job)
    plan = division = plan_of(options.job, "plotter", job, layout, correction)
    verniers: tuple[JoinVernier, ...] = ()
    if options.verniers:
        plan, verniers, said = verniers_added(plan, layout, job.pens)
        say(said)
    sections = asked_for(known(options.job, job.pens, layout, plan), options.section)
    readings = read_readings(options.readings) if options.readings else ()
    wished = Wished(
        options.job, options.port, options.pace, options.most, untried=options.ink_untried
    )
    with (
        ended_as_by_hand(),
        claimed(options.job, "drive"),
        record_for(options.job, simulate=options.simulate) as record,
    ):
        place = Workplace(
            job=job,
            layout=layout,
            plan=plan,
            record=record,
            person=Person(not options.unattended),
            readings=readings,
            moved=options.moved,
            ink_anyway=options.ink_anyway,
            outline=options.outline,
            correction=correction,
            rehearsal=options.simulate,
            begun_with=division,
            verniers=verniers,
            pointer=options.pointer,
        )
        outcomes = ink_in_turn(sections, place, wished, _commands(options))
    to_rule = lines_to_rule(options.job, layout, plan)
    if options.json:
        print_json(outcomes_record(outcomes, to_rule, rehearsal=options.simulate))
    else:
        rule = typed(["canvasrule", "rule", "--job", options.job])
        anew = mends_to_rule(options.job, layout, plan)
        print_lines(outcome_lines(outcomes, to_rule, rule, anew))
    return exit_code(outcomes)


def _ask_who(options: argparse.Namespace, job: Job) -> int:
    if options.simulate:
        raise BadInputError("--who asks at a port; the simulated plotter of --simulate has none")
    names = [] if options.port is None else [chosen(options.port)]
    with claimed(options.job, "drive --who"):
        asked = who_answers(names, job.plotter)
    if options.json:
        print_json({"schema": 1, "ports": [one.record for one in asked]})
    else:
        print_lines(answer_lines(asked))
    return 0


def _print_record(folder: Path) -> int:
    if not has_record(folder):
        raise BadInputError(f"{folder}: nothing was ever driven here, so there is no record")
    with open_record(folder) as record:
        print_lines(record_csv(record).splitlines())
    return 0


def _commands(options: argparse.Namespace) -> Commands:
    job = ["--job", options.job]
    return Commands(
        trial=typed(["canvasrule", "trial", *job, "--ink"]),
        days=typed(["canvasrule", "days", *job]),
        again=lambda most, placed: _again(options, most, placed=placed),
    )


def _again(options: argparse.Namespace, most: int | None, *, placed: bool) -> str:
    """The command that goes on, word for word as it was given.

    Once it is `placed` it stands there, and --moved would have its marks read once more.
    """
    words = ["canvasrule", "drive", "--job", options.job]
    for name, value in (
        ("--port", options.port),
        ("--section", options.section),
        ("--most", most),
        ("--readings", options.readings),
        ("--ink-anyway", options.ink_anyway),
    ):
        words += [] if value is None else [name, str(value)]
    moved = options.moved and not placed
    for name, given in (
        ("--unattended", options.unattended),
        ("--moved", moved),
        ("--verniers", options.verniers),
        ("--pointer", options.pointer),
        ("--outline", options.outline),
        ("--json", options.json),
    ):
        words += [name] if given else []
    return typed(words)
