"""Verniers over the joins: one half drawn by each of two sections, their step read off the pair.

A join has three: near both its ends one that tells how far the sections lie apart over the join,
which also tells how they are turned, and between them one that tells the step along it. The
section before the join draws the main scale, the one after it the vernier,
nine tenths as wide: the pair of lines that meet, counted from the long one in the middle, is the
step in tenths of the pitch. They are removable ink on bare cloth within both windows, and part of
no layout and no division. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import asdict, replace

from marking.errors import BadInputError
from marking.layout.layout import Stroke
from marking.proof.distortion import effect
from marking.proof.limits import Meeting, meetings

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.arrays import BoolArray, Box, FloatArray
    from marking.proof.distortion import Distortion
    from marking.sections.plan import Plan, Section

DIVISIONS = 5
"""Lines on either side of the middle one."""
PITCHES = (2.0, 1.5, 1.0)
"""mm, the widest that fits is taken: a line of the vernier tells a tenth of it, and halfway between
two lines half of that. A mark of the removable pen is 0.5 mm wide."""
READING_SD = 0.1
"""mm: to the nearest tenth, on cloth, by eye. Our own figure, no source."""
_TICK, _END, _MIDDLE = 2.0, 2.4, 3.0
"""Pitches that a line stands out on its own side: any, the last ones, and the middle one."""
_CLEAR = 1.0
"""mm of bare cloth all round."""
_TRIES = 1.0
"""mm between places that are tried."""
_AT_ONCE = 256
_FROM_END = 8
"""Of a join's length, how much lies between its end and the vernier that tells its turn."""


class JoinVernier(Struct, frozen=True):
    """One vernier over a join."""

    id: str
    """What a reading of it is called."""
    sections: tuple[str, str]
    """The one before the join, which draws the main scale, and the one after it."""
    axis: Literal[0, 1]
    """0 tells the step along the table, 1 across it."""
    at: tuple[float, float]
    """Where the two middle lines meet on a true cover."""
    pitch: float

    @property
    def join(self) -> str:
        """What the join is called."""
        return "-".join(self.sections)

    @property
    def most(self) -> float:
        """The largest step that it tells, in mm."""
        return DIVISIONS * self.pitch / 10

    def half(self, *, second: bool) -> list[FloatArray]:
        """The lines of one half, (2, 2) each, rising along the axis."""
        pitch = self.pitch * (0.9 if second else 1.0)
        lines = []
        for k in range(-DIVISIONS, DIVISIONS + 1):
            long = _MIDDLE if k == 0 else _END if abs(k) == DIVISIONS else _TICK
            long *= self.pitch
            ends = np.array([self.at, self.at])
            ends[:, self.axis] += k * pitch
            ends[1, 1 - self.axis] += long if second else -long
            lines.append(ends)
        return lines


def verniers_over(plan: Plan, model: Distortion, width: float) -> tuple[JoinVernier, ...]:
    """The verniers of every join that has bare cloth for them, drawn by a pen of this width.

    A pen is too broad for a pitch of less than twice its width. `model` is that of `plan`.
    """
    sections = {section.id: section for section in plan.sections}
    segments = _segments(plan)
    taken: list[Box] = []
    found: list[JoinVernier] = []
    for meeting in meetings(model):
        pair = [sections[model.patches[k].id] for k in (meeting.first, meeting.second)]
        for axis, low, high, aim in _places(meeting):
            part = replace(meeting, low=low, high=high)
            placed = _placed(part, pair, axis, aim, segments, taken, width, plan.zone.set_down)
            if placed is not None:
                at, pitch = placed
                name = f"v{len(found) + 1:02}"
                found.append(JoinVernier(name, (pair[0].id, pair[1].id), axis, at, pitch))
                taken.append(_box(at, axis, pitch, width))
    return tuple(found)


def _places(meeting: Meeting) -> Iterator[tuple[Literal[0, 1], float, float, float]]:
    """What each tells, and where along the join it may stand, and best stands."""
    low, high, middle = meeting.low, meeting.high, (meeting.low + meeting.high) / 2
    inset = (high - low) / _FROM_END
    yield meeting.across, low, middle, low + inset
    yield meeting.across, middle, high, high - inset
    yield (1 if meeting.across == 0 else 0), low, high, middle


def vernier_strokes(verniers: Sequence[JoinVernier]) -> dict[str, list[Stroke]]:
    """What each section draws of them with the removable pen, by section."""
    drawn: dict[str, list[Stroke]] = {}
    for vernier in verniers:
        for second, section in enumerate(vernier.sections):
            for n, line in enumerate(vernier.half(second=bool(second))):
                name = f"{section}_{vernier.id}_{n:02}"
                stroke = Stroke(name, "witness", "removable", line)
                drawn.setdefault(section, []).append(stroke)
    return drawn


def verniers_record(verniers: Sequence[JoinVernier]) -> list[dict[str, Any]]:
    """Verniers as plain data, to keep with the sheet that asks for their readings."""
    return [asdict(vernier) for vernier in verniers]


def verniers_from(kept: Sequence[Mapping[str, Any]]) -> tuple[JoinVernier, ...]:
    """Verniers from what `verniers_record` made of them.

    Raises BadInputError for anything else.
    """
    try:
        return tuple(
            JoinVernier(
                str(one["id"]),
                (str(one["sections"][0]), str(one["sections"][1])),
                one["axis"],
                (float(one["at"][0]), float(one["at"][1])),
                float(one["pitch"]),
            )
            for one in kept
        )
    except (KeyError, IndexError, TypeError, ValueError) as fault:
        raise BadInputError(
            f"the kept proof sheet cannot be read ({fault!r}); write a new one"
        ) from None


