"""The table with the error to expect of each section as a colour, and a scale to read it by.

It draws what `marking.tape_marks.forecast` works out and computes no error of its own. Table frame,
mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.drawing.artwork import Style
from marking.output.table_picture import draw_strokes, spread
from marking.output.table_top import Picture, draw_dimensions, draw_table, draw_title

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Plan
    from marking.tape_marks.forecast import Forecast

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
_OVER, _PLAIN = "#c2410c", "#111111"
"""The alarm's colour, for what is past its limit and for nothing else; all other marks' colour."""
_STEPS = 40


def error_map(
    layout: Layout, job: MarkingJob, plan: Plan, found: Forecast, marks: Sequence[Mark]
) -> Artwork:
    """The picture of `plan` with each section's core filled by its 95 % error."""
    picture = Picture(layout, job, plan)
    draw_table(picture)
    highest = _highest(found)
    _draw_cores(picture, plan, found, highest)
    draw_strokes(picture, faint=True)
    _draw_hatching(picture, plan, found)
    _draw_figures(picture, plan, found, highest)
    _draw_marks(picture, marks)
    _draw_worst(picture, found)
    draw_dimensions(picture)
    _draw_scale(picture, found, highest)
    draw_title(picture, f"{job.title}: the error to expect of each section")
    _draw_notes(picture, found)
    return picture.artwork


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
    cores = picture.lines("errors", "#ffffff", 1 / 8)
    for section in plan.sections:
        fill = colour_of(errors[section.id], highest)
        cores.box(section.core, f"error-{section.id}", fill)


def _draw_hatching(picture: Picture, plan: Plan, found: Forecast) -> None:
    """Slanting lines over each section past the tolerance, to be told without colour too."""
    over = {each.section for each in found.sections if each.error > found.limits.tolerance}
    if not over:
        return
    hatching = picture.lines("past-tolerance", _OVER, 1 / 6)
    for x0, y0, x1, y1 in (section.core for section in plan.sections if section.id in over):
        for start in np.arange(x0 - (y1 - y0), x1, 3 * picture.letters)[1:].tolist():
            low, high = max(start, x0), min(start + y1 - y0, x1)
            hatching.line([(low, y0 + low - start), (high, y0 + high - start)])


def _draw_figures(picture: Picture, plan: Plan, found: Forecast, highest: float) -> None:
    """Each section's name and figure, light on dark and dark on light."""
    errors = {section.section: section.error for section in found.sections}
    plates = picture.words("figure-plates", "#ffffff")
    light = picture.words("figures-light", "#ffffff")
    dark = picture.words("figures-dark", _PLAIN)
    for section in plan.sections:
        x0, y0, x1, y1 = section.core
        error = errors[section.id]
        over = "!" if error > found.limits.tolerance else ""
        group = light if error > 0.38 * highest and not over else dark
        size = min(1.4, (x1 - x0) / (7 * picture.letters), (y1 - y0) / (5 * picture.letters))
        x, y, step = (x0 + x1) / 2, (y0 + y1) / 2, size * picture.letters
        if over:
            # The hatching would run through the figures.
            half = 0.5 * picture.width(f"{error:.2f}{over}", size) + step / 2
            plates.box((x - half, y - 1.7 * step, x + half, y + 1.9 * step))
        picture.write(group, section.id, x, y + step, align=0.5, size=0.75 * size)
        picture.write(group, f"{error:.2f}{over}", x, y - 0.8 * step, align=0.5, size=size)


def _draw_marks(picture: Picture, marks: Sequence[Mark]) -> None:
    squares = picture.lines("tape-marks", _PLAIN, 1 / 8, fill="#ffffff")
    for mark in marks:
        (x, y), half = mark.at_table, picture.letters / 3
        squares.box((x - half, y - half, x + half, y + half), mark.id)


