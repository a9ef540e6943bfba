"""`canvasrule drive`: inks section after section on the job's plotter, and resumes."""

from __future__ import annotations

from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import guard_division, layout_of, plan_of
from devices.commands.shared import (
    add_job_option,
    check_pace,
    check_way,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.history import has_record, kept_correction

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator, Sequence
    from contextlib import AbstractContextManager

    from devices.driving.driver import Cable
    from devices.inking.section import RunOutcome
    from devices.job import Job
    from devices.session.session import Workplace
    from marking.layout.layout import Layout
    from marking.proof.verniers import JoinVernier
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section

_SCALE = 60.0
_EXIT_CODES = {"done": 0, "not allowed": 1, "paused": 130, "stopped": 130}


_MORE = """\
While it inks: p pauses after the strokes under way, s stops at once with the pen up.
Keep hands, hair, sleeves and cords clear of the moving plotter; know its own stop.
It ends with 0 when all asked for is drawn, 1 when something is not to be inked, 3 when
the plotter failed, 130 when it was paused or stopped.

Before the first ink it asks whether it was tried that the ink stays (canvasrule trial --ink);
after a night it waits for the morning's check (canvasrule days). What canvasrule mend asks
to be inked anew comes in its turn, each set-down by marks of its own: --section r1c2-m1.

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

With --verniers a section that is attended meets the ink beside it to a tenth or two of a
millimetre: typed steps move it before it is inked, its halves are begun anew over
themselves afterwards (a doubled line says that the device was moved), and both go into
what later sections are placed by. It needs a holder of its own for the removable pen;
without one, or with nobody there, all halves come after the ink, and canvasrule place
--steps takes what they show.

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
    verb.add_argument("--outline", action="store_true", help="go round each section pen up first")
    verb.add_argument("--csv", action="store_true", help="print the record as CSV, and end")
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Drives what is not yet done, in order; returns 0 when all asked for is done."""
    from devices.session.claim import claimed
    from devices.session.ending import ended_as_by_hand
    from devices.session.person import Person
    from devices.session.session import Workplace
    from marking.errors import BadInputError
    from marking.record.readings import read_readings

    check_pace(options.pace)
    if options.most is not None and options.most < 1:
        raise BadInputError(f"--most {options.most}: give how many sections to ink, 1 or more")
    job = read_job(options.job)
    if options.csv:
        return _print_record(options.job)
    check_way(options.job, job, "drive", "plotter")
    layout = layout_of(options.job, job)
    correction = kept_correction(options.job, job)
    plan = plan_of(options.job, "plotter", job, layout, correction)
    division = plan
    verniers: tuple[JoinVernier, ...] = ()
    if options.verniers:
        plan, verniers = _with_verniers(plan, layout, job)
    sections = _asked_for(_known(options.job, job, layout, plan), options.section)
    readings = read_readings(options.readings) if options.readings else ()
    with ended_as_by_hand(), claimed(options.job, "drive"), _record(options) as record:
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
        )
        outcomes = _driven(sections, place, options)
    _tell(options, outcomes, _lines_to_rule(options, layout, plan))
    return max((_EXIT_CODES[one.ended] for one in outcomes.values()), default=0)


def _with_verniers(plan: Plan, layout: Layout, job: Job) -> tuple[Plan, tuple[JoinVernier, ...]]:
    """The sections with their halves of verniers, these, and a word on how many there are."""
    from marking.measures.counts import counted
    from marking.proof.drawn import with_verniers

    drawn, verniers = with_verniers(plan, layout, job.pens)
    say(
        f"{counted(len(verniers), 'vernier')} over the joins, one half by each section, with the "
        f"removable pen from holder {job.pens.removable.slot}"
    )
    return drawn, verniers


def _driven(
    sections: Sequence[Section], place: Workplace, options: argparse.Namespace
) -> dict[str, RunOutcome]:
    """Inks what is not done, one section after another, up to the first that is not finished."""
    from devices.commands.typed import typed
    from devices.inking.waits import let_ink_be_laid
    from devices.setting_down.standstill import keep_given

    place.record.guard_layout(place.layout)
    guard_division(place.record, place.job, place.layout, place.plan, place.correction)
    traced = sorted({ink.section for ink in place.record.ink() if ink.section.startswith("beam ")})
    if traced:
        say(
            f"note: lines were traced by the projector here already ({', '.join(traced)}, of the "
            "beam's own sections). The plotter would ink them again; leave out what they cover"
        )
    if place.rehearsal:
        say("A rehearsal: the plotter and the cloth are simulated")
    in_turn = _in_turn(place.record, place.job, place.layout, place.plan)
    done = {section.id for section, inked in in_turn if inked}
    todo = [section for section in sections if section.id not in done]
    if todo and not place.rehearsal:
        job = ["--job", options.job]
        let_ink_be_laid(
            place,
            options.ink_untried,
            typed(["canvasrule", "trial", *job, "--ink"]),
            typed(["canvasrule", "days", *job]),
        )
    keep_given(place)
    outcomes: dict[str, RunOutcome] = {}
    for count, section in enumerate(todo[: options.most]):
        most = None if options.most is None else options.most - count
        outcomes[section.id] = _inked(section, place, options, most)
        if outcomes[section.id].ended != "done":
            break
    if place.rehearsal:
        from devices.inking.rehearsal import picture

        pictured = [*place.plan.sections, *(section for section in todo if section.id in outcomes)]
        shown = picture(options.job, place.job, pictured, place.correction)
        say(f"A rehearsal: no cloth was inked, and nothing of it is kept; look at {shown}")
    return outcomes


