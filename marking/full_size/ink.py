"""The ink that falls within a window, cut at its edges.

Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.sections.cutting import cut

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.arrays import Box, FloatArray
    from marking.layout.layout import Layout, Stroke

_INSIDE = (1, 1)
"""The middle cell of a lattice of two joins each way."""


class InkByPlace:
    """All strokes of a layout, ready to be looked up by place."""

    def __init__(self, layout: Layout) -> None:
        self.strokes = layout.strokes
        ends = [(s.path.min(axis=0), s.path.max(axis=0)) for s in layout.strokes]
        self._low = np.array([low for low, _ in ends])
        self._high = np.array([high for _, high in ends])

    def within(self, window: Box) -> Iterator[tuple[Stroke, FloatArray]]:
        """Each piece of a stroke inside `window`, its passes where they lie side by side."""
        x0, y0, x1, y1 = window
        low, high = self._low, self._high
        met = np.all((high >= (x0, y0)) & (low <= (x1, y1)), axis=1)
        whole = np.all((low >= (x0, y0)) & (high <= (x1, y1)), axis=1)
        for n in np.flatnonzero(met).tolist():
            stroke = self.strokes[n]
            if whole[n]:
                yield stroke, stroke.path
                continue
            for cell, piece in cut(stroke.path, (x0, x1), (y0, y1)):
                if cell == _INSIDE:
                    yield stroke, piece

    def any_in(self, window: Box) -> bool:
        """Whether anything is inked there."""
        return next(self.within(window), None) is not None
