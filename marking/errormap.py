"""The table with the error to expect of each section as a colour, and a scale to read it by.

It draws what `marking.forecast` works out and computes no error of its own. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.lengths import format_length
from marking.picture import Picture, draw_dimensions, draw_strokes, draw_table, draw_title, rect
from marking.svg import number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.forecast import Forecast
    from marking.job import MarkingJob
    from marking.layout import Layout
    from marking.sections import Plan
    from marking.witness import Mark

_STOPS = np.array(
    [
        [68, 1, 84],
        [59, 82, 139],
        [33, 145, 140],
        [94, 201, 98],
        [253, 231, 37],
    ]
)
"""The viridis scale (public domain, CC0), dark to light at equal steps of lightness."""
_OVER = "#c2410c"
_STEPS = 40
_MARK = "#c2410c"


def error_map_svg(
    layout: Layout, job: MarkingJob, plan: Plan, found: Forecast, marks: Sequence[Mark]
) -> bytes:
    """The picture of `plan` with each section's core filled by its 95 % error."""
    picture = Picture(layout, job, plan)
    draw_table(picture)
    highest = _highest(found)
    _draw_cores(picture, plan, found, highest)
    draw_strokes(picture, faint=True)
    _draw_figures(picture, plan, found, highest)
    _draw_marks(picture, marks)
    _draw_worst(picture, found)
    draw_dimensions(picture)
    _draw_scale(picture, found, highest)
    holds = "holds" if found.holds else "does not hold"
    draw_title(picture, f"{job.title}: what this plan will hold. As forecast it {holds}")
    _draw_notes(picture, found)
    return picture.sheet.bytes()


def colour_of(error: float, highest: float) -> str:
    """The colour of an error in mm on a scale from nothing, light, to `highest`, dark."""
    share = 1 - min(max(error / highest, 0.0), 1.0)
    at = share * (len(_STOPS) - 1)
    red, green, blue = (
        round(float(np.interp(at, np.arange(len(_STOPS)), _STOPS[:, channel])))
        for channel in range(3)
    )
    return f"#{red:02x}{green:02x}{blue:02x}"


def _highest(found: Forecast) -> float:
    """The scale's end: past the tolerance and past the whole cover's figure, in tenths of a mm."""
    worst = max(found.worst_line, *(section.error for section in found.sections))
    return float(np.ceil(10 * max(1.1 * found.limits.tolerance, 1.05 * worst)) / 10)


def _draw_cores(picture: Picture, plan: Plan, found: Forecast, highest: float) -> None:
    errors = {section.section: section.error for section in found.sections}
    group = picture.group("errors", stroke="#ffffff", stroke_width=number(picture.letters / 8))
    for section in plan.sections:
        fill = colour_of(errors[section.id], highest)
        group.add(rect(picture, section.core, fill=fill, id=f"error-{section.id}"))


def _draw_figures(picture: Picture, plan: Plan, found: Forecast, highest: float) -> None:
    """Each section's name and figure, light on dark and dark on light."""
    errors = {section.section: section.error for section in found.sections}
    light = picture.lettering("figures-light", "#ffffff", 0.13)
    dark = picture.lettering("figures-dark", "#111111", 0.13)
    for section in plan.sections:
        x0, y0, x1, y1 = section.core
        error = errors[section.id]
        group = light if error > 0.38 * highest else dark
        size = min(1.4, (x1 - x0) / (7 * picture.letters), (y1 - y0) / (5 * picture.letters))
        x, y, step = (x0 + x1) / 2, (y0 + y1) / 2, size * picture.letters
        picture.write(group, section.id, x, y + step, align=0.5, size=0.75 * size)
        over = "!" if error > found.limits.tolerance else ""
        picture.write(group, f"{error:.2f}{over}", x, y - 0.8 * step, align=0.5, size=size)


def _draw_marks(picture: Picture, marks: Sequence[Mark]) -> None:
    group = picture.group(
        "control-marks", fill="#ffffff", stroke=_MARK, stroke_width=number(picture.letters / 8)
    )
    for mark in marks:
        (x, y), half = mark.at_table, picture.letters / 3
        group.add(rect(picture, (x - half, y - half, x + half, y + half), id=mark.id))