def _print_record(folder: Path) -> int:
    from devices.session.progress import record_csv
    from marking.errors import BadInputError
    from marking.record.record import open_record

    if not has_record(folder):
        raise BadInputError(f"{folder}: nothing was ever driven here, so there is no record")
    with open_record(folder) as record:
        print_lines(record_csv(record).splitlines())
    return 0


def _record(options: argparse.Namespace) -> AbstractContextManager[Record]:
    if options.simulate:
        from devices.inking.rehearsal import rehearsal_record

        return rehearsal_record(options.job)
    from marking.record.record import open_record

    return open_record(options.job)


def _in_turn(
    record: Record, job: Job, layout: Layout, plan: Plan
) -> Sequence[tuple[Section, bool]]:
    """What is inked, in order, and whether it is done: each section, then what is mended there."""
    from marking.begun.inked import done_sections
    from marking.mending.mend import set_downs

    done = done_sections(record, layout, plan)
    again = set_downs(record, layout, plan, job.pens)
    return [
        one
        for section in plan.sections
        for one in ((section, section.id in done), *again.get(section.id, ()))
    ]


def _known(folder: Path, job: Job, layout: Layout, plan: Plan) -> Sequence[Section]:
    """All that can be asked for; looking makes no record."""
    if not has_record(folder):
        return plan.sections
    from marking.record.record import open_record

    with open_record(folder) as record:
        return [section for section, _ in _in_turn(record, job, layout, plan)]


def _asked_for(sections: Sequence[Section], name: str | None) -> list[Section]:
    from marking.errors import BadInputError

    found = [section for section in sections if name in (None, section.id)]
    if not found:
        known = ", ".join(section.id for section in sections[:6])
        raise BadInputError(f"--section {name}: no such section; there are {known}, …")
    return found


def _inked(
    section: Section, place: Workplace, options: argparse.Namespace, most: int | None
) -> RunOutcome:
    """Inks one section, of `most` that are still asked for; however that ends, says what next."""
    from devices.inking.section import ink_section
    from marking.errors import CanvasruleError

    ended, before = "interrupted", len(place.record.placements(section.id))
    try:
        with _ports(section, place, options) as (port, clock):
            outcome = ink_section(section, place, port, clock)
            ended = outcome.ended
    except CanvasruleError:
        ended = "failed"
        raise
    finally:
        # The terminal that it would be said on may be what has gone, or the disk read for it.
        with suppress(OSError, CanvasruleError):
            placed = len(place.record.placements(section.id)) > before
            _say_what_next(section, ended, place, _again(options, most, placed=placed))
    return outcome


def _say_what_next(section: Section, ended: str, place: Workplace, again: str) -> None:
    from devices.session.progress import what_next

    if place.rehearsal or ended in ("done", "not allowed"):
        return
    for text in what_next(section.id, ended, place.record, again):
        place.person.say(text)


def _again(options: argparse.Namespace, most: int | None, *, placed: bool) -> str:
    """The command that goes on, word for word as it was given.

    Once it is `placed` it stands there, and --moved would have its marks read once more.
    """
    from devices.commands.typed import typed

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
        ("--outline", options.outline),
        ("--json", options.json),
    ):
        words += [name] if given else []
    return typed(words)


@contextmanager
def _ports(
    section: Section, place: Workplace, options: argparse.Namespace
) -> Iterator[tuple[Cable, Callable[[], float]]]:
    """The port for one section and the clock that goes with it."""
    import time

    if options.simulate:
        from devices.inking.rehearsal import rehearsal_port

        with rehearsal_port(
            options.job, place.job, section, place.correction, options.pace
        ) as simulated:
            yield simulated, simulated.clock
        return
    from devices.driving.port import chosen, open_port

    port = open_port(chosen(options.port), place.job.plotter)
    try:
        yield port, time.monotonic
    finally:
        port.close()


def _lines_to_rule(options: argparse.Namespace, layout: Layout, plan: Plan) -> int | None:
    """How many lines are still to be ruled by hand; None of a plan that has none to rule."""
    if not plan.ruled:
        return None
    if not has_record(options.job):
        return len(plan.ruled)
    from marking.begun.inked import ruled_lines_done
    from marking.record.record import open_record

    with open_record(options.job) as record:
        return len(plan.ruled) - len(ruled_lines_done(record, layout, plan))


def _tell(
    options: argparse.Namespace, outcomes: dict[str, RunOutcome], to_rule: int | None
) -> None:
    from marking.measures.counts import counted

    if options.json:
        sections = [
            {"section": name, "ended": one.ended, "drawn": one.drawn}
            for name, one in outcomes.items()
        ]
        by_hand = {} if to_rule is None else {"lines_to_rule": to_rule}
        told = {"schema": 1, "rehearsal": options.simulate, "sections": sections, **by_hand}
        print_json(told)
        return
    for name, one in outcomes.items():
        print_lines([f"{name}: {one.ended}, {counted(one.drawn, 'stroke')} drawn"])
    if not outcomes:
        ruled = "" if to_rule != 0 else ", and all lines are ruled"
        print_lines([f"everything asked for is drawn already{ruled}"])
    if to_rule:
        from devices.commands.typed import typed

        again = typed(["canvasrule", "rule", "--job", options.job])
        print_lines([f"{counted(to_rule, 'line')} still to rule by hand between stubs: {again}"])
