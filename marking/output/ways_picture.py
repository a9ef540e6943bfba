"""The ways as bars: person-hours with their range, hours by the clock, and whether each holds.

It draws what `marking.ways` reckons. Readable in grey: what holds is filled dark, what does not is
hollow and says so in words. Its own frame, mm on a sheet.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.drawing.artwork import Artwork, Style

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import DrawnLayer
    from marking.ways.way import Reckoned

_INK, _GREY, _PALE = "#111111", "#555555", "#dddddd"
_HOLDS, _FAILS = "#1f5fa8", "#ffffff"
_ROW, _LETTERS = 17.0, 3.6
_LEFT, _RIGHT, _BARS = 84.0, 66.0, 190.0
_ABOVE, _BELOW = 22.0, 28.0
_LONGEST = 46


def ways_picture(ways: Sequence[Reckoned], title: str, chosen: str | None = None) -> Artwork:
    """A bar a way, those that hold first, the least person-hours uppermost."""
    shown = [one for one in ways if one.way.expected is not None]
    cannot = [one.way.id for one in ways if one.way.expected is None]
    most = max((one.least.person[1] for one in shown), default=1.0)
    high = len(shown) * _ROW
    artwork = Artwork(
        (-_LEFT, -_BELOW, _BARS + _RIGHT, high + _ABOVE),
        f"{title}: ways to mark it",
        "Person-hours of each way of marking the cover, with their range.",
    )
    words = artwork.layer("words", Style(fill=_INK))
    notes = artwork.layer("notes", Style(fill=_GREY))
    grid = artwork.layer("scale", Style(_PALE, 0.3))
    words.write(f"{title}: ways to mark it", -_LEFT + 4, high + 11, 5.5)
    _draw_scale(grid, notes, most, high)
    filled = artwork.layer("bars-holding", Style(_INK, 0.4, _HOLDS))
    hollow = artwork.layer("bars-not-holding", Style(_INK, 0.4, _FAILS))
    ranges = artwork.layer("ranges", Style(_INK, 0.6, ends="butt"))
    clocks = artwork.layer("clock", Style(_INK, 0.4, _FAILS))
    for place, one in enumerate(shown):
        y = high - (place + 0.5) * _ROW
        bars = filled if one.holds else hollow
        _draw_way(one, y, _BARS / most, (bars, ranges, clocks, words, notes))
        if one.way.id == chosen:
            words.write("chosen", _BARS + 36, y + 2.4, _LETTERS)
    _draw_legend(artwork, cannot)
    return artwork


def _draw_scale(grid: DrawnLayer, notes: DrawnLayer, most: float, high: float) -> None:
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if most / s <= 12)
    for count in range(math.floor(most / step) + 1):
        x = count * step * _BARS / most
        grid.line([(x, 0.0), (x, high)])
        notes.write(f"{count * step}", x, high + 2, _LETTERS, 0.5)
    notes.write("h", _BARS + 4, high + 2, _LETTERS)


def _draw_way(
    one: Reckoned,
    y: float,
    scale: float,
    layers: tuple[DrawnLayer, DrawnLayer, DrawnLayer, DrawnLayer, DrawnLayer],
) -> None:
    bars, ranges, clocks, words, notes = layers
    low, most = (hours * scale for hours in one.least.person)
    words.write(one.way.id, -_LEFT + 4, y + 1.2, _LETTERS)
    says = one.way.says
    if len(says) > _LONGEST:
        cut = says.rfind(" ", 0, _LONGEST)
        notes.write(says[:cut], -_LEFT + 4, y - 2.8, 2.5)
        notes.write(says[cut + 1 :], -_LEFT + 4, y - 6.6, 2.5)
    else:
        notes.write(says, -_LEFT + 4, y - 3.0, 2.5)
    bars.box((0.0, y - 0.5, low, y + 5.0), one.way.id)
    ranges.line([(low, y + 2.25), (most, y + 2.25)], name=f"range-{one.way.id}")
    ranges.line([(most, y + 0.8), (most, y + 3.7)])
    middle = y - 4.0
    for hours in (one.least.clock[0], one.by_two.clock[0]):
        clocks.circle((hours * scale, middle), 1.2)
    clocks.line([(one.by_two.clock[0] * scale, middle), (one.least.clock[0] * scale, middle)])
    verdict = "holds" if one.holds else "does not hold"
    figures = f"{one.least.person[0]:.1f} to {one.least.person[1]:.1f} h"
    if one.over_two_days:
        notes.write("don't: over two days", _BARS + 3, y - 7.2, 3.0)
    words.write(verdict, _BARS + 3, y + 2.4, _LETTERS)
    notes.write(figures, _BARS + 3, y - 3.0, 3.0)


def _draw_legend(artwork: Artwork, cannot: Sequence[str]) -> None:
    notes = artwork.layer("legend", Style(fill=_GREY))
    lines = [
        "Bar: person-hours of a practised person; the line beyond it: to a first cover. Dark: "
        "holds what is allowed; hollow: does not.",
        "Circles below: hours by the clock, by two (left) and alone (right), by a practised "
        "person. The times are what [pace] says, else our own assumptions.",
    ]
    if cannot:
        lines.append(f"Cannot be done here: {', '.join(cannot)}.")
    for place, line in enumerate(lines):
        notes.write(line, -_LEFT + 4, -9.0 - 6.0 * place, 3.0)
