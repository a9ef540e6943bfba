"""`canvasrule place`: from readings of marks to where a device stands, and what may be inked."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import replace
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
from devices.setting_down.meant import readings_given, section_named
from devices.setting_down.scatter_words import scatter_line
from devices.setting_down.slip_words import slip_report
from devices.setting_down.standstill import still_there
from devices.setting_down.steps_read import steps_after_ink, steps_before_ink, verniers_of
from devices.setting_down.where_it_stands import (
    drawn_now,
    from_readings,
    ground_of,
    marks_in_reach,
    placed_on,
    standing_by,
)
from marking.begun.inked import done_sections, runs_of
from marking.begun.on_the_cover import belongs, keep_placement, plan_hash, standing
from marking.begun.steps_kept import steps_on_the_cover
from marking.errors import BadInputError, RefusedError
from marking.mending.mend import mends, set_downs
from marking.network.adjustment import adjust
from marking.placement.laid_ink import section_of
from marking.placement.words import (
    adjusted_lines,
    adjusted_record,
    placement_lines,
    placement_record,
)
from marking.record.record import layout_hash, open_record
from marking.sections.mended import mended_name

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from devices.job import Job
    from devices.plotter.correction import Correction
    from devices.setting_down.slip_words import SlipReport
    from devices.setting_down.where_it_stands import Ground
    from marking.layout.layout import Layout
    from marking.placement.placement import Placement
    from marking.record.readings import MarkReading
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section


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
    verb.epilog = (
        "A section that may be inked is written to out/placed/SECTION.hpgl, drawn for where\n"
        "the device really stands: do not move it before it is inked. It ends with 0 only then:\n"
        "for INK, and for ADD A MARK taken with --accept; with 1 for every other verdict.\n\n"
        "Where the last section lies a little wrong, being true to the table and meeting its\n"
        "ink are two wishes: the choice that shows least is made, both figures are given, and\n"
        "--weight (0 table, 1 join) chooses otherwise. A mark set by tape lies a few tenths of\n"
        "a millimetre off, which hides a slip as large as 4 mm in it until it is read a second\n"
        "time. Where two readings may be wrong equally well, both are named. --all tells where\n"
        "each inked section really lies and how all readings close. With a [fence] a section\n"
        "reads only what control asks for; one that is asked for none is placed --at-fence.\n\n"
        "Verniers tell a step to a tenth of a millimetre. Place a section with --verniers, plot\n"
        "out/placed/SECTION-verniers.hpgl first, read the pairs that the ink beside it has drawn\n"
        "the other half of, and give them as --steps with the same readings: the section is then\n"
        "written to meet that ink. Plot the same halves again after its ink: a doubled line says\n"
        "that the device was moved. What is read later ties both sections for all to come.\n\n"
        "example:\n  canvasrule place --job my-bench --section r1c2 --readings r1c2.csv"
    )


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
    with nullcontext() if options.all else claimed(options.job, "place"):
        return _with_record(options, job, layout, plan, correction)


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


def _with_record(
    options: argparse.Namespace,
    job: Job,
    layout: Layout,
    plan: Plan,
    correction: Correction | None,
) -> int:
    with open_record(options.job) as record:
        if options.inked is not None:
            guard_division(record, job, layout, plan, correction)
            begin(record, job, layout, plan, correction)
            return _take_as_inked(options, record, job, layout, plan)
        if options.all:
            return _adjust_all(options, record, job, layout, plan)
        if options.readings is None and options.at_fence is None:
            guard_division(record, job, layout, plan, correction)
            report = steps_after_ink(options.steps, record, job, layout, plan)
            print_json(report.record) if options.json else print_lines(report.lines)
            return 0
        return _place(options, record, job, layout, plan, correction)


def _place(
    options: argparse.Namespace,
    record: Record,
    job: Job,
    layout: Layout,
    plan: Plan,
    correction: Correction | None,
) -> int:
    section, readings = _given(options, plan, _with_mends(record, job, layout, plan))
    left_out = standing(record, layout, plan, job.units).left_out
    _note_left_out(left_out)
    if section.id in left_out:
        raise BadInputError(
            f"section {section.id} is inked already, and not as this layout and division place it"
        )
    if section.id in _done(record, layout, plan):
        raise BadInputError(
            f"section {section.id} is inked already; readings for it would place nothing"
        )
    if runs_of(record, section.id, plan):
        return _begun(options, section, readings, record, job, layout, plan, correction)
    at = section, plan, layout, job, record, correction
    ground = ground_of(*at, at_fence=not options.without_fence)
    if options.at_fence is not None and ground.against is None:
        raise RefusedError(
            f"section {section.id} is not pushed against a fence: control chose its marks without "
            "one. Read its marks, and give them with --readings"
        )
    taken = None
    if options.steps is not None:
        taken = steps_before_ink(options.steps, section, record, job, layout, plan)
    placed = placed_on(
        ground,
        section,
        readings,
        job,
        correction,
        kind=options.kind,
        weight=options.weight,
        steps=taken,
    )
    begin(record, job, layout, plan, correction)
    record.add_readings(layout_hash(layout), readings)
    drawn = drawn_now(job, record, plan)
    accepted, drawn_too = options.accept, options.verniers
    keep_placement(record, layout, plan, placed, drawn, accepted=accepted, halves=drawn_too)
    halves = taken.halves if taken is not None else placed.inking.setup.pose
    more = {}
    if taken is not None or options.verniers:
        verniers = verniers_of(job, layout, plan)
        more = vernier_file(section, halves, verniers, plan.zone, job, correction)
    folder, allowed = options.job / OUTPUT / PLACED, _exit_code(placed, options) == 0
    paths, note = write_placed(folder, job, placed, correction, more, may_be_inked=allowed)
    if note is not None:
        say(f"note: {note}")
    report = _slips(placed, ground, section, record, job, layout, plan)
    scatters = _scatters(ground, record, layout, plan, job)
    if options.json:
        print_json(
            {
                **placement_record(placed, paths),
                "scatter": scatters,
                "slip": None if report is None else report.record,
            }
        )
        return _exit_code(placed, options)
    told = [] if scatters is None else [f"Note: {scatters}"]
    print_lines([*placement_lines(placed), *(() if report is None else report.lines), *told])
    for path in paths:
        say(f"wrote {path}")
    if paths and allowed:
        say(f'once it is inked: canvasrule place --job "{options.job}" --inked {section.id}')
    return _exit_code(placed, options)


def _scatters(ground: Ground, record: Record, layout: Layout, plan: Plan, job: Job) -> str | None:
    """What readings that scatter more than declared mean for the rest; None where they do not."""
    if ground.scatter is None:
        return None
    return scatter_line(ground.scatter, record, layout, plan, job)


def _slips(
    placed: Placement,
    ground: Ground,
    section: Section,
    record: Record,
    job: Job,
    layout: Layout,
    plan: Plan,
) -> SlipReport | None:
    """How far the readings check each other; None where they contradict each other already, or
    where there are none."""
    if placed.doubts or placed.move is not None or not placed.residuals:
        return None
    in_sight = [mark.id for mark in marks_in_reach(section, plan, layout, job, record)]
    setup = placed.inking.setup
    return slip_report(ground, section, setup.readings, in_sight, setup.kind)


def _exit_code(placed: Placement, options: argparse.Namespace) -> int:
    """0 where the section may be inked as it is; 1 where something is to be done first."""
    return 0 if _may_be_inked(placed.verdict, accepted=options.accept) else 1


def _may_be_inked(verdict: str, *, accepted: bool) -> bool:
    return verdict == "ink" or (accepted and verdict == "add a mark")


def _begun(
    options: argparse.Namespace,
    section: Section,
    readings: tuple[MarkReading, ...],
    record: Record,
    job: Job,
    layout: Layout,
    plan: Plan,
    correction: Correction | None,
) -> int:
    """Whether the device of a section that `drive` has begun still stands where it inked.

    It keeps and writes nothing: what is left of the section is for `drive` to ink.
    """
    if options.at_fence is not None:
        raise RefusedError(
            f"section {section.id} is begun, and no reading tells whether its device was moved. Go "
            "on with it by canvasrule drive, or give readings of its marks with --readings"
        )
    at = section, readings, plan, layout, job, record, correction
    stance = from_readings(*at, at_fence=not options.without_fence)
    if stance.placed is not None and stance.placed.doubts:
        if options.json:
            print_json(placement_record(stance.placed, []))
        else:
            print_lines(placement_lines(stance.placed))
        return 1
    said = still_there(section, readings, stance, record)
    if options.json:
        print_json(
            {"schema": 1, "section": section.id, "verdict": "ink", "advice": said, "begun": True}
        )
    else:
        print_lines([f"{section.id}: INK", f"  {said}"])
        say(f'go on with it: canvasrule drive --job "{options.job}" --section {section.id}')
    return 0


def _given(
    options: argparse.Namespace, plan: Plan, sections: Sequence[Section]
) -> tuple[Section, tuple[MarkReading, ...]]:
    """The section to place, and its readings: none where its fence alone holds it."""
    if options.at_fence is not None:
        return section_named(plan.sections, options.at_fence), ()
    return readings_given(options.readings, options.section, sections)


def _with_mends(record: Record, job: Job, layout: Layout, plan: Plan) -> Sequence[Section]:
    """The plan's sections, and those that some ink is laid anew in."""
    again = set_downs(record, layout, plan, job.pens).values()
    return [*plan.sections, *(section for several in again for section, _ in several)]


