"""`canvasrule place`: from readings of marks to where a device stands, and what may be inked."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from devices.begun import begin, guard_division, layout_of, plan_of
from devices.commands.shared import (
    OUTPUT,
    PLACED,
    add_ink_option,
    add_job_option,
    check_way,
    given_file,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.history import has_record, kept_correction
from devices.output.placed import write_placed
from devices.output.programs import vernier_file
from devices.session.claim import claimed
from devices.setting_down.outside_a_drive import (
    JobAtHand,
    PlacingManner,
    adjusted_together,
    begun_still_there,
    every_section,
    may_be_inked,
    place_and_keep,
    readings_from,
    refuse_inked,
    scatters,
    section_named,
    slips,
    take_as_inked,
)
from devices.setting_down.outside_a_drive_words import (
    begun_lines,
    begun_record,
    left_out_note,
    placed_lines,
    placed_record,
)
from devices.setting_down.steps_read import steps_after_ink, verniers_of
from devices.setting_down.where_it_stands import standing_by
from marking.begun.inked import runs_of
from marking.begun.on_the_cover import standing
from marking.errors import BadInputError, RefusedError
from marking.placement.words import (
    adjusted_lines,
    adjusted_record,
    placement_lines,
    placement_record,
)
from marking.record.record import open_record

if TYPE_CHECKING:
    import argparse

    from marking.placement.placement import Placement
    from marking.record.readings import MarkReading
    from marking.sections.plan import Section


_MORE = """\
FILE has what the plotter shows in its own millimetres (its units times the size of one)
with the pen on each mark: a line "section,mark,x_mm,y_mm", then one for each mark, such
as "r1c2,w01,2.51,25.79". A mark that is read a second time stands on a line of its own,
below the first.

The answer begins with its verdict:
INK              plot out/placed/SECTION.hpgl, drawn for where the device really stands:
                 do not move it before
READ AGAIN       a reading does not fit the others: which, how far it is off and, where
                 it can be told, why
MOVE THE DEVICE  the section no longer fits its bed there: how far to shift or turn it
ADD A MARK       nothing is wrong, but too little is known: which mark helps most;
                 --accept goes on all the same
Then come how far each mark is off, the error to expect at the worst inked point and the
step at each join, 95 times in 100, and how large a slip in one reading would have been
named. It ends with 0 for INK, and for ADD A MARK taken with --accept; with 1 for every
other verdict. Say --inked when the plotter is done: the next section builds on it.

Where the last section lies a little wrong, being true to the table and meeting its ink
are two wishes: the choice that shows least is made, both figures are given, and
--weight (0 table, 1 join) chooses otherwise. A mark set by tape lies a few tenths of a
millimetre off, which hides a slip as large as 4 mm in it until it is read a second
time. Where two readings may be wrong equally well, both are named. --all tells where
each inked section really lies and how all readings close. With a [fence] a section
reads only what control asks for; one that is asked for none is placed --at-fence.

Verniers tell a step to a tenth of a millimetre. Place a section with --verniers, plot
out/placed/SECTION-verniers.hpgl first, read the pairs that the ink beside it has drawn
the other half of, and give them as --steps with the same readings: the section is then
written for how it lies to that ink (--weight 1 meets it all the way). Plot the same
halves again after its ink: a doubled line says that the device was moved. What is read
later ties both sections for all to come.

example:
  canvasrule place --job my-bench --section r1c2 --readings r1c2.csv"""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_ink_option(verb)
    what = verb.add_mutually_exclusive_group()
    what.add_argument(
        "--readings",
        metavar="FILE",
        type=Path,
        help="marks as the device sees them, .toml or .csv with section, mark, x, y and perhaps "
        "sd: all readings of one setting down, in the device's own millimetres",
    )
    what.add_argument(
        "--at-fence",
        metavar="SECTION",
        help="place a section that reads no mark: its device is pushed against the fence and its "
        "stop, as control says",
    )
    what.add_argument(
        "--inked", metavar="SECTION", help="say that a section is inked as it was last placed"
    )
    what.add_argument(
        "--all",
        action="store_true",
        help="adjust every reading of every inked section together, and show how all closes",
    )
    verb.add_argument(
        "--steps",
        metavar="FILE",
        type=Path,
        help="what verniers over the joins show, as prove takes it: alone for sections that are "
        "inked; with --readings for one that has drawn its halves and no ink yet",
    )
    verb.add_argument(
        "--verniers",
        action="store_true",
        help="write the section's halves of the verniers too, for where it stands",
    )
    verb.add_argument(
        "--section", metavar="SECTION", help="the section whose readings are taken from FILE"
    )
    verb.add_argument(
        "--without-fence",
        action="store_true",
        help="the device does not lie against the fence chosen for it: go by the readings alone",
    )
    verb.add_argument(
        "--weight",
        metavar="W",
        type=float,
        help="0 to be true to the table, 1 to meet the ink at the join; by default what shows "
        "least",
    )
    verb.add_argument(
        "--kind",
        choices=("rigid", "similarity", "affine"),
        default="rigid",
        help="what may differ besides shift and turn: a scale, or scale and shear (default: rigid)",
    )
    verb.add_argument(
        "--accept",
        action="store_true",
        help="write the section, or take it as inked, although more than the job's tolerance or "
        "a visible step is to be expected; never with readings in doubt",
    )
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Places a section, takes one as inked, or adjusts everything."""
    job = read_job(options.job)
    check_way(options.job, job, "place", "plotter")
    if options.at_fence is not None and options.without_fence:
        raise BadInputError("--at-fence and --without-fence say the opposite: give one of them")
    _check_what(options)
    if options.readings is not None:
        given_file("--readings", options.readings, options.job)
    layout = layout_of(options.job, job, despite_ink=options.despite_ink)
    correction = kept_correction(options.job, job)
    plan = plan_of(options.job, "plotter", job, layout, correction)
    if not has_record(options.job):
        raise RefusedError(
            f"{options.job}: no tape marks are set out in this job; run canvasrule control, "
            "and set them out before anything is placed by them. place needs them even where only "
            "locating marks are read: sections butted to each other alone drift"
        )
    # What only reads may go on beside a drive; what changes where ink is known to lie may not.
    with (
        nullcontext() if options.all else claimed(options.job, "place"),
        open_record(options.job) as record,
    ):
        at = JobAtHand(record, job, layout, plan, correction)
        if options.inked is not None:
            return _take_as_inked(options, at)
        if options.all:
            return _adjust_all(options, at)
        if options.readings is None and options.at_fence is None:
            return _keep_steps(options, at)
        return _place(options, at)


