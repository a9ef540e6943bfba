"""The strips of a margin at true size, several to a sheet that lies, and how they are laid.

It draws what `marking.hand.strips` works out, larger or smaller by what the printer is off.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.drawing.artwork import Style
from marking.drawing.page import FAINT, INK, PAPERS, Page, number_pages, shortened_to
from marking.drawing.typeface import text_width
from marking.errors import RefusedError
from marking.hand.strips import CHECK, check_said
from marking.layout.second_scale import other_unit
from marking.measures.tape import as_taped
from marking.sheets.parts import TEXT, cautions, headed, notes, section, steps

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import TypeAlias

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.hand.strips import Strip, Strips
    from marking.job.keys import MarkingJob
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape

    _At: TypeAlias = tuple[float, float]

_PRICK = 6.0
"""mm that ticks go on beyond the line to cut along, to be pricked through where it is not cut."""
_LABEL = 17.0
"""mm below the numerals for what is written of a strip."""
_BESIDE = 2.0
"""mm of paper beside a numeral, at the least."""
_LEAST = 190.0
"""mm that every strip's paper is long at least."""
_GAP = 6.0
_NOT_PRINTED = 5.0
"""mm along a sheet's rim that many printers leave bare."""
CAUTIONS = (
    "Cut on a board, the blade away from the hand that holds the rule, and not on this table. "
    "Put blades and awl away before you lean over it.",
    "Nobody climbs on the table.",
)


def strip_document(
    strips: Strips, job: MarkingJob, tape: Tape, paper: PaperName
) -> tuple[Artwork, ...]:
    """How to lay them, then all strips. Raises RefusedError where one is larger than its sheet."""
    pages = [_how(strips, job, paper).artwork]
    each, deep = _to_a_page(strips, paper), _deep(strips)
    for side in ("near", "far"):
        left = [strip for strip in strips.strips if strip.side == side]
        chapter = f"{side.capitalize()} strips"
        while left:
            page = Page(paper, f"{job.title}: strips", lying=True, chapter=chapter)
            shown, left, chapter = left[:each], left[each:], ""
            for place, strip in enumerate(shown):
                top = page.height - _NOT_PRINTED - 4.0 - place * (deep + _GAP)
                _strip(page, strip, strips, job, tape, top)
            pages.append(page.artwork)
    number_pages(pages, f"{job.title}, strips")
    return tuple(pages)


def _deep(strips: Strips) -> float:
    """How much of the sheet one strip takes across, as drawn."""
    margin = max(strip.deep for strip in strips.strips)
    return (_PRICK + margin) * strips.scale + _LABEL


def _to_a_page(strips: Strips, paper: PaperName) -> int:
    width, height = PAPERS[paper][::-1]
    longest = max(strip.right - strip.left for strip in strips.strips) * strips.scale
    deep = _deep(strips)
    room = height - 2 * _NOT_PRINTED - 4.0 - 8.0
    if longest > width - 2 * _NOT_PRINTED or deep > room:
        raise RefusedError(
            f"paper hand: a strip would be {longest:.0f} mm long and {deep:.0f} mm deep, and a "
            f"sheet takes {width - 2 * _NOT_PRINTED:.0f} by {room:.0f} mm. Its numerals stand too "
            "far from the first long line, or its lines too far apart: mark without strips, by the "
            "other sheets; grid.margin or grid.pitch would have to be less"
        )
    return int((room + _GAP) / (deep + _GAP))


def _how(strips: Strips, job: MarkingJob, paper: PaperName) -> Page:
    title = f"{job.title}: strips"
    page, y = headed(paper, title, f"{title} at true size", chapter="How to lay the strips")
    y = section(page, "Before you cut", y)
    y = steps(page, _before(strips, job.units), y)
    y = section(page, "Lay and mark", y - 2.0)
    y = steps(page, _laying(strips, job.units), y)
    y = cautions(page, CAUTIONS, y - 4.0)
    y = section(page, "How far a tick may be off", y - 1.0)
    notes(page, _told(strips), y)
    return page


