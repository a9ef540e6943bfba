"""Sheets as MuPDF reads them, which had no part in writing them, brought back onto the table.

What is ink is told by its width: nothing that is measured or laid by is as wide.
"""

from __future__ import annotations

import contextlib
import io
import json
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pymupdf

from devices.commands import main

if TYPE_CHECKING:
    from pathlib import Path

    from marking.layout.layout import Layout

MM = 25.4 / 72
_CELL = 120.0
"""mm: points are held against the segments near by alone."""
LEAST_INK = 0.45
"""mm: the pens here are wider, all other lines narrower."""


class Sheet(NamedTuple):
    """One part of the table, and the centre-lines on it, (n, 2, 2) in the table frame."""

    box: tuple[float, float, float, float]
    segments: np.ndarray


def paper(folder: Path, *words: str) -> dict[str, Any]:
    """What `canvasrule paper --json` says, in this process."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        assert main(["paper", *words, "--job", str(folder), "--json"]) == 0
    found: dict[str, Any] = json.loads(said.getvalue())
    return found


def sheets_of(folder: Path, file: dict[str, Any], scale: tuple[float, float] = (1, 1)) -> list:
    """Every part that a file says it carries, as it is drawn; `scale` is drawn over true."""
    document = pymupdf.open(folder / "out" / file["path"])
    assert len(document) == file["pages"]
    found = []
    for part in file["parts"]:
        page = document[part["page"] - 1]
        high = page.rect.height * MM
        lines = []
        for path in page.get_drawings():
            if path["type"] == "s" and path["width"] * MM >= LEAST_INK:
                for item in path["items"]:
                    assert item[0] == "l"
                    lines.append([(end.x * MM, high - end.y * MM) for end in item[1:3]])
        on_page = np.array(lines).reshape(-1, 2, 2)
        on_table = (on_page - part["at"]) / scale + part["box"][:2]
        found.append(Sheet(tuple(part["box"]), on_table))
    return found


def segments_of(layout: Layout) -> np.ndarray:
    """Every straight piece of every line as its pen goes, passes side by side too, (n, 2, 2)."""
    return np.concatenate([np.stack([s.path[:-1], s.path[1:]], 1) for s in layout.strokes])


def along(segments: np.ndarray, step: float = 12.0) -> np.ndarray:
    """Points on segments, both ends and so far apart at most, (n, 2)."""
    found = []
    for start, end in segments:
        count = max(2, int(np.hypot(*(end - start)) / step) + 2)
        found.append(start + np.linspace(0, 1, count)[:, None] * (end - start))
    return np.concatenate(found) if found else np.empty((0, 2))


def off(points: np.ndarray, segments: np.ndarray) -> np.ndarray:
    """How far each point is from the nearest segment that comes within 2 mm of its own square of
    `_CELL`, mm; infinitely where none does."""
    found = np.full(len(points), np.inf)
    low, high = segments.min(axis=1) - 2, segments.max(axis=1) + 2
    cells, which = np.unique(np.floor(points / _CELL), axis=0, return_inverse=True)
    for n, cell in enumerate(cells * _CELL):
        close = segments[((high >= cell) & (low <= cell + _CELL)).all(axis=1)]
        here = np.flatnonzero(which.ravel() == n)
        if not len(close):
            continue
        starts, runs = close[:, 0], close[:, 1] - close[:, 0]
        away = points[here][:, None] - starts
        share = (away * runs).sum(axis=2) / np.maximum((runs**2).sum(axis=1), 1e-12)
        past = away - np.clip(share, 0, 1)[..., None] * runs
        found[here] = np.sqrt((past**2).sum(axis=2)).min(axis=1)
    return found


def check_assembled(sheets: list[Sheet], layout: Layout, most: float = 0.1) -> None:
    """Laid by their boxes, all sheets together are the marking, and nothing but it."""
    laid_out = segments_of(layout)
    points = along(laid_out)
    carried = np.zeros(len(points), dtype=bool)
    for sheet in sheets:
        x0, y0, x1, y1 = sheet.box
        low, high = laid_out.min(axis=1), laid_out.max(axis=1)
        near = ((high >= (x0 - 1, y0 - 1)) & (low <= (x1 + 1, y1 + 1))).all(axis=1)
        inside = ((points > (x0, y0)) & (points < (x1, y1))).all(axis=1)
        carried |= inside
        if inside.any():
            assert off(points[inside], sheet.segments).max() <= most, sheet.box
        drawn = along(sheet.segments)
        assert off(drawn, laid_out[near]).max(initial=0.0) <= most, sheet.box
    assert carried.all()
