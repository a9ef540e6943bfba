"""Steps read off verniers at joins, as the record keeps them, and as the ink that lies tells them.

Those read before a section's ink are kept with the placement that they improved; those read when
both sections were inked, by themselves. It knows the record, and no vernier's lines.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec.structs import asdict

from marking.begun.on_the_cover import COVER, plan_hash, pose_from
from marking.network.steps import StepRead
from marking.record.kept import as_kept
from marking.record.record import layout_hash

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.layout.layout import Layout
    from marking.network.pose import Pose
    from marking.placement.laid_ink import LaidInk
    from marking.record.record import Record
    from marking.record.rows import KeptPlacement
    from marking.sections.plan import Plan


def keep_steps(record: Record, layout: Layout, plan: Plan, steps: Sequence[StepRead]) -> None:
    """Keeps what the halves of two inked sections show."""
    kept = {"plan": plan_hash(plan), "steps": [asdict(step) for step in steps]}
    record.add_check(layout_hash(layout), "steps", COVER, kept)


def read_after_ink(record: Record, layout: Layout, plan: Plan) -> tuple[StepRead, ...]:
    """What `keep_steps` kept for this layout and division, as the halves show it.

    Of several readings of one vernier the last.
    """
    named, division = layout_hash(layout), plan_hash(plan)
    found: dict[str, StepRead] = {}
    for check in record.checks("steps", COVER):
        if check.layout == named and check.result["plan"] == division:
            found |= {step.id: step for step in steps_from(check.result["steps"])}
    return tuple(found.values())


def steps_on_the_cover(
    record: Record, layout: Layout, plan: Plan, begun: Mapping[str, Sequence[LaidInk]]
) -> tuple[StepRead, ...]:
    """Every step that was read, as the ink shows it, under the names of the places it lies by.

    `begun` is where the device of each section begun stood. One whose halves nobody can tell the
    place of is left out.
    """
    before: dict[str, StepRead] = {}
    for several in begun.values():
        detail = _detail(several[-1].placement)
        before |= {step.id: step for step in steps_from(detail.get("steps", ()))}
    after = {step.id: step for step in read_after_ink(record, layout, plan)}
    found = []
    for step in (before | after).values():
        laid = [_drew(begun.get(section, ()), step.id) for section in step.sections]
        if None not in laid:
            found.append(as_ink_shows(step, [one.placement for one in laid if one is not None]))
    return tuple(found)


def _drew(several: Sequence[LaidInk], vernier: str) -> LaidInk | None:
    """The place that a section's half was drawn from: where it stood last, as that name tells."""
    if len(several) < 2:
        return several[0] if several else None
    drawn = [
        one for one in several if any(f"_{vernier}_" in name for name in one.strokes or frozenset())
    ]
    last = several[-1]
    return last if drawn in ([], [last]) else None


def as_ink_shows(step: StepRead, placed: Iterable[KeptPlacement | None]) -> StepRead:
    """`step`, read off halves, as the ink of its sections shows it, by their placements."""
    for section, placement in zip(step.sections, placed, strict=True):
        detail = _detail(placement)
        if "halves" in detail and "inked_with" in detail:
            halves, inked = pose_from(detail["halves"]), pose_from(detail["inked_with"])
            step = step.as_inked(section, halves, inked)
    return step


def halves_of(placed: KeptPlacement | None) -> Pose | None:
    """What a section's halves were drawn for, where that is another pose than its ink's."""
    detail = _detail(placed)
    return pose_from(detail["halves"]) if "halves" in detail else None


def _detail(placed: KeptPlacement | None) -> Mapping[str, Any]:
    return placed.detail if placed is not None and isinstance(placed.detail, dict) else {}


def steps_from(kept: Iterable[Mapping[str, Any]]) -> tuple[StepRead, ...]:
    """Steps from plain data. Raises BadInputError for anything else."""
    with as_kept(kept, "steps read"):
        return tuple(
            StepRead(
                str(one["id"]),
                (str(one["sections"][0]), str(one["sections"][1])),
                1 if one["axis"] else 0,
                (float(one["at"][0]), float(one["at"][1])),
                float(one["step"]),
                float(one["sd"]),
            )
            for one in kept
        )
