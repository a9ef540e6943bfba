"""Where the device stands for a section: from readings, or as planned, with what is said of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from devices.bed import bed_at
from marking.butts import butts, window_middle
from marking.limits import Limits
from marking.network import Network, Reading, Setup, Target, ink, known
from marking.placement import place
from marking.pose import Pose, as_planned
from marking.recut import carried
from marking.sights import sights
from marking.witness import Mark

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.job import Job
    from marking.layout import Layout
    from marking.readings import MarkReading
    from marking.record import Record
    from marking.sections import Plan, Section


@dataclass(frozen=True)
class Standing:
    """A section as the device must draw it where it stands."""

    section: Section
    pose: Pose
    covariance: list[list[float]]
    allowed: bool
    """Whether the verdict is to ink."""
    advice: str


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
) -> Standing:
    """The placement by `readings`, weighed with all earlier ones.

    Raises RefusedError or BadInputError when they cannot tell where the device stands.
    """
    taken = _carried_to_table(section, readings, job)
    placement = place(
        _network(section, plan, layout, job, record),
        section,
        taken,
        butts(plan.sections),
        Limits(job.tolerance),
        bed_origin=bed_at(job.plotter, section.window).origin_table,
    )
    pose = placement.inking.setup.pose
    fits = placement.move is None
    return Standing(
        carried(section, pose) if fits else section,
        pose,
        placement.covariance.tolist(),
        placement.verdict == "ink",
        placement.advice,
    )


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
    section: Section, readings: Sequence[MarkReading], job: Job
) -> tuple[Reading, ...]:
    bed = bed_at(job.plotter, section.window)
    return tuple(
        Reading(
            reading.mark,
            tuple((np.array(reading.at_bed) @ bed.to_bed + bed.origin_table).tolist()),
            reading.sd,
        )
        for reading in readings
    )


def _network(section: Section, plan: Plan, layout: Layout, job: Job, record: Record) -> Network:
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
    network = known(targets)
    for name in begun:
        kept = record.placements(name)
        if name in taped:
            corners = tuple(reading for _, reading in taped[name])
            network = ink(network, Setup(name, pose_from(kept[-1].pose), corners))
            continue
        readings = [r for r in record.readings(name) if r.at <= kept[-1].at]
        latest = {reading.mark: reading for reading in readings}
        bed = bed_at(job.plotter, sections[name].window)
        taken = tuple(
            Reading(
                mark, tuple((np.array(r.at_bed) @ bed.to_bed + bed.origin_table).tolist()), r.sd
            )
            for mark, r in latest.items()
        )
        network = ink(network, Setup(name, pose_from(kept[-1].pose), taken))
    return network


def _set_down_by_tape(section: Section, job: Job) -> list[tuple[Target, Reading]]:
    """A device set down by tape alone, as if two corners of its bed had been read."""
    x0, y0, x1, y1 = section.window
    pairs = []
    for end, corner in (("a", (x0, y0)), ("b", (x1, y1))):
        mark = Mark(f"{section.id}-corner-{end}", corner, "control")
        pairs.append((Target(mark), Reading(mark.id, corner, max(job.plotter.set_down, 0.5))))
    return pairs
