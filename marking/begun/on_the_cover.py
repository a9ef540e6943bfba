"""What stands on the cover by the job's record: tape marks set out, sections inked.

It turns what was kept into a network, and a placement into what is kept. It knows the record and
the plan, no machine and no file. Table frame, millimetres.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct, field
from msgspec.structs import asdict, replace

from marking.begun.plain_data import from_plain, plain
from marking.errors import RefusedError
from marking.measures.tape import Tape, tape_reading
from marking.network.fence import Against
from marking.network.network import Reading, Setup
from marking.network.pose import PARAMETERS, Pose
from marking.network.steps import StepsTaken
from marking.placement.laid_ink import attributed, section_of, stances
from marking.record.kept import as_kept
from marking.record.record import layout_hash
from marking.tape_marks.marks import TapeRow, TapeRun, lettered, set_out, tape_datum
from marking.tape_marks.visible import Sights, sights

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.network.datum import Datum
    from marking.network.fence import Clamping
    from marking.placement.laid_ink import LaidInk
    from marking.placement.placement import Placement
    from marking.record.record import Record
    from marking.record.rows import KeptPlacement
    from marking.sections.plan import Plan
    from marking.tape_marks.marks import TapeMark, TapeMarks

_ROWS_OF_0_1 = "abdghijklmopqrstuvxy"
"""What version 0.1 called rows of tape marks: those names are written on the cover."""
_SAME_WINDOW = 0.01
"""mm that one cut's window may lie off another's and count as the same."""
DrawnWith = tuple[float, float, float]
"""A scale along and one across the table, less 1, and a skew."""
UNCORRECTED: DrawnWith = (0.0, 0.0, 0.0)
COVER = "cover"
"""The subject of what is kept of the cover itself."""


class OnTheCover(Struct, frozen=True):
    """What readings can be taken of, and what was inked by such readings before."""

    tape_marks: TapeMarks
    sights: Sights
    """Each tape mark with its own deviation by this tape, without what the datum adds."""
    laid: tuple[Setup, ...]
    """All ink, in the order it was placed: a section inked from several places has one for each,
    as `marking.placement.laid_ink` names them."""
    left_out: tuple[str, ...]
    """Sections inked under another layout or division, or placed otherwise than by
    `keep_placement`: nothing here is joined to them."""
    begun: Mapping[str, tuple[LaidInk, ...]] = field(default_factory=dict)
    """Where the device of each section begun stood, first to last."""
    fences: Mapping[str, Clamping] = field(default_factory=dict)
    """By section what its device is pushed against, where a fence was chosen with the marks."""
    mixed: Mapping[str, str] = field(default_factory=dict)
    """Marks of lines that may lie there twice since a device was moved, with their section: they
    cannot be read."""

    @property
    def setups(self) -> tuple[Setup, ...]:
        """Of each inked section the last, in inking order."""
        return tuple(setup for setup in self.laid if setup.section == section_of(setup.section))

    @property
    def datum(self) -> Datum:
        """What all tape marks share."""
        return tape_datum(self.tape_marks)


def plan_hash(plan: Plan) -> str:
    """SHA-256 of which sections there are, where to a hundredth of a mm, and turned or not."""
    lines = [
        f"{s.id} {np.round([*s.core, *s.window], 2).tolist()}{' turned' if s.turned else ''}"
        for s in plan.sections
    ]
    return hashlib.sha256("\n".join(lines).encode("ascii")).hexdigest()


def tape_marks_are_set_out(record: Record, layout: Layout) -> bool:
    """Whether tape marks were chosen for this layout."""
    named = layout_hash(layout)
    return any(check.layout == named for check in record.checks("control", COVER))


class Replaced(Struct, frozen=True):
    """Tape marks that another choice would take off the cover or set out otherwise, by id."""

    gone: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    """Those of them that were read."""
    inked: tuple[str, ...] = ()
    """Those of them that ink was placed by."""


def replaced(record: Record, layout: Layout, units: Units, tape_marks: TapeMarks) -> Replaced:
    """What keeping `tape_marks` would undo of the marks set out before; nothing where none were."""
    now = tape_marks_set_out(record, layout, units)
    if now is None:
        return Replaced()
    named = layout_hash(layout)
    stays = {one.mark.id: one for one in tape_marks.marks}
    gone = tuple(
        one.mark.id
        for one in now.marks
        if one.mark.id not in stays or not _alike(one, stays[one.mark.id])
    )
    read = {kept.mark for kept in record.readings() if kept.layout == named}
    inked = {
        str(mark)
        for placed in _inked_placements(record, named)
        for mark, *_ in _readings_of(placed)
    }
    return Replaced(
        gone,
        tuple(name for name in gone if name in read | inked),
        tuple(name for name in gone if name in inked),
    )


def _inked_placements(record: Record, named: str) -> list[KeptPlacement]:
    """The placements by which all ink was laid, for the layout named."""
    laid = [one.placement for several in stances(record).values() for one in several]
    return [placed for placed in laid if placed is not None and placed.layout == named]


def _readings_of(placed: KeptPlacement) -> Sequence[Sequence[Any]]:
    detail = placed.detail if isinstance(placed.detail, dict) else {}
    readings: Sequence[Sequence[Any]] = detail.get("readings", ())
    with as_kept(detail, "readings"):
        return [(mark, *rest) for mark, *rest in readings]


def _alike(one: TapeMark, other: TapeMark) -> bool:
    """Whether both are the same mark on the cover, found by the same reading."""
    apart = np.hypot(*np.subtract(one.mark.at_table, other.mark.at_table))
    return bool(apart < _SAME_WINDOW and abs(one.run.reading - other.run.reading) < _SAME_WINDOW)


def keep_tape_marks(
    record: Record,
    layout: Layout,
    plan: Plan,
    tape_marks: TapeMarks,
    fences: Mapping[str, Clamping] | None = None,
) -> None:
    """Keeps how the tape marks were set out, so that `standing` finds the same ones.

    `fences` is what each section's device is to be pushed against.
    """
    y0 = layout.grid.long_lines[0].y
    kept = {
        "spacing": tape_marks.spacing,
        "heights": [y0 + row.up.length for row in tape_marks.rows],
        "tape": asdict(tape_marks.tape),
        "plan": plan_hash(plan),
        "control": plain(tape_marks),
    }
    if fences:
        kept["fences"] = {name: plain(clamping) for name, clamping in fences.items()}
    last = record.checks("control", COVER)
    named = layout_hash(layout)
    if not last or (last[-1].layout, last[-1].result) != (named, kept):
        record.add_check(named, "control", COVER, kept)


def standing(
    record: Record,
    layout: Layout,
    plan: Plan,
    units: Units,
    drawn_with: DrawnWith = UNCORRECTED,
) -> OnTheCover:
    """What stands under `layout` cut as `plan`.

    `drawn_with` is what the plotter is corrected for now, in scale along and across the table and
    in skew: what each section was drawn for is counted from it. Raises RefusedError when no tape
    marks were set out.
    """
    result = _kept_tape_marks(record, layout, plan)
    tape_marks = _set_out(result, layout, units)
    marks = [mark.mark for mark in tape_marks.marks]
    seen = sights(plan, layout.grid, marks, read=dict(tape_marks.read))
    sds = {mark.mark.id: mark.sd for mark in tape_marks.marks}
    taped = {
        name: replace(target, sd=sds[name]) if name in sds else target
        for name, target in seen.targets.items()
    }
    begun = stances(record)
    setups, left_out = _inked(begun, layout, plan, drawn_with)
    targets, mixed = attributed(taped, plan.sections, begun)
    readable = {
        name: tuple(mark for mark in of_one if mark not in mixed)
        for name, of_one in seen.seen.items()
    }
    with as_kept(result, "tape marks"):
        fences = {name: from_plain(one) for name, one in result.get("fences", {}).items()}
    in_sight = Sights(seen.order, targets, readable)
    return OnTheCover(tape_marks, in_sight, setups, left_out, begun, fences, mixed)


def _kept_tape_marks(record: Record, layout: Layout, plan: Plan) -> Mapping[str, Any]:
    result = _last_tape_marks(record, layout)
    if result is None and record.checks("control", COVER):
        raise RefusedError(
            "the tape marks that are set out are for another layout: job.toml has changed "
            "since, or version 0.1 set them out and this version lays the job out otherwise. Put "
            "job.toml back as it was; or finish with that version, installed in an environment "
            "of its own; or run canvasrule control again, and take the earlier marks off the cover"
        )
    if result is None:
        raise RefusedError(
            "no tape marks are set out for this layout; run canvasrule control, and set them "
            "out before anything is placed by them"
        )
    if result["plan"] != plan_hash(plan):
        raise RefusedError(
            "the sections are cut otherwise than when the tape marks were chosen: the plotter, "
            "its profile or its measured correction has changed. Run canvasrule control again, "
            "or put the plotter back as it was"
        )
    return result


def tape_marks_set_out(record: Record, layout: Layout, units: Units) -> TapeMarks | None:
    """The tape marks set out for this layout, whatever it is cut for; None without any."""
    result = _last_tape_marks(record, layout)
    return None if result is None else _set_out(result, layout, units)


def readings_asked_for(
    record: Record, layout: Layout, plan: Plan, units: Units
) -> Mapping[str, tuple[str, ...]]:
    """By section of `plan`, the marks it is to read; empty where each reads all in its sight."""
    result = _last_tape_marks(record, layout)
    if result is None or result["plan"] != plan_hash(plan):
        return {}
    return dict(_set_out(result, layout, units).read)


def _last_tape_marks(record: Record, layout: Layout) -> Mapping[str, Any] | None:
    named = layout_hash(layout)
    kept = [check for check in record.checks("control", COVER) if check.layout == named]
    return kept[-1].result if kept else None


def _set_out(result: Mapping[str, Any], layout: Layout, units: Units) -> TapeMarks:
    with as_kept(result, "tape marks"):
        if "control" in result:
            kept: TapeMarks = from_plain(result["control"])
            return kept
        # Version 0.1 kept only what they come from.
        tape, heights = Tape(**result["tape"]), result["heights"]
        y0 = layout.grid.long_lines[0].y
        named = [
            TapeRow(lettered(place, _ROWS_OF_0_1), TapeRun(y - y0, tape_reading(y - y0, tape)))
            for place, y in enumerate(heights)
        ]
        spacing = float(result["spacing"])
        return set_out(layout, spacing, tape, units, heights=heights, named=named)


def _inked(
    begun: Mapping[str, Sequence[LaidInk]], layout: Layout, plan: Plan, drawn_with: DrawnWith
) -> tuple[tuple[Setup, ...], tuple[str, ...]]:
    named, division = layout_hash(layout), plan_hash(plan)
    setups: list[tuple[int, Setup]] = []
    left_out = []
    for several in begun.values():
        for one in several:
            if one.placement is None or not belongs(one.placement, named, division):
                left_out.append(one.name)
            else:
                setup = replace(setup_from(one.placement, drawn_with), section=one.name)
                setups.append((one.placement.id, setup))
    # What a placement read was inked by then, so it was placed before.
    return tuple(setup for _, setup in sorted(setups, key=lambda pair: pair[0])), tuple(left_out)


def belongs(placed: KeptPlacement, layout: str, division: str) -> bool:
    """Whether a placement was kept by `keep_placement`, for this layout and this division."""
    detail = placed.detail if isinstance(placed.detail, dict) else {}
    return placed.layout == layout and detail.get("plan") == division


def keep_placement(
    record: Record,
    layout: Layout,
    plan: Plan,
    placed: Placement,
    drawn_with: DrawnWith = UNCORRECTED,
    *,
    accepted: bool,
    halves: bool = False,
) -> None:
    """Keeps a placement with all that the network needs of it once it is inked.

    `drawn_with` is what the plotter is corrected for besides, as `standing` has it; `accepted`
    says that a person takes it although its errors may show, `halves` that its halves of verniers
    are drawn for this pose too.
    """
    setup, taken = placed.inking.setup, placed.inking.taken
    if halves and taken is None:
        taken = StepsTaken((), setup.pose)
    detail = {
        "plan": plan_hash(plan),
        "verdict": placed.verdict,
        "advice": placed.advice,
        "accepted": accepted,
        "weight": placed.way.weight,
        "error": placed.inking.error,
        "step": placed.inking.step,
        **setup_record(setup, drawn_with, taken),
    }
    record.add_placement(
        layout_hash(layout),
        placed.section.id,
        placed.pose.as_data(),
        placed.covariance.tolist(),
        detail,
    )


def pose_from(kept: Mapping[str, Any]) -> Pose:
    """The pose kept as plain data."""
    with as_kept(kept, "where a device stood"):
        return Pose(
            np.array(kept["matrix"], dtype=float).reshape(2, 2),
            np.array(kept["shift"], dtype=float).reshape(2),
            np.array(kept["about"], dtype=float).reshape(2),
        )


def setup_record(
    setup: Setup, drawn_with: DrawnWith = UNCORRECTED, taken: StepsTaken | None = None
) -> dict[str, Any]:
    """What a placement's detail tells of the pose to ink with and the readings that gave it.

    `taken` is what verniers told of it before its ink, and what its halves were drawn for.
    """
    kept = {
        "kind": setup.kind,
        "inked_with": setup.pose.as_data(),
        "readings": [[r.mark, *map(float, r.at), r.sd] for r in setup.readings],
        "drawn_for": np.add(setup.drawn_for, drawn_with).tolist(),
    }
    if taken is not None:
        kept["halves"] = taken.halves.as_data()
        kept["steps"] = [asdict(step) for step in taken.steps]
    if setup.against is not None:
        clamping, window = setup.against.clamping, setup.against.window
        kept["against"] = {"clamping": plain(clamping), "window": list(window)}
    return kept


def setup_from(placed: KeptPlacement, drawn_with: DrawnWith = UNCORRECTED) -> Setup:
    """The section as `setup_record` kept it, counted from what the plotter is corrected for now.

    One kept before sections were drawn for more than that was drawn for it alone. Raises
    BadInputError when it was kept otherwise.
    """
    detail = placed.detail
    with as_kept(detail, "a setup"):
        readings = tuple(
            Reading(str(mark), (float(x), float(y)), float(sd))
            for mark, x, y, sd in detail["readings"]
        )
        kind = detail["kind"]
        if kind not in PARAMETERS:
            raise ValueError(f"kind {kind!r}")
        pose = pose_from(detail["inked_with"])
        along, across, skew = np.subtract(detail.get("drawn_for", drawn_with), drawn_with).tolist()
        against = None
        if "against" in detail:
            x0, y0, x1, y1 = map(float, detail["against"]["window"])
            against = Against(from_plain(detail["against"]["clamping"]), (x0, y0, x1, y1))
        return Setup(placed.section, pose, readings, kind, (along, across, skew), against)
