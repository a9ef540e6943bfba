"""Whether the true cloth carries what was meant: nothing missing, displaced or falsely drawn.

All places are on the table, mm; strokes come from `section --json`, ink from the cloth.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from collections.abc import Iterable

_STEP = 0.2
"""mm between two points that are compared."""


def samples(paths: Iterable[Any]) -> Any:
    """Points along polylines, (n, 2)."""
    points = [np.zeros((0, 2))]
    for path in paths:
        for start, end in itertools.pairwise(np.asarray(path, dtype=float)):
            count = max(int(np.hypot(*(end - start)) / _STEP), 1)
            points.append(start + np.linspace(0, 1, count + 1)[:, None] * (end - start))
    return np.concatenate(points)


class Ink:
    """What lies on a cloth at one time."""

    def __init__(self, laid: Iterable[Any]) -> None:
        self._points = samples(laid)
        self._tree = cKDTree(self._points) if len(self._points) else None

    def missing(self, path: Any) -> float:
        """How far the least inked point of a stroke is from any ink."""
        if self._tree is None:
            return float("inf")
        return float(self._tree.query(samples([path]))[0].max())

    def displaced(self, wanted: Any) -> tuple[float, tuple[float, float]]:
        """How far the most displaced ink is from any stroke, and where it lies."""
        if self._tree is None:
            return 0.0, (0.0, 0.0)
        off = cKDTree(wanted).query(self._points)[0]
        worst = int(off.argmax())
        return float(off[worst]), (float(self._points[worst][0]), float(self._points[worst][1]))
