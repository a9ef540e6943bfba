"""Where the device stands for a section: from readings, or as planned, with what is said of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.bed import bed_of
from marking.butts import butts, window_middle
from marking.limits import Limits
from marking.network import Reading, Setup, Target, ink, known
from marking.placement import network_for, place
from marking.pose import Pose, as_planned
from marking.recut import carried
from marking.sights import sights
from marking.standing import control_is_set_out, pose_from, setup_from, standing
from marking.witness import Mark

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.bed import Bed
    from devices.correction import Correction
    from devices.job import Job
    from marking.layout import Layout
    from marking.network import Network
    from marking.placement import Placement
    from marking.readings import MarkReading
    from marking.record import KeptPlacement, Record
    from marking.sections import Plan, Section


@dataclass(frozen=True)
class Stance:
    """A section as the device must draw it where it stands."""

    section: Section
    pose: Pose
    allowed: bool
    """Whether the verdict is to ink."""
    advice: str
    placed: Placement | None = None
    """What the readings gave, where any were taken."""
    by_control: bool = False
    """Whether it is by control marks, and so what the verb `place` builds on."""

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
) -> Stance:
    """The placement by `readings`, weighed with all earlier ones.

    Where control marks are set out, it is the very one that the verb `place` would make. Raises
    RefusedError or BadInputError when they cannot tell where the device stands.
    """
    bed = bed_of(section, job.plotter, correction)
    taken = _carried_to_table(bed, [(r.mark, r.at_bed, r.sd) for r in readings])
    by_control = control_is_set_out(record, layout)
    known_so_far = (
        _by_control(section, record, layout, plan, job)
        if by_control
        else _network(section, plan, layout, job, record, correction)
    )
    placement = place(
        known_so_far,
        section,
        taken,
        butts(plan.sections),
        Limits(job.tolerance),
        bed_origin=bed.origin_table,
    )
    pose = placement.inking.setup.pose
    fits = placement.move is None
    return Stance(
        carried(section, pose) if fits else section,
        pose,
        placement.verdict == "ink",
        placement.advice,
        placement,
        by_control,
    )


def _by_control(section: Section, record: Record, layout: Layout, plan: Plan, job: Job) -> Network:
    """What is known of the marks near `section`, where control marks are set out."""
    stands = standing(record, layout, plan, job.units)
    targets = tuple(stands.sights.targets.values())
    return network_for(section, targets, stands.setups, butts(plan.sections), stands.datum)


def marks_in_sight(
    section: Section, plan: Plan, layout: Layout, job: Job, record: Record
) -> tuple[Mark, ...]:
    """The marks to bring the pen onto: witness marks, and control marks where they are set out."""
    if not control_is_set_out(record, layout):
        return section.witness
    seen = standing(record, layout, plan, job.units).sights
    return tuple(seen.targets[name].mark for name in seen.seen[section.id])


def still_to_ink(section: Section, plan: Plan, layout: Layout, record: Record) -> dict[str, str]:
    """Witness marks of `section` that no ink shows yet, each with the section that will."""
    done = {kept.section for kept in record.ink() if kept.event == "done"}
    targets = sights(plan, layout.grid, ()).targets
    inkers = {mark.id: targets[mark.id].inked_by for mark in section.witness}
    return {mark: by for mark, by in inkers.items() if by is not None and by not in done}


def _carried_to_table(
    bed: Bed, readings: Sequence[tuple[str, tuple[float, float], float]]
) -> tuple[Reading, ...]:
    """Readings as mark, bed point and deviation, to table points as if it stood as planned."""
    at_table = bed.table_of([at_bed for _, at_bed, _ in readings]).tolist()
    return tuple(
        Reading(mark, (x, y), sd) for (mark, _, sd), (x, y) in zip(readings, at_table, strict=True)
    )


def _network(
    section: Section,
    plan: Plan,
    layout: Layout,
    job: Job,
    record: Record,
    correction: Correction | None,
) -> Network:
    """What is known of the marks, from the placements of the sections inked before."""
    sections = {other.id: other for other in plan.sections if other.id != section.id}
    lasts = {run.section: run for run in record.runs() if run.section in sections}
    placed = {
        name: [one for one in record.placements(name) if one.at <= run.at][-1]
        for name, run in lasts.items()
    }
    taped = {
        name: _set_down_by_tape(sections[name], job)
        for name in lasts
        if not placed[name].covariance
    }
    targets = [*sights(plan, layout.grid, ()).targets.values()]
    targets += [target for pairs in taped.values() for target, _ in pairs]
    state = known(targets)
    for name, kept in placed.items():
        if name in taped:
            corners = tuple(reading for _, reading in taped[name])
            state = ink(state, Setup(name, pose_from(kept.pose), corners))
        elif "readings" in kept.detail:
            state = ink(state, setup_from(kept))
        else:
            bed = bed_of(sections[name], job.plotter, correction)
            state = ink(state, Setup(name, pose_from(kept.pose), _read_for(kept, record, bed)))
    return state


def _read_for(kept: KeptPlacement, record: Record, bed: Bed) -> tuple[Reading, ...]:
    """The readings of a placement in an older record, which does not name them."""
    latest = {one.mark: one for one in record.readings(kept.section) if one.at <= kept.at}
    return _carried_to_table(bed, [(mark, r.at_bed, r.sd) for mark, r in latest.items()])


def _set_down_by_tape(section: Section, job: Job) -> list[tuple[Target, Reading]]:
    """A device set down by tape alone, as if two corners of its bed had been read."""
    x0, y0, x1, y1 = section.window
    pairs = []
    for end, corner in (("a", (x0, y0)), ("b", (x1, y1))):
        mark = Mark(f"{section.id}-corner-{end}", corner, "control")
        pairs.append((Target(mark), Reading(mark.id, corner, max(job.plotter.set_down, 0.5))))
    return pairs
