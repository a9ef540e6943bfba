"""What verniers over joins show, as a person reads it: given in a file, and as the network has it.

It knows verniers, the record and the network, no person and no pen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct

from devices.setting_down.where_it_stands import standing_by
from marking.begun.inked import done_sections
from marking.begun.on_the_cover import belongs, plan_hash
from marking.begun.steps_kept import (
    as_ink_shows,
    halves_of,
    keep_steps,
    read_after_ink,
    steps_on_the_cover,
)
from marking.errors import RefusedError
from marking.measures.counts import counted
from marking.network.adjustment import adjust
from marking.network.steps import StepRead, StepsTaken, expected, misread
from marking.placement.laid_ink import stances
from marking.proof.distortion import distortion_of
from marking.proof.measured import read_steps
from marking.proof.verniers import READING_SD, verniers_over
from marking.record.record import layout_hash

if TYPE_CHECKING:
    from collections.abc import Container, Mapping, Sequence
    from pathlib import Path

    from devices.job import Job
    from marking.job.keys import PensTable
    from marking.layout.layout import Layout
    from marking.network.steps import ExpectedStep
    from marking.proof.verniers import JoinStep, JoinVernier
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section

_ALONG = ("along", "across")


def verniers_of(pens: PensTable, layout: Layout, plan: Plan) -> tuple[JoinVernier, ...]:
    """The verniers over the joins of a division, as every verb names them."""
    return verniers_over(plan, distortion_of(layout, plan), pens.removable.width)


def closing(
    section: Section, verniers: Sequence[JoinVernier], inked: Container[str]
) -> tuple[JoinVernier, ...]:
    """The verniers that are whole once `section` has drawn its halves."""
    return tuple(
        one
        for one in verniers
        if section.id in one.sections
        and all(name == section.id or name in inked for name in one.sections)
    )


def as_steps(verniers: Sequence[JoinVernier], shown: Mapping[str, float]) -> tuple[StepRead, ...]:
    """What was read of `verniers`, in mm by id, as the network takes it."""
    return tuple(
        StepRead(one.id, one.sections, one.axis, one.at, shown[one.id], READING_SD)
        for one in verniers
        if one.id in shown
    )


def steps_before_ink(
    path: Path, section: Section, record: Record, pens: PensTable, layout: Layout, plan: Plan
) -> StepsTaken:
    """What `section`'s own halves showed, drawn where it was placed last, and no ink yet.

    Raises RefusedError where they were not drawn for that, or a vernier is not whole.
    """
    verniers = verniers_of(pens, layout, plan)
    shown = read_steps(path, verniers)
    placed = record.placements(section.id)
    halves = None
    if placed and belongs(placed[-1], layout_hash(layout), plan_hash(plan)):
        halves = halves_of(placed[-1])
    if halves is None:
        raise RefusedError(
            f"section {section.id}: no halves of verniers were drawn for where it stands, so "
            "nobody knows what the steps are counted from. Place it with --verniers, plot the "
            "file of its halves, and give what they show with the same readings"
        )
    whole = closing(section, verniers, done_sections(record, layout, plan))
    ids = [one.id for one in whole]
    if strange := [name for name in shown if name not in ids]:
        raise RefusedError(
            f"section {section.id}: {', '.join(strange)}: not whole once its halves are drawn; "
            f"those that are: {', '.join(ids) or 'none, since nothing beside it is inked'}"
        )
    return StepsTaken(as_steps(whole, shown), halves)


class StepsReport(Struct, frozen=True):
    """Steps read between inked sections, and what each should have come to before."""

    steps: tuple[StepRead, ...]
    told: tuple[ExpectedStep, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """Each step with its join, and what it is good for."""
        rows = (
            f"{step.id:<5} {'-'.join(step.sections)} {_ALONG[step.axis]}: {step.step:+.2f} mm "
            f"(expected {one.step:+.2f}, to {1.96 * one.sd:.2f})"
            for step, one in zip(self.steps, self.told, strict=True)
        )
        return (
            f"{counted(len(self.steps), 'step')} kept: every section placed from now on counts "
            "with them, and prove takes them unless they are read again",
            *rows,
        )

    @property
    def record(self) -> dict[str, Any]:
        """`place --steps --json`."""
        rows = [
            {
                "id": step.id,
                "sections": list(step.sections),
                "axis": _ALONG[step.axis],
                "step_mm": step.step,
                "expected_mm": one.step,
                "doubt_mm": 1.96 * one.sd,
            }
            for step, one in zip(self.steps, self.told, strict=True)
        ]
        return {"schema": 1, "steps": rows}


def steps_after_ink(
    path: Path, record: Record, job: Job, layout: Layout, plan: Plan
) -> StepsReport:
    """Keeps what verniers between inked sections show, held against all else that is known.

    Raises RefusedError, keeping nothing, where one is not whole or all else speaks against it.
    """
    verniers = verniers_of(job.pens, layout, plan)
    shown = read_steps(path, verniers)
    done = done_sections(record, layout, plan)
    for one in verniers:
        open_ = [name for name in one.sections if name not in done]
        if one.id in shown and open_:
            raise RefusedError(
                f"{path}: {one.id} lies over the join {one.join}, and {' and '.join(open_)} is not "
                "inked yet. What is read before its ink is given with its readings: place "
                "--readings FILE --steps FILE"
            )
    stands, errors = standing_by(record, layout, plan, job)
    if left := {n for s in as_steps(verniers, shown) for n in s.sections} & set(stands.left_out):
        raise RefusedError(
            f"{path}: {', '.join(sorted(left))} was placed otherwise than by tape marks, so its "
            "ink ties nothing"
        )
    taken = as_steps(verniers, shown)
    last = {name: several[-1].placement for name, several in stands.begun.items()}
    shows = [as_ink_shows(step, [last.get(n) for n in step.sections]) for step in taken]
    known = [s for s in steps_on_the_cover(record, layout, plan, stands.begun) if s.id not in shown]
    targets = stands.sights.targets.values()
    network = adjust(targets, stands.laid, stands.datum, errors, known).network
    wrong = misread(network, shows)
    if wrong is not None:
        others = f" or {' or '.join(wrong.rivals)}" if wrong.rivals else ""
        raise RefusedError(
            f"{path}: {wrong.step.id}{others} is wrong, or something has moved: "
            f"{wrong.step.id} says {wrong.step.step:+.2f} mm and all else "
            f"{wrong.expected.step:+.2f}, to {1.96 * wrong.expected.sd:.2f}. Look on which side of "
            "the long lines they meet. Where it reads so again, leave it out here, since it would "
            "pull the rest with it, and give it to prove; nothing was kept"
        )
    keep_steps(record, layout, plan, taken)
    return StepsReport(tuple(shows), tuple(expected(network, step) for step in shows))


def steps_for_proof(
    shown: Mapping[str, float],
    asked: Sequence[JoinStep],
    record: Record,
    layout: Layout,
    plan: Plan,
) -> tuple[dict[str, float], tuple[str, ...]]:
    """What the ink shows at the joins `asked` for, in mm by id, with distances as they were.

    Of those not `shown`, what was read after the ink and kept; their ids come last. Halves drawn
    for another pose than their section's ink are counted back to it.
    """
    names = {one.id: one for one in asked}
    kept = {
        step.id: step.step
        for step in read_after_ink(record, layout, plan)
        if step.id in names and step.sections == names[step.id].sections
    }
    taken = tuple(name for name in kept if name not in shown)
    last = {name: several[-1].placement for name, several in stances(record).items()}
    found = {**shown, **{name: kept[name] for name in taken}}
    for one in asked:
        if one.id in found:
            step = StepRead(one.id, one.sections, one.axis, one.at, found[one.id], READING_SD)
            found[one.id] = as_ink_shows(step, [last.get(n) for n in one.sections]).step
    return found, taken
