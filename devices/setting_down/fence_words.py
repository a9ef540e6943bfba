"""Where a fence is clamped and what a device is pushed against there: in words.

It knows clampings, sections and a plotter's frame, no person and no record.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from devices.plotter.profile import Plotter
    from marking.measures.lengths import Units
    from marking.network.fence import Clamping
    from marking.sections.plan import Section

_SIDES = {"x": 0, "y": 1}
CAUTION = (
    "Look along the fence that it is straight; set its clamps where no foot and no hand comes, and "
    "try it by hand before a device leans on it"
)


def clamping_lines(
    sections: Sequence[Section],
    fences: Mapping[str, Clamping],
    at: Mapping[str, tuple[float, float]],
    plotter: Plotter,
    units: Units,
) -> Iterator[str]:
    """One line for each clamping, in the order of work, and what to mind at each.

    `at` is where tape marks stand.
    """
    said: set[str] = set()
    for section in sections:
        clamping = fences.get(section.id)
        if clamping is not None and clamping.name not in said:
            said.add(clamping.name)
            yield clamped_where(section, clamping, at, plotter, units)
    if said:
        yield CAUTION


def at_fence(
    section: Section,
    sections: Sequence[Section],
    fences: Mapping[str, Clamping],
    at: Mapping[str, tuple[float, float]],
    plotter: Plotter,
    units: Units,
) -> Iterator[str]:
    """Where the fence goes, at the first of `sections` at a clamping, and the device against it.

    Nothing for a section without a fence.
    """
    clamping = fences.get(section.id)
    if clamping is None:
        return
    if section.id == next(one.id for one in sections if fences.get(one.id) == clamping):
        yield clamped_where(section, clamping, at, plotter, units)
        yield CAUTION
    yield pushed_against(section, clamping, plotter, units)


def clamped_where(
    section: Section,
    clamping: Clamping,
    at: Mapping[str, tuple[float, float]],
    plotter: Plotter,
    units: Units,
) -> str:
    """Where the rail goes for the row of `section`, by its marks or the table's own edge."""
    _, face = _outer_corner(section, plotter)
    zero_end = clamping.x0 - _beyond(section, plotter, 0)
    if clamping.set_to is None:
        place = f"its face {format_length(face, units)} across from the near edge, all along"
    else:
        first, last = clamping.set_to
        below = [format_length(at[mark][1] - face, units) for mark in clamping.set_to]
        place = (
            f"its face {below[0]} nearer the near edge than mark {first} and {below[1]} nearer "
            f"than mark {last}"
        )
    if face < 0:
        out = format_length(-face, units)
        place += f" ({out} beyond the near edge, on boards of the table's height)"
    along = "its zero end"
    if clamping.set_to is None:
        along += f" {format_length(zero_end, units)} along from the zero end"
    else:
        apart = at[clamping.set_to[0]][0] - zero_end
        nearer = "nearer the zero end" if apart >= 0 else "further along"
        along += f" {format_length(abs(apart), units)} {nearer} than mark {clamping.set_to[0]}"
    return f"Fence {clamping.name}, from {section.id} on: clamp it with {place}, {along}"


def fence_record(section: Section, clamping: Clamping, plotter: Plotter) -> dict[str, Any]:
    """Where the rail lies for the row of `section`, its face and zero end in mm on the table."""
    return {
        "name": clamping.name,
        "stopped": clamping.stopped,
        "face": _outer_corner(section, plotter)[1],
        "zero_end": clamping.x0 - _beyond(section, plotter, 0),
    }


def pushed_against(section: Section, clamping: Clamping, plotter: Plotter, units: Units) -> str:
    """How the device is set down there."""
    if not clamping.stopped:
        return (
            f"{section.id}: push the device against fence {clamping.name} at both its ends, about "
            "where it is planned; a mark tells where along"
        )
    corner, _ = _outer_corner(section, plotter)
    stop = corner - (clamping.x0 - _beyond(section, plotter, 0))
    return (
        f"{section.id}: set the stop {format_length(stop, units)} from the zero end of fence "
        f"{clamping.name}, and push the device against the fence at both its ends and against "
        "the stop"
    )


def _outer_corner(section: Section, plotter: Plotter) -> tuple[float, float]:
    """x and y of the frame's outer sides towards the zero end and the near edge, mm."""
    x0, y0 = section.window[:2]
    return x0 - _beyond(section, plotter, 0), y0 - _beyond(section, plotter, 1)


def _beyond(section: Section, plotter: Plotter, side: int) -> float:
    """mm that the frame stands out beyond its reach towards the zero end, 0, or near edge, 1."""
    axes = plotter.standing(turned=section.turned).axes
    for axis, beyond in zip(axes, (plotter.beyond_x, plotter.beyond_y), strict=True):
        if _SIDES[axis[1]] == side:
            return beyond[0] if axis[0] == "+" else beyond[1]
    return 0.0