def _draw_worst(picture: Picture, found: Forecast) -> None:
    """A ring where the worst inked point lies, and a bar across the worst seam."""
    worst = max(found.sections, key=lambda section: section.error)
    group = picture.group(
        "worst", fill="none", stroke=_OVER, stroke_width=number(picture.letters / 3)
    )
    x, y = picture.sheet.at(*worst.at_table)
    drawing = picture.sheet.drawing
    group.add(drawing.circle((number(x), number(y)), number(1.3 * picture.letters)))
    if found.seams:
        x, y = picture.sheet.at(*max(found.seams, key=lambda seam: seam.step).at_table)
        arm = 1.1 * picture.letters
        group.add(
            drawing.path(
                d=f"M{number(x - arm)},{number(y)}L{number(x)},{number(y - arm)}"
                f"L{number(x + arm)},{number(y)}L{number(x)},{number(y + arm)}Z"
            )
        )


def _draw_scale(picture: Picture, found: Forecast, highest: float) -> None:
    """The scale beside the far end, from nothing up, with the tolerance marked on it."""
    corners, letters = picture.layout.top.corners_table, picture.letters
    left = float(corners[:, 0].max()) + 20 * letters
    low, high = 0.15 * float(corners[:, 1].max()), 0.85 * float(corners[:, 1].max())
    bars = picture.group("scale")
    step = (high - low) / _STEPS
    for count in range(_STEPS):
        fill = colour_of((count + 0.5) / _STEPS * highest, highest)
        y = low + count * step
        # A hair of overlap, or the page shows between the bars.
        bars.add(rect(picture, (left, y, left + 3 * letters, y + 1.02 * step), fill=fill))
    text = picture.lettering("scale-figures", "#333333")

    def height(error: float) -> float:
        return low + (high - low) * error / highest

    each = 0.5 if highest > 1.2 else 0.1
    for error in np.arange(0.0, highest + 1e-9, each).tolist():
        picture.write(text, f"{error:.1f}", left + 3.7 * letters, height(error))
    picture.write(text, "mm, 95 %", left, high + 2 * letters)
    limits = found.limits
    shown = format_length(limits.tolerance, picture.job.units)
    tolerance = picture.lettering("scale-tolerance", _OVER, 0.2)
    cover = picture.lettering("scale-cover", "#111111", 0.2)
    # The two captions stand on either side of the scale, since the figures may be close.
    for group, error, words, away in (
        (tolerance, limits.tolerance, ("tolerance", shown), 7.5),
        (cover, found.worst_line, ("whole cover", f"{found.worst_line:.2f} mm"), -11.0),
    ):
        y = height(error)
        line = np.array([[left - letters, y], [left + (7 if away > 0 else 3) * letters, y]])
        group.add(picture.sheet.drawing.path(d=picture.sheet.path(line)))
        for part, rise in zip(words, (0.9, -0.9), strict=True):
            picture.write(group, part, left + away * letters, y + rise * letters)


def _draw_notes(picture: Picture, found: Forecast) -> None:
    notes = picture.lettering("legend", "#333333")
    limits = found.limits
    lines = (
        "Each section: 95 of 100 times no ink of that section lies further from true than its "
        "figure, in mm; an exclamation mark is past the tolerance. Ring: the largest of them.",
        f"Whole cover: any of its {len(found.sections)} sections may be the one that errs, so its "
        f"figure is larger. 95 of 100 covers have no line further off than {found.worst_line:.2f} "
        f"mm ({limits.tolerance:.2f} wanted) and no step at a seam over {found.worst_step:.2f} mm "
        f"({limits.step:.2f} wanted): {'holds' if found.holds else 'does not hold'}.",
        f"Diamond: the seam where the largest step is to be expected. Squares: the {found.marks} "
        "control marks to set out by tape.",
    )
    for place, line in enumerate(lines):
        y = picture.sheet.box[1] + (7.0 - 2.2 * place) * picture.letters
        picture.write(notes, line, 0.0, y)
