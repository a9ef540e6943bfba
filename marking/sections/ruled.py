"""Cross lines that a device inks at their ends alone: where the stubs end, what is ruled between.

The device inks the two hem bands; a line that crosses from one to the other is left to be ruled by
hand from stub to stub. It knows strokes and bands, no rule and no person. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.measures.lengths import format_length
from marking.sections.cutting import cut

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout, Stroke
    from marking.measures.lengths import Units
    from marking.sections.zones import Zone

LEAST_STUB = 50.8
"""mm of line that a rule can be laid along: our judgement, no source."""
_BEYOND = 1 / 4
"""Pitches that a stub reaches beyond its band's inner line, so that its end stands on bare cloth
and half ticks lie beside it whole."""
_LEAST_RULED = 50.8
"""mm between two stubs under which the device might as well ink the line whole."""
End = tuple[str, float, float]
"""The id of a laid-out stroke, and a point of it in the table frame."""


class RuledLine(Struct, frozen=True):
    """The part of a laid-out line that is ruled by hand, from one stub's end to the other's."""

    stroke: Stroke
    """Its points (2, 2) lead from the near stub to the far one."""
    of: str
    """Id of the laid-out stroke that it is part of."""
    sections: tuple[str, str]
    """Those that ink the near and the far stub."""

    @property
    def id(self) -> str:
        """Its name among the ruled lines."""
        return self.stroke.id

    @property
    def points(self) -> FloatArray:
        """(2, 2), table frame, mm."""
        return self.stroke.points

    @property
    def heavy(self) -> bool:
        """Whether it is one of the lines drawn heavier."""
        return self.stroke.pen == "heavy"


def bare_middle(layout: Layout, job: MarkingJob, zone: Zone) -> tuple[float, float] | None:
    """From where to where across the table `zone` inks nothing; None where it inks all of it.

    An arm inks all of it: whoever reaches in draws along a rule as it is. Half ticks lie beside
    the stubs; bias lines are ruled as cross lines are. Raises RefusedError where lines would be
    left without ink or stubs.
    """
    if job.inking.cross_lines != "ruled" or zone.manner.along_a_rule:
        return None
    if zone.feed is not None:
        raise RefusedError(
            'inking.cross_lines = "ruled": loose canvas goes through this plotter, which inks '
            "cross lines whole as it goes, and a line ruled before the cover is stretched bends "
            'with the cloth; use cross_lines = "device", or a plotter that stands on the cover'
        )
    if job.grid.long_lines == "full":
        raise RefusedError(
            'inking.cross_lines = "ruled": with grid.long_lines = "full" long lines run through '
            "the middle, where no device would come and no stubs stand; use "
            'long_lines = "bands", or cross_lines = "device"'
        )
    if job.grid.lines or job.grid.centre_line:
        raise RefusedError(
            'inking.cross_lines = "ruled": grid.lines and grid.centre_line run through the middle, '
            'where no device would come; leave them out, or use cross_lines = "device"'
        )
    if job.table.against_wall:
        raise RefusedError(
            'inking.cross_lines = "ruled": lines are ruled from stub to stub, and nobody comes to '
            "the far ones of a table against a wall; pull it off the wall and take "
            'table.against_wall away, or use cross_lines = "device"'
        )
    lines = layout.grid.long_lines
    near = [line.y for line in lines if line.side == "near"]
    far = [line.y for line in lines if line.side == "far"]
    beyond = _BEYOND * layout.grid.pitch[1]
    low = max(max(near) + beyond, min(near) + LEAST_STUB)
    high = min(min(far) - beyond, max(far) - LEAST_STUB)
    return (low, high) if high - low >= _LEAST_RULED else None


def ruled_lines(
    layout: Layout, middle: tuple[float, float], inked_by: Mapping[End, str], units: Units
) -> tuple[RuledLine, ...]:
    """What is to be ruled of each line that crosses the middle, in the layout's order.

    `inked_by` names the section of each end of a piece of a stroke. Raises RefusedError for a
    line that has no stub at one end.
    """
    found = []
    for stroke in layout.strokes:
        for points in _between(stroke.points, middle):
            ends = points[np.argsort(points[[0, -1], 1], kind="stable")[[0, 1]] * (len(points) - 1)]
            names = [inked_by.get((stroke.id, x, y)) for x, y in ends.tolist()]
            near, far = names
            if near is None or far is None:
                raise RefusedError(_no_stub(stroke, ends[0 if near is None else 1], units))
            line = replace(stroke, id=f"ruled_{stroke.id}", points=ends)
            found.append(RuledLine(line, stroke.id, (near, far)))
    return tuple(found)


def _between(points: FloatArray, middle: tuple[float, float]) -> Iterator[FloatArray]:
    return (part for (_, band), part in cut(points, (), middle) if band == 1)


def _no_stub(stroke: Stroke, end: FloatArray, units: Units) -> str:
    along, across = (format_length(float(value), units) for value in end)
    return (
        f'inking.cross_lines = "ruled": {stroke.id} ends between the hem bands, {along} along and '
        f"{across} across, where no stub stands to lay the rule to. Leave it out (grid.bias), let "
        'it start where it reaches the far band, or use cross_lines = "device"'
    )


def inked_strokes(layout: Layout, ruled: Sequence[RuledLine]) -> list[Stroke]:
    """The layout's strokes as the device inks them: of lines that are ruled, the stubs alone."""
    by_stroke = {line.of: line for line in ruled}
    strokes = []
    for stroke in layout.strokes:
        line = by_stroke.get(stroke.id)
        strokes += [stroke] if line is None else _stubs(stroke, line)
    return strokes


def _stubs(stroke: Stroke, line: RuledLine) -> list[Stroke]:
    ends = stroke.points[np.argsort(stroke.points[:, 1], kind="stable")]
    return [
        replace(stroke, id=f"{stroke.id}_{side}", points=np.array([end, stop]))
        for side, end, stop in (("near", ends[0], line.points[0]), ("far", ends[1], line.points[1]))
    ]