def _check_what(options: argparse.Namespace) -> None:
    """Refuses nothing to do, and steps beside what reads none."""
    placing = options.readings is not None or options.at_fence is not None
    other = options.inked is not None or options.all
    if options.steps is not None:
        given_file("--steps", options.steps, options.job)
        if other:
            raise BadInputError("--steps goes alone, or with --readings or --at-fence")
    elif not (placing or other):
        raise BadInputError(
            "say what to do: --readings FILE, --at-fence SECTION, --steps FILE, --inked SECTION "
            "or --all"
        )
    if options.verniers and not placing:
        raise BadInputError("--verniers goes with --readings or --at-fence")


def _keep_steps(options: argparse.Namespace, at: JobAtHand) -> int:
    guard_division(at.record, at.job, at.layout, at.plan, at.correction)
    report = steps_after_ink(options.steps, at.record, at.job, at.layout, at.plan)
    if options.json:
        print_json(report.record)
    else:
        print_lines(report.lines)
    return 0


def _take_as_inked(options: argparse.Namespace, at: JobAtHand) -> int:
    guard_division(at.record, at.job, at.layout, at.plan, at.correction)
    begin(at.record, at.job, at.layout, at.plan, at.correction)
    name = take_as_inked(options.inked, at, accepted=options.accept)
    if options.json:
        print_json({"schema": 1, "section": name, "inked": True})
    else:
        print_lines([f"{name} is kept as inked, as it was last placed"])
    return 0


def _adjust_all(options: argparse.Namespace, at: JobAtHand) -> int:
    stands, errors = standing_by(at.record, at.layout, at.plan, at.job)
    _note(left_out_note(stands.left_out))
    adjusted, inked = adjusted_together(stands, errors, at)
    if options.json:
        print_json(adjusted_record(adjusted, inked))
    else:
        print_lines(adjusted_lines(adjusted, inked))
    return 0


def _place(options: argparse.Namespace, at: JobAtHand) -> int:
    section, readings = _given(options, at)
    left_out = standing(at.record, at.layout, at.plan, at.job.units).left_out
    _note(left_out_note(left_out))
    refuse_inked(section, left_out, at)
    manner = PlacingManner(
        options.kind,
        options.weight,
        at_fence=options.at_fence is not None,
        without_fence=options.without_fence,
        steps=options.steps,
        halves=options.verniers,
        accepted=options.accept,
    )
    if runs_of(at.record, section.id, at.plan):
        return _begun(options, section, readings, at, manner)
    placed, ground = place_and_keep(section, readings, at, manner)
    allowed = may_be_inked(placed.verdict, accepted=options.accept)
    folder = options.job / OUTPUT / PLACED
    halves = _halves(placed, at) if options.verniers or options.steps is not None else {}
    paths, note = write_placed(folder, at.job, placed, at.correction, halves, may_be_inked=allowed)
    _note(None if note is None else f"note: {note}")
    slip, scatter = slips(placed, ground, section, at), scatters(ground, at)
    if options.json:
        print_json(placed_record(placed, paths, scatter, slip))
        return 0 if allowed else 1
    print_lines([*placed_lines(placed, scatter, slip)])
    for path in paths:
        say(f"wrote {path}")
    if paths and allowed:
        say(f'once it is inked: canvasrule place --job "{options.job}" --inked {section.id}')
    return 0 if allowed else 1


def _halves(placed: Placement, at: JobAtHand) -> dict[str, bytes]:
    """The section's halves of verniers, where they were drawn for or are to be drawn for."""
    inking, verniers = placed.inking, verniers_of(at.job.pens, at.layout, at.plan)
    pose = inking.setup.pose if inking.taken is None else inking.taken.halves
    return vernier_file(placed.section, pose, verniers, at.plan.zone, at.job, at.correction)


def _given(options: argparse.Namespace, at: JobAtHand) -> tuple[Section, tuple[MarkReading, ...]]:
    """The section to place, and its readings: none where its fence alone holds it."""
    if options.at_fence is not None:
        return section_named(at.plan.sections, options.at_fence), ()
    return readings_from(options.readings, options.section, every_section(at))


def _begun(
    options: argparse.Namespace,
    section: Section,
    readings: tuple[MarkReading, ...],
    at: JobAtHand,
    manner: PlacingManner,
) -> int:
    found = begun_still_there(section, readings, at, manner)
    if not isinstance(found, str):
        if options.json:
            print_json(placement_record(found, []))
        else:
            print_lines(placement_lines(found))
        return 1
    if options.json:
        print_json(begun_record(section, found))
    else:
        print_lines(begun_lines(section, found))
        say(f'go on with it: canvasrule drive --job "{options.job}" --section {section.id}')
    return 0


def _note(note: str | None) -> None:
    if note is not None:
        say(note)