class JoinStep(Struct, frozen=True):
    """A step to be read at a join: how the ink of two sections lies apart at one point."""

    id: str
    sections: tuple[str, str]
    patches: tuple[int, int]
    axis: Literal[0, 1]
    at: tuple[float, float]
    most: float
    """mm: more than this it cannot tell."""


def steps_read(model: Distortion, verniers: Sequence[JoinVernier]) -> tuple[JoinStep, ...]:
    """What the verniers tell of the cover's distortion."""
    at = {patch.id: n for n, patch in enumerate(model.patches)}
    return tuple(
        JoinStep(v.id, v.sections, (at[v.sections[0]], at[v.sections[1]]), v.axis, v.at, v.most)
        for v in verniers
    )


def step_rows(model: Distortion, steps: Sequence[JoinStep]) -> FloatArray:
    """(steps, unknowns): how each unknown moves what is read."""
    if not steps:
        return np.zeros((0, model.count))
    points = np.array([step.at for step in steps])
    first, second = (
        effect(model, points, np.array([step.patches[k] for step in steps])) for k in (0, 1)
    )
    axes = np.array([step.axis for step in steps])
    rows: FloatArray = (second - first)[np.arange(len(steps)), axes]
    return rows


def _box(at: tuple[float, float], axis: int, pitch: float, width: float) -> Box:
    """The cloth that a vernier needs, its clearance included."""
    half = [0.0, 0.0]
    half[axis] = DIVISIONS * pitch + width / 2 + _CLEAR
    half[1 - axis] = _MIDDLE * pitch + width / 2 + _CLEAR
    return at[0] - half[0], at[1] - half[1], at[0] + half[0], at[1] + half[1]


def _placed(
    meeting: Meeting,
    pair: Sequence[Section],
    axis: Literal[0, 1],
    aim: float,
    segments: FloatArray,
    taken: Sequence[Box],
    width: float,
    set_down: float,
) -> tuple[tuple[float, float], float] | None:
    """The bare place along the join that is nearest to `aim`, at the widest pitch that fits."""
    both = list(_overlap(pair, set_down))
    over, beside = meeting.across, 1 - meeting.across
    both[beside] = max(both[beside], meeting.low)
    both[beside + 2] = min(both[beside + 2], meeting.high)
    middle = [0.0, 0.0]
    middle[over], middle[beside] = meeting.at, aim
    near = segments[_through(segments, np.array([both])).any(axis=1)]
    for pitch in PITCHES:
        if pitch < 2 * width:
            break
        x0, y0, x1, y1 = _box((0.0, 0.0), axis, pitch, width)
        xs = np.arange(both[0] - x0, both[2] - x1 + 1e-9, _TRIES)
        ys = np.arange(both[1] - y0, both[3] - y1 + 1e-9, _TRIES)
        spots = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=-1).reshape(-1, 2)
        # Rounded, so that of two places as near the same is taken on every processor.
        far = np.round(np.abs(spots - middle).sum(axis=1), 6)
        spots = spots[np.argsort(far, kind="stable")]
        for n in range(0, len(spots), _AT_ONCE):
            some = spots[n : n + _AT_ONCE]
            boxes = some[:, [0, 1, 0, 1]] + (x0, y0, x1, y1)
            bare = np.flatnonzero(~_through(near, boxes).any(axis=0) & _off(taken, boxes))
            if bare.size:
                x, y = some[bare[0]].tolist()
                return (x, y), pitch
    return None


def _overlap(pair: Sequence[Section], set_down: float) -> Box:
    """What both windows reach, however their devices come to stand."""
    one, two = (section.window for section in pair)
    return (
        max(one[0], two[0]) + set_down,
        max(one[1], two[1]) + set_down,
        min(one[2], two[2]) - set_down,
        min(one[3], two[3]) - set_down,
    )


def _off(taken: Sequence[Box], boxes: FloatArray) -> BoolArray:
    """(k,): which boxes (k, 4) keep off all those that are taken."""
    off = np.ones(len(boxes), dtype=bool)
    for x0, y0, x1, y1 in taken:
        beside = (boxes[:, 0] >= x1) | (boxes[:, 2] <= x0)
        off &= beside | (boxes[:, 1] >= y1) | (boxes[:, 3] <= y0)
    return off


def _segments(plan: Plan) -> FloatArray:
    """(n, 2, 2): every straight part of what is inked."""
    strokes = [piece.stroke.points for section in plan.sections for piece in section.pieces]
    parts = [np.stack([points[:-1], points[1:]], axis=1) for points in strokes]
    return np.concatenate(parts) if parts else np.zeros((0, 2, 2))


def _through(segments: FloatArray, boxes: FloatArray) -> BoolArray:
    """(segments, boxes (k, 4)): which pass through which: Liang and Barsky's clipping of a line."""
    start, run = segments[:, 0], segments[:, 1] - segments[:, 0]
    enter, leave = np.zeros((len(segments), len(boxes))), np.ones((len(segments), len(boxes)))
    for axis in (0, 1):
        still = (np.abs(run[:, axis]) < 1e-12)[:, None]
        safe = np.where(still, 1.0, run[:, axis, None])
        here = start[:, axis, None]
        low, high = boxes[None, :, axis], boxes[None, :, axis + 2]
        one, two = (low - here) / safe, (high - here) / safe
        outside = (here < low) | (here > high)
        enter = np.where(
            still, np.where(outside, 2.0, enter), np.maximum(enter, np.minimum(one, two))
        )
        leave = np.where(still, leave, np.minimum(leave, np.maximum(one, two)))
    through: BoolArray = enter <= leave
    return through
