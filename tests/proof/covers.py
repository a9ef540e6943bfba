"""Finished covers with known errors, and a tape drawn over them.

Written from how a cover comes about and how a tape is made, and from no code of the proof's: a
section is moved and turned as a device that was knocked, the cloth then stretches and leans as a
whole, and a person reads lengths off a tape of class II (UK SI 2016/1153, schedule 1I: 0.3 mm and
0.2 mm for each metre begun, of which half is taken for one standard deviation). Millimetres.
"""

from __future__ import annotations

import math

import numpy as np
from msgspec import Struct, field

STEEL = 11.6e-6
"""Per degree C; surveying handbooks."""


class Cover(Struct, frozen=True):
    """What became of a cover of these cross lines, long lines and sections (id: core)."""

    cross: np.ndarray
    long: np.ndarray
    cores: dict
    poses: dict = field(default_factory=dict)
    """By section: shift along, shift across, turn (radians) about its lower left corner."""
    stretch: tuple[float, float] = (0.0, 0.0)
    """Shares by which the cloth is longer and wider, from the zero line and the near line."""
    lean: float = 0.0
    """mm that the far line has slid towards the far end."""

    def at(self, place, section=None):
        """Where a place that should lie at `place` has come to lie, as one section inked it."""
        x, y = place
        for name, (x0, y0, x1, y1) in self.cores.items():
            inside = x0 - 1e-6 <= x <= x1 + 1e-6 and y0 - 1e-6 <= y <= y1 + 1e-6
            if name == section or (section is None and inside):
                dx, dy, turn = self.poses.get(name, (0.0, 0.0, 0.0))
                c, s = math.cos(turn), math.sin(turn)
                x, y = (
                    x0 + dx + c * (x - x0) - s * (y - y0),
                    y0 + dy + s * (x - x0) + c * (y - y0),
                )
                break
        left, near = self.cross[0], self.long[0]
        width = self.long[-1] - near
        return np.array(
            [
                left + (x - left) * (1 + self.stretch[0]) + self.lean * (y - near) / width,
                near + (y - near) * (1 + self.stretch[1]),
            ]
        )

    def line_errors(self):
        """How far lines lie off at the ends of what each section holds of them, signed.

        Counted from where the zero line meets the near line, along the near line's two ends.
        """
        zero = self.at((self.cross[0], self.long[0]))
        end = self.at((self.cross[-1], self.long[0]))
        ahead = (end - zero) / np.hypot(*(end - zero))
        aside = np.array([-ahead[1], ahead[0]])
        found = []
        for name, (x0, y0, x1, y1) in self.cores.items():
            xs = self.cross[(self.cross >= x0) & (self.cross <= x1)]
            ys = self.long[(self.long >= y0) & (self.long <= y1)]
            low, high = max(y0, self.long[0]), min(y1, self.long[-1])
            first, last = max(x0, self.cross[0]), min(x1, self.cross[-1])
            found += [
                (self.at((x, y), name) - zero) @ ahead - (x - self.cross[0])
                for x in [*xs[:1], *xs[-1:]]
                for y in (low, high)
            ]
            found += [
                (self.at((x, y), name) - zero) @ aside - (y - self.long[0])
                for y in [*ys[:1], *ys[-1:]]
                for x in (first, last)
            ]
        return np.array(found)

    @property
    def worst(self):
        """How far the line furthest off lies off."""
        return float(np.abs(self.line_errors()).max())

    def _on(self, axis, place):
        """A line followed: where along it, in which section, where it lies (n, 2).

        Each section's piece at its two ends and the middle, so that a join is met from both sides.
        """
        other = 1 - axis
        lines = (self.cross, self.long)[other]
        along, at = [], []
        for name, core in self.cores.items():
            if core[axis] <= place <= core[axis + 2]:
                low, high = max(core[other], lines[0]), min(core[other + 2], lines[-1])
                for far in np.linspace(low, high, 3):
                    point = (place, far) if axis == 0 else (far, place)
                    along.append(far)
                    at.append(self.at(point, name))
        order = np.argsort(along, kind="stable")
        return np.array(along)[order], np.array(at)[order]

    def figures(self, over=np.inf, pitch=25.4):
        """The worst total, square, neighbours, step and straight, sideways of each line.

        Total: from the zero line at the same height, from the near line at the same place along.
        Square: of two points of a cross line no further apart than `over`, off the perpendicular to
        the near line that fits it best. Neighbours: off the pitch. Step: the two ends at a join.
        Straight: a long line off a thread between its ends.
        """
        heights, crossing = zip(*(self._on(0, x) for x in self.cross), strict=True)
        along, running = zip(*(self._on(1, y) for y in self.long), strict=True)
        x, y = (np.array([at[:, k] for at in lines]) for k, lines in enumerate((crossing, running)))
        heights, along = heights[0], along[0]
        slope = np.polyfit(along, y[0], 1)[0]
        upright = x + slope * heights
        square = [
            np.abs(upright[:, i] - upright[:, j]).max()
            for i in range(len(heights))
            for j in range(i)
            if abs(heights[i] - heights[j]) <= over + 1e-6
        ]
        steps = [np.abs(np.diff(x, axis=1)[:, np.diff(heights) < 1e-6]).ravel()]
        steps.append(np.abs(np.diff(y, axis=1)[:, np.diff(along) < 1e-6]).ravel())
        beside = np.diff(self.long) < 1.5 * pitch
        thread = (along - along[0]) / (along[-1] - along[0])
        straight = y - (1 - thread) * y[:, :1] - thread * y[:, -1:]
        off_x, off_y = x - self.cross[:, None], y - self.long[:, None]
        return {
            "total": max(np.abs(off_x - off_x[:1]).max(), np.abs(off_y - off_y[:1]).max()),
            "square": max(square),
            "neighbours": max(
                np.abs(np.diff(off_x, axis=0)).max(), np.abs(np.diff(off_y, axis=0)[beside]).max()
            ),
            "step": max((float(one.max()) for one in steps if one.size), default=0.0),
            "straight": np.abs(straight).max(),
        }

    def step(self, vernier):
        """How the second section's ink lies off the first's where a vernier stands."""
        first, second = (self.at(vernier.at, name) for name in vernier.sections)
        return float((second - first)[vernier.axis])

    def length(self, distance):
        """The true length of one distance of a sheet, or the true offset from its thread."""
        start, end = map(self.at, distance.ends)
        if distance.thread is None:
            return float(np.hypot(*(end - start)))
        first, last = map(self.at, distance.thread)
        ahead = (last - first) / np.hypot(*(last - first))
        # Plus is to the far edge off a long line's thread, to the far end off a cross line's.
        across = np.array([-ahead[1], ahead[0]]) if abs(ahead[0]) > 0.5 else (ahead[1], -ahead[0])
        return float((start - first) @ across)


