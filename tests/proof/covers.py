"""Finished covers with known errors, and a tape drawn over them.

Written from how a cover comes about and how a tape is made, and from no code of the proof's: a
section is moved and turned as a device that was knocked, the cloth then stretches and leans as a
whole, and a person reads lengths off a tape of class II (UK SI 2016/1153, schedule 1I: 0.3 mm and
0.2 mm for each metre begun, of which half is taken for one standard deviation). Millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

STEEL = 11.6e-6
"""Per degree C; surveying handbooks."""


@dataclass(frozen=True)
class Cover:
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
    if rng is None:
        return lengths
    scale, warmth = rng.normal(0, 0.2 / 2), rng.normal(0, 2.0)
    shown = {}
    for name, length in lengths.items():
        metres = math.ceil(abs(length) / 1000)
        marks = math.sqrt((0.3 + 0.2 * metres) ** 2 - (0.2 * metres) ** 2) / 2
        read = rng.normal(0, division / 2)
        shown[name] = (
            length + scale * metres + length * STEEL * warmth + rng.normal(0, marks) + read
        )
    return shown


def knocked(rng, names, scatter=0.3, slips=0, slip=0.0):
    """Poses of sections that scatter by `scatter` mm, some of them slipped by `slip` mm."""
    poses = {name: (*rng.normal(0, scatter, 2), rng.normal(0, scatter / 500)) for name in names}
    for name in rng.choice(list(names), slips, replace=False):
        way = rng.uniform(0, 2 * math.pi)
        dx, dy, turn = poses[name]
        poses[str(name)] = (dx + slip * math.cos(way), dy + slip * math.sin(way), turn)
    return poses
