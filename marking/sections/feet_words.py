"""What a person is told of a device's feet before setting it down: boards, waits, weight.

It knows where the feet stand, and puts it into words and plain data. Lengths rounded as a hand
needs them, boards upwards.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from marking.measures.counts import counted
from marking.measures.durations import format_duration
from marking.measures.lengths import INCH, rough_length
from marking.sections.footing import TWO_PEOPLE_KG
from marking.sections.under_the_feet import EDGES, standings

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from marking.job.keys import MarkingJob
    from marking.job.work_keys import InkingTable
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.sections.footing import Footing
    from marking.sections.plan import Plan
    from marking.sections.under_the_feet import EdgeName, FootInAir, UnderTheFeet, WetInk

_BOARD = (
    "A board of the table's height, cover and padding counted, carries each: fast to the table or "
    "on legs of its own, and tried with the hand's weight before the device is on it. "
)
_UNKNOWN = (
    "Its profile does not say where its feet stand (`feet`, `beyond_x`, `beyond_y`), so nothing is "
    "told of them: see to it that none stands on ink younger than {drying}, nor over the table's "
    "edge without a board under it."
)


def feet_lines(plan: Plan, layout: Layout, job: MarkingJob) -> Iterator[str]:
    """What to see to before each set-down, as Markdown; nothing for what has no feet."""
    footing = plan.zone.footing
    if footing is None:
        return
    yield "## Under its feet"
    yield ""
    if footing.takes_two:
        yield f"- {two_people(footing)}"
    if not footing.feet:
        yield f"- {_UNKNOWN.format(drying=format_duration(job.inking.drying))}"
        yield ""
        return
    stood = standings(plan.zone, plan.sections, layout, job)
    waits = [one for one in stood.values() if one.wet is not None]
    if not waits:
        yield (
            f"- No foot comes to stand on ink younger than {format_duration(job.inking.drying)} "
            "(inking.drying), if the sections are inked in this order."
        )
    for one in waits:
        yield f"- {one.section}: {wait_said(one.wet, job.inking)}."
    yield from _boards(stood, job.units)
    if job.fence is not None:
        yield from _fence_lines(plan, footing, layout, job)
    yield ""


def _fence_lines(plan: Plan, footing: Footing, layout: Layout, job: MarkingJob) -> Iterator[str]:
    """Where the fence lies that the frame's near side is pushed against: clear of every foot, and
    over which edge or ink."""
    out = max(footing.foot / 2 - y for _, y in footing.feet)
    rows = {section.row: section.window for section in plan.sections}
    near = layout.top.inscribed[1]
    places = {row: (window[1] + window[3]) / 2 - out for row, window in rows.items()}
    yield (
        f"- The fence lies at least {rough_length(out, job.units)} towards the near edge from the "
        "middle of a row's reach: at the outer side of the feet there, so that none stands on it."
    )
    for row, y in places.items():
        if y < near:
            yield (
                f"- Row {row}: that is {_board_length(near - y, job.units)} beyond the near edge. "
                "Clamp the fence to boards of the table's height that reach as far."
            )
        elif row > 1:
            yield (
                f"- Row {row}: the fence lies on ink of the rows before it. Clamp it when that has "
                f"dried for {format_duration(job.inking.drying)}."
            )


def two_people(footing: Footing) -> str:
    """That two people set it down."""
    return (
        f"The device weighs {footing.weight:g} kg: two people set it down and lift it, with "
        "their backs straight and a word before each lift. (From memory, one alone should not "
        f"handle more than about {TWO_PEOPLE_KG:g} kg; local rules come first, and may ask for two "
        "sooner.)"
    )


def wait_said(wet: WetInk | None, inking: InkingTable) -> str:
    """How long the device is held back for wet ink; empty for none."""
    if wet is None:
        return ""
    return (
        f"wait until {wet.section} has dried for {format_duration(inking.drying)} before you "
        f"set the device down (up to {_told(wet.wait)} more, if it is moved at once): a foot "
        "comes to stand on its ink"
    )


def wait_cell(wet: WetInk | None, inking: InkingTable) -> str:
    """The same, short enough for a table."""
    if wet is None:
        return ""
    return f"{format_duration(inking.drying)} after {wet.section}"


def _told(seconds: float) -> str:
    """Never less than it takes: whole ten seconds, or whole minutes."""
    step = 10 if seconds <= 90 else 60
    return format_duration(math.ceil(seconds / step) * step)


def board_said(foot: FootInAir, units: Units) -> str:
    """Where one foot needs a board."""
    over = " and ".join(
        f"the {edge} (board {_board_length(out, units)} out)" for edge, out in foot.beyond
    )
    along, across = foot.at_table
    edges = {edge for edge, _ in foot.beyond}
    where = []
    if edges & {"near edge", "far edge"}:
        where.append(_signed(along, units, "along", "before the zero corner"))
    if edges & {"zero end", "far end"}:
        where.append(_signed(across, units, "across", "short of the near edge"))
    return f"foot {foot.number} stands over {over}; its middle {', '.join(where)}"


def _signed(place: float, units: Units, way: str, before: str) -> str:
    told = rough_length(abs(place), units)
    return f"{told} {way}" if place >= 0 else f"{told} {before}"


def _board_length(length: float, units: Units) -> str:
    """Upwards, to half an inch or a centimetre."""
    step = float(INCH) / 2 if units == "in" else 10.0
    return rough_length(math.ceil(length / step - 1e-6) * step, units)


def _boards(stood: Mapping[str, UnderTheFeet], units: Units) -> Iterator[str]:
    """The boards along each edge, then every foot that stands on one."""
    in_air = [(one.section, foot) for one in stood.values() for foot in one.in_air]
    if not in_air:
        yield "- Every foot stands whole on the table."
        return
    yield f"- {counted(len(in_air), 'time')} a foot stands over the table's edge. {_BOARD}"
    for edge in EDGES:
        yield from _board_along(edge, [foot for _, foot in in_air], units)
    yield ""
    yield (
        "Feet are numbered as the profile gives them; one in each corner, from the corner where "
        "the device's own X and Y are least, first along its X and so round."
    )
    yield ""
    yield "| set down for | what needs a board |"
    yield "|---|---|"
    for section, foot in in_air:
        yield f"| {section} | {board_said(foot, units)} |"


def _board_along(edge: EdgeName, feet: list[FootInAir], units: Units) -> Iterator[str]:
    """How long and how wide a board along one edge carries all that stands beyond it."""
    over = [(foot, out) for foot in feet for name, out in foot.beyond if name == edge]
    if not over:
        return
    way = 0 if edge in ("near edge", "far edge") else 1
    low = min(foot.box[way] for foot, _ in over)
    high = max(foot.box[way + 2] for foot, _ in over)
    before = "before the zero corner" if way == 0 else "short of the near edge"
    start = _signed(low, units, "along" if way == 0 else "across", before)
    yield (
        f"- Along the {edge}: from {start} to {rough_length(high, units)}, reaching "
        f"{_board_length(max(out for _, out in over), units)} out. One such board, or a short one "
        "moved along with the device."
    )


def standing_record(standing: UnderTheFeet | None) -> Mapping[str, Any]:
    """For programs: `feet_in_air` and `wait`, which is None where nothing is waited for."""
    if standing is None:
        return {"feet_in_air": [], "wait": None}
    wet = standing.wet
    return {
        "feet_in_air": [
            {
                "foot": foot.number,
                "at": list(foot.at_table),
                "box": list(foot.box),
                "beyond_mm": dict(foot.beyond),
            }
            for foot in standing.in_air
        ],
        "wait": None if wet is None else {"for": wet.section, "seconds": wet.wait},
    }
