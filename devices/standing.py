"""Where the device stands for a section: from readings, or as planned, with what is said of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from devices.bed import bed_at
from marking.butts import butts, window_middle
from marking.limits import Limits
from marking.network import Network, Reading, Setup, Target, ink, known
from marking.placement import network_for, place
from marking.pose import Pose, as_planned
from marking.recut import carried
from marking.sights import sights
from marking.standing import control_is_set_out, standing
from marking.witness import Mark

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.bed import Bed
    from devices.correction import Correction
    from devices.job import Job
    from marking.layout import Layout
    from marking.placement import Placement
    from marking.readings import MarkReading
    from marking.record import Record
    from marking.sections import Plan, Section
    from marking.standing import Standing as OnCover


@dataclass(frozen=True)
class Standing:
    """A section as the device must draw it where it stands."""

    section: Section
    pose: Pose
    covariance: list[list[float]]
    allowed: bool
    """Whether the verdict is to ink."""
    advice: str
    placed: Placement | None = None
    """The placement by control marks, where those are set out."""


def as_set_down(section: Section) -> Standing:
    """The device taken to stand exactly where it should."""
    pose = as_planned(window_middle(section))
    advice = "no marks were read: it is taken to stand exactly where planned"
    return Standing(section, pose, [], True, advice)


def from_readings(
    section: Section,
    readings: Sequence[MarkReading],
    plan: Plan,
    layout: Layout,
    job: Job,
    record: Record,
    correction: Correction | None,
) -> Standing:
    """The placement by `readings`, weighed with all earlier ones.

    Where control marks are set out, it is the very one that the verb `place` would make. Raises
    RefusedError or BadInputError when they cannot tell where the device stands.
    """
    bed = bed_at(job.plotter, section.window, correction)
    taken = _carried_to_table(bed, [(r.mark, r.at_bed, r.sd) for r in readings])
    by_control = control_is_set_out(record, layout)
    known_so_far = (
        _by_control(section, plan, standing(record, layout, plan, job.units))
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
    return Standing(
        carried(section, pose) if fits else section,
        pose,
        placement.covariance.tolist(),
        placement.verdict == "ink",
        placement.advice,
        placement if by_control else None,
    )


def _by_control(section: Section, plan: Plan, stands: OnCover) -> Network:
    """What is known of the marks near `section`, where control marks are set out."""
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


def at_pose(section: Section, pose: Pose) -> Section:
    """`section` as the device that stands at `pose` must draw it."""
    return carried(section, pose)


def pose_record(pose: Pose) -> dict[str, Any]:
    """A pose as plain data."""
    return {
        "matrix": pose.matrix.tolist(),
        "shift": pose.shift.tolist(),
        "about": pose.about.tolist(),
    }


def pose_from(record: Mapping[str, Any]) -> Pose:
    """The pose kept as plain data."""
    return Pose(*(np.array(record[name]) for name in ("matrix", "shift", "about")))


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
    begun = list(dict.fromkeys(run.section for run in record.runs() if run.section in sections))
    taped = {
        name: _set_down_by_tape(sections[name], job)
        for name in begun
        if not record.placements(name)[-1].covariance
    }
    targets = [*sights(plan, layout.grid, ()).targets.values()]
    targets += [target for pairs in taped.values() for target, _ in pairs]
    state = known(targets)
    for name in begun:
        kept = record.placements(name)
        if name in taped:
            corners = tuple(reading for _, reading in taped[name])
            state = ink(state, Setup(name, pose_from(kept[-1].pose), corners))
            continue
        readings = [r for r in record.readings(name) if r.at <= kept[-1].at]
        latest = {reading.mark: reading for reading in readings}
        bed = bed_at(job.plotter, sections[name].window, correction)
        taken = _carried_to_table(bed, [(mark, r.at_bed, r.sd) for mark, r in latest.items()])
        state = ink(state, Setup(name, pose_from(kept[-1].pose), taken))
    return state


def _set_down_by_tape(section: Section, job: Job) -> list[tuple[Target, Reading]]:
    """A device set down by tape alone, as if two corners of its bed had been read."""
    x0, y0, x1, y1 = section.window
    pairs = []
    for end, corner in (("a", (x0, y0)), ("b", (x1, y1))):
        mark = Mark(f"{section.id}-corner-{end}", corner, "control")
        pairs.append((Target(mark), Reading(mark.id, corner, max(job.plotter.set_down, 0.5))))
    return pairs