def _done(record: Record, layout: Layout, plan: Plan) -> frozenset[str]:
    """Ids of what is inked, mends too."""
    again = mends(record, layout, plan)
    mended = {mended_name(name, mend.id) for mend in again for name in mend.done}
    return done_sections(record, layout, plan) | mended


def _note_left_out(left_out: tuple[str, ...]) -> None:
    if left_out:
        say(
            f"note: {', '.join(left_out[:6])} inked under another layout or division, or placed by "
            "other means: nothing is joined to that ink"
        )


def _take_as_inked(
    options: argparse.Namespace, record: Record, job: Job, layout: Layout, plan: Plan
) -> int:
    sections = _with_mends(record, job, layout, plan)
    name, division = section_named(sections, options.inked).id, plan_hash(plan)
    if name in _done(record, layout, plan):
        raise BadInputError(f"section {name} is inked already, and was kept as inked")
    placements = record.placements(name)
    if not placements:
        raise RefusedError(f"section {name} was never placed; read its marks and place it first")
    last = placements[-1]
    if not belongs(last, layout_hash(layout), division):
        raise RefusedError(
            f"section {name} was placed under another layout or division; read its marks "
            "and place it"
        )
    verdict = last.detail["verdict"]
    accepted = options.accept or last.detail["accepted"] is True
    if not _may_be_inked(verdict, accepted=accepted):
        raise RefusedError(
            f"section {name} was not to be inked as it was last placed ({verdict}): "
            f"{last.detail['advice']}"
        )
    record.add_ink(layout, name, "begun", division)
    record.add_ink(layout, name, "done", division)
    if options.json:
        print_json({"schema": 1, "section": name, "inked": True})
    else:
        print_lines([f"{name} is kept as inked, as it was last placed"])
    return 0


def _adjust_all(
    options: argparse.Namespace, record: Record, job: Job, layout: Layout, plan: Plan
) -> int:
    stands, errors = standing_by(record, layout, plan, job)
    _note_left_out(stands.left_out)
    if not stands.setups:
        raise RefusedError("no section is inked yet, so there is nothing to adjust")
    steps = steps_on_the_cover(record, layout, plan, stands.begun)
    adjusted = adjust(stands.sights.targets.values(), stands.laid, stands.datum, errors, steps)
    sections = {section.id: section for section in plan.sections}
    inked = [replace(sections[section_of(one.section)], id=one.section) for one in stands.laid]
    if options.json:
        print_json(adjusted_record(adjusted, inked))
    else:
        print_lines(adjusted_lines(adjusted, inked))
    return 0
