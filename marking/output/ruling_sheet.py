"""The sheet to rule lines by: how, and every line in its order with a box to tick, in twelves.

It draws what `marking.ruling` works out on pages of `marking.drawing.page`, and computes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.drawing.page import ACCENT, FAINT, INK, RULE, Page
from marking.measures.counts import counted
from marking.ruling.order import GROUP, ruling_order
from marking.ruling.words import CAUTIONS, how_to, line_name, note_of, time_told

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.ruling.order import LineRuled, WhoRules
    from marking.sections.plan import Plan
    from marking.sections.ruled import RuledLine

_EDGE = 13.0
_TEXT = 2.1
_COLUMNS = 3
_ROW = 4.4
_LINE, _STUBS = 5.0, 18.0
"""Across a group, in mm: where the line's name begins, and at least its stubs."""
_HEAD = 8.0
"""Above the first line of a group, its heading."""


class LineWords(Struct, frozen=True):
    """What a sheet says of the lines that are ruled on it."""

    between: str
    """What they run between."""
    heading: str
    of: Callable[[RuledLine], str]
    """What stands under the heading for each."""
    what: str = "lines to rule"
    """What the sheet is of."""


STUBS = LineWords("stubs", "from stub to stub", lambda line: " - ".join(line.sections))


def ruling_pages(
    plan: Plan, layout: Layout, job: MarkingJob, paper: PaperName, manner: WhoRules
) -> tuple[Artwork, ...]:
    """One page or more, for a plan with ruled lines."""
    steps = ruling_order(plan.ruled, job, manner)
    how = tuple(how_to([step.line for step in steps], layout, job, manner))
    return lines_to_rule_pages(steps, how, STUBS, job, paper, manner)


def lines_to_rule_pages(
    steps: Sequence[LineRuled],
    how: Sequence[str],
    words: LineWords,
    job: MarkingJob,
    paper: PaperName,
    manner: WhoRules,
) -> tuple[Artwork, ...]:
    """One page or more, for lines in the order of `steps`, ruled as `how` says."""
    groups = [steps[first : first + GROUP] for first in range(0, len(steps), GROUP)]
    page = Page(paper, f"{job.title}: {words.what}")
    y = _head(page, steps, how, words, job, manner)
    pages, number = [page], 0
    while groups:
        rows = max(1, int((y - _EDGE) / _deep()))
        shown, groups = groups[: rows * _COLUMNS], groups[rows * _COLUMNS :]
        for place, group in enumerate(shown):
            number += 1
            row, column = divmod(place, _COLUMNS)
            wide = (page.width - 2 * _EDGE) / _COLUMNS
            _group(page, group, words, number, _EDGE + column * wide, y - row * _deep(), wide - 4)
        if groups:
            page = Page(paper, pages[0].artwork.title)
            page.heading(f"{job.title}: {words.what}, continued", _EDGE, page.height - 20, 4.0)
            y = page.height - 26
            pages.append(page)
    return tuple(one.artwork for one in pages)


def _deep() -> float:
    return _HEAD + GROUP * _ROW + 3.0


def _head(
    page: Page,
    steps: Sequence[LineRuled],
    how: Sequence[str],
    words: LineWords,
    job: MarkingJob,
    manner: WhoRules,
) -> float:
    y = page.height - _EDGE - 5
    wide = page.width - 2 * _EDGE
    page.heading(f"{job.title}: {words.what}", _EDGE, y, 4.6)
    who = f"{manner.hand}-handed{', with a helper' if manner.by_two else ''}"
    page.write(
        f"{counted(len(steps), 'line')} between {words.between}, {who}: "
        f"{time_told(steps, job, manner)}.",
        _EDGE,
        y - 6,
        _TEXT,
    )
    y -= 12
    for number, step in enumerate(how, 1):
        page.write(f"{number}", _EDGE, y, _TEXT)
        y = page.paragraph(step, _EDGE + 5, y, wide - 5, _TEXT) - 0.6
    y -= 1
    page.line([(_EDGE, y + 2.5), (page.width - _EDGE, y + 2.5)], RULE, 0.2)
    y -= 1.5
    for caution in CAUTIONS:
        y = page.paragraph(caution, _EDGE, y, wide, 2.0, colour=ACCENT) - 0.3
    return y - 2


def _group(
    page: Page,
    group: Sequence[LineRuled],
    words: LineWords,
    number: int,
    x: float,
    top: float,
    wide: float,
) -> None:
    y = top - 4
    page.write(f"Group {number}", x, y, 2.2)
    page.write("line", x + _LINE, y - 4, 1.8, colour=FAINT)
    page.write(words.heading, x + _STUBS, y - 4, 1.8, colour=FAINT)
    page.line([(x, y - 5), (x + wide, y - 5)], INK, 0.3)
    y = top - _HEAD - 0.8
    for step in group:
        y -= _ROW
        line = step.line
        page.box(x, y - 0.4, x + 2.6, y + 2.2)
        named = f"{line_name(line)}{' H' if line.heavy else ''}"
        end = max(x + _STUBS, x + _LINE + page.write(named, x + _LINE, y, 2.1) + 2)
        end += page.write(words.of(line), end, y, 1.9) + 2
        page.write(note_of(step), end, y, 1.9, colour=ACCENT)
        page.line([(x, y - 1.4), (x + wide, y - 1.4)], RULE, 0.1)
