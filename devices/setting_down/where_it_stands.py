"""Where the device stands for a section: from readings, or as planned, with what is said of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct, field
from msgspec.structs import replace

from devices.history import check_kept
from devices.plotter.bed import bed_of
from devices.plotter.known_errors import drawn_with, with_plotter
from devices.setting_down.driven_before import carried_to_table, driven_before
from devices.setting_down.pointer_known import (
    pointer_offset,
    pointers_kept,
    with_pointer_found,
)
from marking.begun.inked import done_sections
from marking.begun.on_the_cover import standing, tape_marks_are_set_out
from marking.begun.steps_kept import steps_on_the_cover
from marking.errors import BadInputError, RefusedError
from marking.mending.marks_around import as_known
from marking.mending.mend import crossings_around, mends, spoilt_marks
from marking.network.allowed_errors import allowed_around, allowed_of
from marking.network.datum import EXACT
from marking.network.error_model import error_model_of
from marking.network.fence import Against
from marking.network.pose import Pose, as_planned
from marking.network.scatter import scatter
from marking.placement.compromise import FOLLOW
from marking.placement.laid_ink import attributed, butts_as_laid, set_apart, stances
from marking.placement.placement import network_for, place
from marking.placement.recut import carried
from marking.sections.mended import section_mended
from marking.sections.neighbours import butts, window_middle
from marking.tape_marks.visible import sights

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.job import Job
    from devices.plotter.correction import Correction
    from devices.plotter.known_errors import PlotterFigures
    from marking.begun.on_the_cover import OnTheCover
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.fence import Clamping
    from marking.network.network import KnownMark, Network, Reading, Setup
    from marking.network.pose import PoseKind
    from marking.network.scatter import Scatter
    from marking.network.steps import StepRead, StepsTaken
    from marking.placement.laid_ink import LaidInk
    from marking.placement.placement import Placement
    from marking.record.readings import MarkReading
    from marking.record.record import Record
    from marking.sections.locating_marks import Mark
    from marking.sections.neighbours import Butt
    from marking.sections.plan import Plan, Section


class Stance(Struct, frozen=True):
    """A section as the device must draw it where it stands."""

    section: Section
    pose: Pose
    allowed: bool
    """Whether the verdict is to ink."""
    advice: str
    placed: Placement | None = None
    """What the readings gave, where any were taken."""
    by_tape_marks: bool = False
    """Whether it is by tape marks, and so what the verb `place` builds on."""
    ground: Ground | None = None
    """What it was placed by."""
    begun_as: str | None = None
    """The name, in the network that `placed` leaves, of the ink laid from where it stood before."""

    @property
    def fits(self) -> bool:
        """Whether the section fits the bed here; when it does not, no reason helps."""
        return self.placed is None or self.placed.move is None


def as_set_down(section: Section, *, allowed: bool, advice: str) -> Stance:
    """The device taken to stand exactly where it should."""
    return Stance(section, as_planned(window_middle(section)), allowed, advice)


def at_pose(section: Section, pose: Pose) -> Stance:
    """The device that still stands at the pose it inked with before."""
    return Stance(carried(section, pose), pose, True, "it stands where it stood")


def from_readings(
    section: Section,
    readings: Sequence[MarkReading],
    plan: Plan,
    layout: Layout,
    job: Job,
    record: Record,
    correction: Correction | None,
    *,
    at_fence: bool = True,
) -> Stance:
    """The placement by `readings`, weighed with all earlier ones.

    Where tape marks are set out, it is the very one that the verb `place` would make. A
    section begun already is placed by what others inked and by the tape; its own ink stands
    beside, under the name that the stance gives. Raises RefusedError or BadInputError when the
    readings cannot tell where the device stands. Without `at_fence` it is placed by the readings
    alone, and so is what they would show of a slip.
    """
    mended = section_mended(section.id) is not None
    by_tape_marks = tape_marks_are_set_out(record, layout) and not mended
    ground = ground_of(section, plan, layout, job, record, correction, at_fence=at_fence)
    placement = placed_on(ground, section, readings, job, correction)
    pose = placement.inking.setup.pose
    fits = placement.move is None
    return Stance(
        carried(section, pose) if fits else section,
        pose,
        placement.verdict == "ink",
        placement.advice,
        placement,
        by_tape_marks,
        ground,
        ground.own,
    )


class Ground(Struct, frozen=True):
    """What is known round one section before it is placed."""

    network: Network
    joints: tuple[Butt, ...]
    own: str | None
    """The section's own last ink in the network, where it is begun."""
    mixed: Mapping[str, str]
    """Marks of lines that may lie there twice since a device was moved, with their section."""
    against: Against | None = None
    """The fence that the section's device is pushed against, where there is one."""
    scatter: Scatter | None = None
    """Where the readings so far scatter more than declared: how much."""
    spoilt: Mapping[str, str] = field(default_factory=dict)
    """Marks of lines that are to be inked anew, with their mend."""
    pointer: tuple[float, float] = (0.0, 0.0)
    """What is added to every reading, since what reads stands beside the pen: mm, device's axes."""