def _before(strips: Strips, units: Units) -> Iterator[str]:
    said = check_said(units)
    fine, shown = ("1/64 in", "5 31/32 in") if units == "in" else ("0.5 mm", "149.2 mm")
    corrected = (
        f" These are drawn {strips.scale:.4f} times true size, to take out what your printer was "
        "off by."
        if strips.scale != 1.0
        else ""
    )
    yield (
        "Print at 100 %, on plain paper, single-sided, with nothing like “fit to page” set, all "
        "in one go." + corrected
    )
    yield (
        f"Each strip has a line marked check. With a steel rule it must be {said} from end tick to "
        f"end tick, within {fine}. If it is not, measure it and print anew with the printer's "
        "error taken out: canvasrule paper hand --measured "
        f'"{shown}", or what it showed.'
    )
    yield (
        "Let printed sheets lie in the room for an hour. Cut each strip along its cut line: that "
        "edge comes to lie on the first long line, its ticks at the very edge. Or leave it, and "
        "prick through."
    )


def _laying(strips: Strips, units: Units) -> Iterator[str]:
    yield (
        "Set out the frame first, by the sheet of tape marks: base line, zero line, square. The "
        "strips hang on it, at the near side on the base line, at the far side on the far line."
    )
    yield (
        "Lay the tape along the long line, on its inner side, its printed 0 on the zero line, "
        "drawn taut and taped down. It stays there until all strips of a side are laid."
    )
    yield (
        "Each strip has two readings above arrows, of its first and its last line. Slide its cut "
        "edge along the tape until both lines stand at their readings: each strip by itself, never "
        "to the strip before, or errors add up. Where they do not quite fit "
        f"({'1/32 in' if units == 'in' else '1 mm'} or less), leave as much over at one end as "
        "at the other; where they are further off, a reading was wrong. Tape it down."
    )
    yield (
        "The last tick of one strip and the first of the next must be one pitch apart: look before "
        "you mark. Then lift the tape and tick every line on the cloth at the paper's edge, with a "
        "removable tick, or prick it through with an awl. Make the checks of the count in hand.pdf."
    )
    yield (
        "Numerals: slide transfer paper under the strip and follow them with a hard point, or "
        "prick along them; then ink what came through. Stencils (stencils.svg) do as well. At the "
        "far side stand at the far edge: zero is on your right, and the strips run leftwards."
    )
    scaled = next((s.side for s in strips.strips if any(tick.out for tick in s.ticks)), None)
    if scaled is not None:
        yield (
            f"The {scaled} side counts {other_unit(units)}. Ticks that cross the cut line are "
            f"lines; those that begin at it and run {_longest(strips):.1f} mm towards the numerals "
            f"are of the {other_unit(units)}: trace them with the numerals, and rule no line from "
            "them."
        )
    yield (
        "Then rule the lines across from tick to tick, as the sheets for ruling in hand.pdf say."
    )


def _longest(strips: Strips) -> float:
    return max(tick.out for strip in strips.strips for tick in strip.ticks)


def _told(strips: Strips) -> Iterator[str]:
    yield (
        "In 95 of 100 covers imagined so (2000 of them, each error drawn at random) no tick lies "
        f"further than {strips.tick_holds:.2f} mm from where it counts to, from zero, and no gap "
        f"between two ticks beside each other is off by more than {strips.gap_holds:.2f} mm."
    )
    yield (
        "In it: each end of a strip up to 0.25 mm off its reading, a tick drawn at its edge up to "
        "0.25 mm, the tape's own scale by its class, and paper that is 0.1 % (one standard "
        "deviation) longer or shorter than it was checked. These are our "
        "own assumptions of a careful hand. Not in it: a check length that was not looked at."
    )


