"""A placement, and the adjustment of all of them, in words and as JSON for `place`."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from marking.measures.counts import counted
from marking.network.confidence import radius_95
from marking.network.inked import ink_error
from marking.sections.neighbours import outermost_ink

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from marking.network.adjustment import Adjusted, Closure
    from marking.placement.placement import Placement
    from marking.sections.plan import Section

_SHOWN = 6


def placement_lines(placed: Placement) -> Iterator[str]:
    """The verdict first, then where the device stands and how the readings agree."""
    yield f"{placed.section.id}: {placed.verdict.upper()}"
    yield f"  {placed.advice}"
    yield ""
    if placed.verdict == "read again":
        # A pose that a doubted reading has a part in says nothing, nor does any figure made of it.
        yield from _mark_lines(placed)
        return
    yield from _pose_lines(placed)
    yield from _mark_lines(placed)
    if placed.verdict != "move the device":
        yield from _error_lines(placed)


def _pose_lines(placed: Placement) -> Iterator[str]:
    pose = placed.pose
    x, y = pose.shift.tolist()
    sds = np.sqrt(np.diag(placed.covariance)).tolist()
    yield (
        f"Stands {abs(x):.2f} mm towards the {'far' if x >= 0 else 'zero'} end and "
        f"{abs(y):.2f} mm towards the {'far' if y >= 0 else 'near'} edge of its place, turned "
        f"{math.degrees(pose.turn):+.3f} degrees"
    )
    yield (
        f"  one standard deviation: {sds[0]:.2f} mm along, {sds[1]:.2f} mm across, "
        f"{math.degrees(sds[2]):.3f} degrees"
    )
    if len(sds) > 3:
        yield f"  scale {pose.scale - 1:+.3%}, give or take {1.96 * sds[3]:.3%}"


def _mark_lines(placed: Placement) -> Iterator[str]:
    yield "mark      off along  off across  off the others"
    for one in placed.residuals:
        others = "unchecked" if math.isnan(one.off_others) else f"{one.off_others:.2f} mm"
        yield f"{one.mark:<8} {one.misfit[0]:+9.2f} {one.misfit[1]:+11.2f}  {others:>14}"


def _error_lines(placed: Placement) -> Iterator[str]:
    inking, way = placed.inking, placed.way
    x, y = inking.worst_at
    yield f"95 % error at the worst inked point ({x:.0f}, {y:.0f} mm): {inking.error:.2f} mm"
    for join in inking.joins:
        yield (
            f"95 % step at the join to {join.beside}: {join.error:.2f} mm (expected "
            f"{join.expected[0]:+.2f} along, {join.expected[1]:+.2f} across)"
        )
    if len(placed.ways) > 1:
        table, join_way = placed.ways[0], placed.ways[-1]
        yield (
            f"To be inked with weight {way.weight:.2f}: error {way.error:.2f} mm, "
            f"step {way.step:.2f} mm"
        )
        yield (
            f"  true to the table (0): error {table.error:.2f} mm, step {table.step:.2f} mm; "
            f"meeting the join (1): error {join_way.error:.2f} mm, step {join_way.step:.2f} mm"
        )


def placement_record(placed: Placement, paths: Sequence[Path]) -> dict[str, Any]:
    """`place --readings --json`."""
    inking = placed.inking
    return {
        "schema": 1,
        "section": placed.section.id,
        "verdict": placed.verdict,
        "advice": placed.advice,
        "pose": {**placed.pose.as_data(), "turn": placed.pose.turn, "scale": placed.pose.scale},
        "covariance": placed.covariance.tolist(),
        "inked_with": inking.setup.pose.as_data(),
        "residuals": [
            {
                "mark": one.mark,
                "misfit": list(one.misfit),
                "off_others": _number(one.off_others),
                "in_sds": _number(one.in_sds),
            }
            for one in placed.residuals
        ],
        "doubts": [
            {"fault": doubt.fault, "marks": list(doubt.marks), "message": doubt.message}
            for doubt in placed.doubts
        ],
        "worst": {"at": list(inking.worst_at), "error": inking.error},
        "seams": [
            {
                "beside": join.beside,
                "at": list(join.at_table),
                "expected": list(join.expected),
                "error": join.error,
            }
            for join in inking.joins
        ],
        "weight": placed.way.weight,
        "ways": [
            {"weight": way.weight, "error": way.error, "step": way.step} for way in placed.ways
        ],
        "file": paths[0].as_posix() if paths else None,
        "files": [path.as_posix() for path in paths],
    }


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value


def adjusted_lines(adjusted: Adjusted, inked: Sequence[Section]) -> Iterator[str]:
    """Where every inked section lies, and how all readings close."""
    yield "section   off at its worst point  give or take (95 %)"
    for section in inked:
        off, doubt = _off(adjusted, section)
        yield f"{section.id:<10}{off:>17.2f} mm{doubt:>18.2f} mm"
    checked = sorted(_checked(adjusted), key=lambda closure: -closure.in_sds)
    if not checked:
        yield "Nothing is read twice over, so nothing closes and nothing is checked."
        return
    low, high = adjusted.limits
    factor = adjusted.variance_factor
    fits = (
        "better than assumed: all is well, the readings are finer than they were taken to be"
        if factor < low
        else "as it should be"
        if factor <= high
        else "worse than it should be: something has moved, or is misread, or was set out wrongly"
    )
    yield (
        f"All readings together: variance factor {adjusted.variance_factor:.2f}, {fits} "
        f"({low:.2f} to {high:.2f} in 95 of 100 jobs, {counted(adjusted.degrees, 'check')})"
    )
    for closure in checked[:_SHOWN]:
        by = closure.section or "the tape"
        off = float(np.hypot(*closure.misclosure))
        yield f"  {closure.mark} by {by}: {off:.2f} mm, {closure.in_sds:.1f} standard deviations"


def adjusted_record(adjusted: Adjusted, inked: Sequence[Section]) -> dict[str, Any]:
    """`place --all --json`."""
    sections = []
    for section in inked:
        off, doubt = _off(adjusted, section)
        block = adjusted.network.places[section.id]
        sections.append(
            {
                "id": section.id,
                "off": off,
                "doubt": doubt,
                "change": adjusted.network.mean[block].tolist(),
                "covariance": adjusted.network.spread_of(np.r_[block]).tolist(),
            }
        )
    return {
        "schema": 1,
        "sections": sections,
        "variance_factor": _number(adjusted.variance_factor),
        "limits": [_number(limit) for limit in adjusted.limits],
        "degrees": adjusted.degrees,
        "closures": [
            {
                "mark": closure.mark,
                "section": closure.section,
                "misclosure": closure.misclosure.tolist(),
                "in_sds": closure.in_sds,
            }
            for closure in _checked(adjusted)
        ],
    }


def _checked(adjusted: Adjusted) -> list[Closure]:
    return [closure for closure in adjusted.closures if not math.isnan(closure.in_sds)]


def _off(adjusted: Adjusted, section: Section) -> tuple[float, float]:
    """How far the section's ink lies from true where it is worst, and the 95 % radius there."""
    mean, spread = ink_error(adjusted.network, section.id, outermost_ink(section))
    off = np.hypot(mean[:, 0], mean[:, 1])
    worst = int(off.argmax())
    return float(off[worst]), float(radius_95(spread)[worst])