def errors_of(job: Job, record: Record, plan: Plan) -> ErrorModel:
    """The errors that placements by this job's plotter reckon with."""
    errors, turned = error_model_of(job.fence), plan.zone.turned
    told = with_plotter(errors, job.plotter, check_kept(record, job), turned=turned)
    pointers = pointers_kept(record, job.plotter)
    return replace(told, pointer=pointers[-1].doubt) if pointers else told


def standing_by(
    record: Record, layout: Layout, plan: Plan, job: Job
) -> tuple[OnTheCover, ErrorModel]:
    """What stands where tape marks are set out, and the errors to reckon with. Raises
    RefusedError."""
    stands = standing(record, layout, plan, job.units, drawn_now(job, record, plan))
    if stands.fences and job.fence is None:
        way = job.ways.way
        why = (
            "job.toml has no [fence] now" if way is None else f'ways.way = "{way}" goes without it'
        )
        raise RefusedError(
            f"the tape marks that are set out are for a fence, and {why}, so nobody knows how "
            "straight it is and how exactly a device comes to lie against it. Put it back as it "
            "was, or run canvasrule control again, for marks without one"
        )
    laid = with_pointer_found(stands.laid, stands.begun, record, job.plotter, plan)
    return replace(stands, laid=laid), errors_of(job, record, plan)


def drawn_now(job: Job, record: Record, plan: Plan) -> PlotterFigures:
    """What every section is drawn for by the plotter's kept correction."""
    check = check_kept(record, job)
    correction = None if check is None else check.applied
    return drawn_with(job.plotter, correction, turned=plan.zone.turned)


def by_tape_marks(section: Section, record: Record, layout: Layout, plan: Plan, job: Job) -> Ground:
    """What is known round `section`, where tape marks are set out. Raises RefusedError."""
    stands, errors = standing_by(record, layout, plan, job)
    targets = tuple(stands.sights.targets.values())
    steps = steps_on_the_cover(record, layout, plan, stands.begun)
    found = scatter(targets, stands.laid, stands.datum, errors, steps)
    laid = stands.laid if found is None else found.applied(stands.laid, errors.cloth)
    ground = _ground(
        section,
        plan,
        targets,
        laid,
        stands.begun,
        stands.mixed,
        errors,
        stands.datum,
        stands.fences.get(section.id),
        steps,
    )
    return replace(ground, scatter=found)


def placed_on(
    ground: Ground,
    section: Section,
    readings: Sequence[MarkReading],
    job: Job,
    correction: Correction | None,
    *,
    kind: PoseKind = "rigid",
    weight: float | None = None,
    steps: StepsTaken | None = None,
) -> Placement:
    """The placement of `section` by `readings`, and by the `steps` taken at its joins.

    Raises RefusedError and BadInputError.
    """
    for reading in readings:
        if reading.mark in ground.spoilt:
            raise BadInputError(
                f"mark {reading.mark}: a line of it is to be inked anew "
                f"({ground.spoilt[reading.mark]}), so it tells no place before that is done; leave "
                "it out, and read another mark"
            )
        if reading.mark in ground.mixed:
            raise BadInputError(
                f"mark {reading.mark}: a line of it may lie there twice, inked by "
                f"{ground.mixed[reading.mark]} before its device was moved and again after that, "
                "so it tells no place; leave it out, and read another mark"
            )
    bed = bed_of(section, job.plotter, correction)
    off = ground.pointer
    under_pen = [(r.mark, (r.at_bed[0] + off[0], r.at_bed[1] + off[1]), r.sd) for r in readings]
    declared = carried_to_table(bed, under_pen)
    return _placed(ground, section, declared, job, bed.origin_table, kind, weight, steps)