def _strip(
    page: Page, strip: Strip, strips: Strips, job: MarkingJob, tape: Tape, top: float
) -> None:
    """One strip, its inner edge at the top, in the middle of the sheet's length."""
    scale = strips.scale
    left = page.width / 2 - scale * (strip.left + strip.right) / 2
    cut = top - _PRICK * scale

    def at(u: float, v: float) -> _At:
        return left + scale * u, cut - scale * v

    low = cut - scale * max(one.deep for one in strips.strips) - _LABEL
    x0, x1 = at(strip.left, 0.0)[0], at(strip.right, 0.0)[0]
    # A short strip has room for its words all the same.
    wide = max(x1 - x0, _LEAST)
    x0, x1 = page.width / 2 - wide / 2, page.width / 2 + wide / 2
    # Nor is a numeral cut through that stands out beyond the first or the last line.
    us = [u for numeral in strip.numerals for line in numeral for u in line[:, 0].tolist()]
    if us:
        x0 = min(x0, at(min(us), 0.0)[0] - _BESIDE)
        x1 = max(x1, at(max(us), 0.0)[0] + _BESIDE)
    page.line([(x0, cut), (x0, low), (x1, low), (x1, cut)], FAINT, 0.15)
    page.line([(x0, cut), (x1, cut)], INK, 0.25)
    said = "cut along the line across the ticks"
    page.write(said, page.width / 2, cut + _PRICK * scale + 0.8, 1.9, align=0.5, colour=FAINT)
    inwards = min(
        (v for one in strip.numerals for line in one for v in line[:, 1].tolist()), default=9
    )
    for tick in strip.ticks:
        # Ticks of another scale end at the cut, so that none is taken for a line's.
        head = 0.0 if tick.out else -_PRICK
        room = min(3.0, max(0.0, inwards - strips.numeral_width / 2 - 1.0))
        foot = tick.out if tick.half else room
        page.line([at(tick.u, head), at(tick.u, foot)], INK, 0.2 if not tick.heavy else 0.5)
        if not tick.half and not tick.name.isdigit():
            page.write(tick.name, at(tick.u, 0)[0] + 0.8, cut + 3.2, 1.9)
    ink = page.artwork.on_top(Style(stroke=INK, width=scale * strips.numeral_width))
    for numeral in strip.numerals:
        ink.line(*(np.array([at(u, v) for u, v in line.tolist()]) for line in numeral))
    _label(page, strip, scale, job, tape, at, low)


def _label(
    page: Page,
    strip: Strip,
    scale: float,
    job: MarkingJob,
    tape: Tape,
    at: Callable[[float, float], _At],
    low: float,
) -> None:
    """What is written below the numerals: both readings, the strip's name, the check length."""
    laid = strip.laid_by
    reach = 0.0
    for tick, align in zip(laid, (0.0, 1.0), strict=True):
        x, _ = at(tick.u, 0.0)
        head = low + _LABEL - 2.5
        page.area([(x, head), (x - 1.1, head - 2.6), (x + 1.1, head - 2.6)], INK)
        said = as_taped(tick.reading, tape, job.units)
        reach = max(reach, 2.0 + text_width(said) * 2.8)
        page.write(said, x + (2.0 if align == 0.0 else -2.0), head - 2.8, 2.8, align=align)
    count = f"{strip.side} {strip.number} of {strip.of}"
    first, last = laid if strip.side == "near" else laid[::-1]
    middle = page.width / 2
    said = f", {count}: {first.name} to {last.name}, zero end on your "
    said += "left" if strip.side == "near" else "right"
    room = at(laid[1].u, 0.0)[0] - at(laid[0].u, 0.0)[0] - 2 * (reach + _BESIDE)
    said = f"{shortened_to(room / TEXT - text_width(said), job.title)}{said}"
    page.write(said, middle, low + _LABEL - 5.3, TEXT, align=0.5)
    half = CHECK[job.units] * scale / 2
    y = low + 4.2
    page.line([(middle - half, y), (middle + half, y)], INK, 0.2)
    for end in (-half, half):
        page.line([(middle + end, y - 1.8), (middle + end, y + 1.8)], INK, 0.2)
    page.write(f"check: {check_said(job.units)} from end to end", middle, y + 1.0, 2.0, align=0.5)