def cover_of(layout, plan, **errors):
    """A cover of this layout and its sections."""
    return Cover(
        np.asarray(layout.grid.cross_x),
        np.array([line.y for line in layout.grid.long_lines]),
        {section.id: section.core for section in plan.sections},
        **errors,
    )


def taped(cover, sheet, rng=None, division=25.4 / 32):
    """What a tape of class II shows, by id; without `rng` a perfect one.

    Its own length and the day's warmth are drawn once, setting and reading for each distance.
    """
    lengths = {distance.id: cover.length(distance) for distance in sheet.distances}
    steps = {step.id: cover.step(step) for step in sheet.steps}
    if rng is None:
        return lengths | steps
    scale, warmth = rng.normal(0, 0.2 / 2), rng.normal(0, 2.0)
    shown = {}
    for name, length in lengths.items():
        metres = math.ceil(abs(length) / 1000)
        marks = math.sqrt((0.3 + 0.2 * metres) ** 2 - (0.2 * metres) ** 2) / 2
        read = rng.normal(0, division / 2)
        shown[name] = (
            length + scale * metres + length * STEEL * warmth + rng.normal(0, marks) + read
        )
    # By eye to 0.1 mm, written down in tenths.
    return shown | {name: round(step + rng.normal(0, 0.1), 1) for name, step in steps.items()}


def knocked(rng, names, scatter=0.3, slips=0, slip=0.0):
    """Poses of sections that scatter by `scatter` mm, some of them slipped by `slip` mm."""
    poses = {name: (*rng.normal(0, scatter, 2), rng.normal(0, scatter / 500)) for name in names}
    for name in rng.choice(list(names), slips, replace=False):
        way = rng.uniform(0, 2 * math.pi)
        dx, dy, turn = poses[name]
        poses[str(name)] = (dx + slip * math.cos(way), dy + slip * math.sin(way), turn)
    return poses