def _draw_worst(picture: Picture, found: Forecast) -> None:
    """A ring where the worst inked point lies, and a diamond on the worst join."""
    limits, letters = found.limits, picture.letters
    worst = max(found.sections, key=lambda section: section.error)
    colour = _OVER if worst.error > limits.tolerance else _PLAIN
    picture.lines("worst-line", colour, 1 / 3).circle(worst.at_table, 1.3 * letters)
    if found.joins:
        x, y = max(found.joins, key=lambda join: join.step).at_table
        arm = 1.1 * letters
        past = found.worst_step > limits.step
        colour, fill = (_OVER, _OVER) if past else (_PLAIN, None)
        picture.lines("worst-step", colour, 1 / 3, fill).area(
            [(x - arm, y), (x, y - arm), (x + arm, y), (x, y + arm)]
        )


def _draw_scale(picture: Picture, found: Forecast, highest: float) -> None:
    """The scale beside the far end, from nothing up, with the tolerance marked on it."""
    corners, letters = picture.layout.top.corners_table, picture.letters
    left = float(corners[:, 0].max()) + 20 * letters
    low, high = 0.15 * float(corners[:, 1].max()), 0.85 * float(corners[:, 1].max())
    bars = picture.artwork.layer("scale", Style())
    step = (high - low) / _STEPS
    for count in range(_STEPS):
        fill = colour_of((count + 0.5) / _STEPS * highest, highest)
        y = low + count * step
        # A hair of overlap, or the page shows between the bars.
        bars.box((left, y, left + 3 * letters, y + 1.02 * step), fill=fill)
    figures = picture.words("scale-figures", "#333333")

    def height(error: float) -> float:
        return low + (high - low) * error / highest

    each = 0.5 if highest > 1.2 else 0.1
    for error in np.arange(0.0, highest + 1e-9, each).tolist():
        picture.write(figures, f"{error:.1f}", left + 3.7 * letters, height(error))
    picture.write(figures, "mm, 95 %", left, high + 2 * letters)
    limits = found.limits
    past = found.worst_line > limits.tolerance
    # Both captions stand right of the scale, moved apart where their figures are close.
    captions = sorted(
        [
            (
                limits.tolerance,
                "scale-tolerance",
                _PLAIN,
                ("tolerance", f"{limits.tolerance:.2f} mm"),
            ),
            (
                found.worst_line,
                "scale-cover",
                _OVER if past else _PLAIN,
                ("whole cover", f"{found.worst_line:.2f} mm{'!' if past else ''}"),
            ),
        ]
    )
    places = spread([height(error) for error, *_ in captions], 4.5 * letters)
    for (error, name, colour, words), beside in zip(captions, places, strict=True):
        y = height(error)
        leaders = picture.lines(f"{name}-line", colour, 0.2)
        leaders.line([(left - letters, y), (left + 3 * letters, y)])
        leaders.line([(left + 6.2 * letters, y), (left + 7.6 * letters, beside)])
        caption = picture.words(name, colour)
        for text, rise in zip(words, (0.9, -0.9), strict=True):
            picture.write(caption, text, left + 8.0 * letters, beside + rise * letters)


def _draw_notes(picture: Picture, found: Forecast) -> None:
    notes = picture.words("legend", "#333333")
    limits = found.limits
    verdict = picture.words("verdict", _PLAIN if found.holds else _OVER)
    word = f"Forecast: {'HOLDS' if found.holds else 'DOES NOT HOLD'}"
    lines = (
        f"95 of 100 covers have no line further off than {found.worst_line:.2f} mm "
        f"({limits.tolerance:.2f} allowed) and no step at a join over {found.worst_step:.2f} mm "
        f"({limits.step:.2f} allowed).",
        "Each section: 95 of 100 times none of its ink lies further from true than its figure, in "
        "mm. Hatched, with an exclamation mark: past the tolerance. Ring: the largest of them.",
        f"Whole cover: any of its {len(found.sections)} sections may be the one that errs, so its "
        "figure is larger.",
        "Diamond: the join where the largest step is to be expected; filled if it is past what is "
        f"allowed. Squares: the {found.marks} tape marks to set out by tape.",
    )
    y = picture.artwork.box[1] + 9.6 * picture.letters
    picture.write(verdict, word, 0.0, y, size=1.3)
    for place, line in enumerate(lines, 1):
        picture.write(notes, line, 0.0, y - 2.1 * place * picture.letters)