def met_by_steps(
    stance: Stance, steps: StepsTaken, job: Job, correction: Correction | None
) -> Stance:
    """`stance` by the same readings, and by the `steps` that its halves of verniers show.

    Of one that readings placed. Raises RefusedError.
    """
    before, ground = stance.placed, stance.ground
    if before is None or ground is None:
        raise ValueError("without readings there is no doubt to weigh steps against")
    setup, section = before.inking.setup, before.section
    origin = bed_of(section, job.plotter, correction).origin_table
    placed = _placed(ground, section, setup.readings, job, origin, setup.kind, None, steps)
    pose = placed.inking.setup.pose
    fits = placed.move is None
    return replace(
        stance,
        section=carried(section, pose) if fits else section,
        pose=pose,
        allowed=placed.verdict == "ink",
        advice=placed.advice,
        placed=placed,
    )


def _placed(
    ground: Ground,
    section: Section,
    declared: Sequence[Reading],
    job: Job,
    origin: tuple[float, float],
    kind: PoseKind,
    weight: float | None,
    steps: StepsTaken | None,
) -> Placement:
    taken = declared
    if ground.scatter is not None:
        # What the same hand takes now is worth no more than before.
        taken = ground.scatter.taken(declared, ground.network.errors.cloth)
    limits = allowed_of(job)
    if section_mended(section.id) is not None:
        limits = allowed_around(limits)
    placement = place(
        ground.network,
        section,
        taken,
        ground.joints,
        limits,
        kind=kind,
        weight=weight,
        follow=FOLLOW,
        bed_origin=origin,
        against=ground.against,
        taken=steps,
    )
    # What is kept is what was declared: how readings scatter is told anew from all of them.
    setup = replace(placement.inking.setup, readings=tuple(declared))
    return replace(placement, inking=replace(placement.inking, setup=setup))


def ground_of(
    section: Section,
    plan: Plan,
    layout: Layout,
    job: Job,
    record: Record,
    correction: Correction | None,
    *,
    at_fence: bool = True,
) -> Ground:
    """What is known round `section`: from tape marks where they are set out.

    Round a section that is mended, the ink that lies there as it lies. Without `at_fence` no fence
    counts that was chosen for it.
    """
    if section_mended(section.id) is not None:
        around = _by_marks_around(section, plan, layout, job, record)
        return replace(around, pointer=pointer_offset(record, job.plotter))
    if tape_marks_are_set_out(record, layout):
        ground = by_tape_marks(section, record, layout, plan, job)
    else:
        ground = _by_locating_marks(section, plan, layout, job, record, correction)
    known = [target.mark for target in ground.network.targets.values()]
    return replace(
        ground,
        spoilt=spoilt_marks(record, layout, plan, known),
        against=ground.against if at_fence else None,
        pointer=pointer_offset(record, job.plotter),
    )


def _ground(
    section: Section,
    plan: Plan,
    targets: Sequence[KnownMark],
    setups: Sequence[Setup],
    begun: Mapping[str, Sequence[LaidInk]],
    mixed: Mapping[str, str],
    errors: ErrorModel,
    datum: Datum = EXACT,
    clamping: Clamping | None = None,
    steps: Sequence[StepRead] = (),
) -> Ground:
    """The network near `section`, its own ink set apart from what is still to be inked."""
    others = {name: several for name, several in begun.items() if name != section.id}
    joints = butts_as_laid(butts(plan.sections), plan.sections, others)
    own = None
    if section.id in begun:
        targets, setups, own = set_apart(section.id, targets, setups, begun[section.id])
        steps = [step.renamed(section.id, own) for step in steps]
    against = None if clamping is None else Against(clamping, section.window)
    network = network_for(
        section,
        targets,
        setups,
        joints,
        datum,
        mixed,
        errors=errors,
        against=against,
        steps=steps,
    )
    return Ground(network, joints, own if own in network.setups else None, mixed, against)


def _by_marks_around(
    section: Section, plan: Plan, layout: Layout, job: Job, record: Record
) -> Ground:
    """The crossings around ink that is laid anew, which is to lie true to them and to no tape."""
    kept = mends(record, layout, plan)
    around = crossings_around(record, layout, plan, section, kept)
    targets = as_known(around, allowed_of(job).step)
    # They lie by no tape; what the device errs by, it errs by here too.
    errors = errors_of(job, record, plan).without_rows
    return Ground(network_for(section, targets, (), (), errors=errors), (), None, {})


def marks_in_sight(
    section: Section, plan: Plan, layout: Layout, units: Units, record: Record
) -> tuple[Mark, ...]:
    """The marks to bring the pen onto: those that the section is asked to read.

    All that it reaches where no few are asked for, or where one of them is not inked yet.
    """
    if section_mended(section.id) is not None:
        return section.locating_marks
    if not tape_marks_are_set_out(record, layout):
        of_tape = sights(plan, layout.grid, ()).targets
        _, mixed = attributed(of_tape, plan.sections, stances(record))
        spoilt = spoilt_marks(record, layout, plan, section.locating_marks)
        bad = {*mixed, *spoilt}
        return tuple(mark for mark in section.locating_marks if mark.id not in bad)
    seen = standing(record, layout, plan, units).sights
    asked = seen.seen[section.id]
    done = done_sections(record, layout, plan)
    marks = [seen.targets[mark].mark for mark in asked]
    spoilt = spoilt_marks(record, layout, plan, marks)
    if spoilt or any(by not in done for mark in asked for by, _ in seen.targets[mark].inkers):
        return marks_in_reach(section, plan, layout, units, record)
    return tuple(marks)


def marks_in_reach(
    section: Section, plan: Plan, layout: Layout, units: Units, record: Record
) -> tuple[Mark, ...]:
    """All the marks that the section's device can be brought onto, those to read among them."""
    if section_mended(section.id) is not None:
        return section.locating_marks
    stands = standing(record, layout, plan, units)
    taped = [mark.mark for mark in stands.tape_marks.marks]
    seen = sights(plan, layout.grid, taped).seen[section.id]
    marks = [stands.sights.targets[name].mark for name in seen if name not in stands.mixed]
    spoilt = spoilt_marks(record, layout, plan, marks)
    return tuple(mark for mark in marks if mark.id not in spoilt)


def still_to_ink(section: Section, plan: Plan, layout: Layout, record: Record) -> dict[str, str]:
    """Locating marks of `section` that no ink shows yet, each with the section that will."""
    if section_mended(section.id) is not None:
        return {}
    done = done_sections(record, layout, plan)
    targets = sights(plan, layout.grid, ()).targets
    inkers = {mark.id: targets[mark.id].inked_by for mark in section.locating_marks}
    return {mark: by for mark, by in inkers.items() if by is not None and by not in done}


def _by_locating_marks(
    section: Section,
    plan: Plan,
    layout: Layout,
    job: Job,
    record: Record,
    correction: Correction | None,
) -> Ground:
    """What is known round `section` from the placements of the sections driven before."""
    sections = {other.id for other in plan.sections}
    begun = {name: several for name, several in stances(record).items() if name in sections}
    targets, mixed = attributed(sights(plan, layout.grid, ()).targets, plan.sections, begun)
    drawn = drawn_now(job, record, plan)
    corners, placed = driven_before(begun, targets, plan, job.plotter, record, correction, drawn)
    in_order = with_pointer_found(placed, begun, record, job.plotter, plan)
    # No row of marks is set out: what stands by tape are corners of beds.
    errors = errors_of(job, record, plan).without_rows
    known_marks = [*targets.values(), *corners]
    steps = steps_on_the_cover(record, layout, plan, begun)
    return _ground(section, plan, known_marks, in_order, begun, mixed, errors, steps=steps)
