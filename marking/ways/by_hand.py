"""The ways without a machine: tape sheets alone, printed strips, full-size panels; and the acts
that every way has.

It knows counts and a person's times; errors are `marking.ways.hand_errors`'s. mm and seconds.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.ways.acts import Act
from marking.ways.hand_errors import HandDoubts, by_panels, by_strips, by_tape
from marking.ways.way import Way

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import PaperSize
    from marking.job.work_keys import PaceTable
    from marking.ways.ink_counted import InkCount

DISTANCES = 10
"""Of the proof, in every way."""
FOR_ALL = ("a steel tape", "a second person for the proof")
_STRIP = {"letter": 254.0, "a4": 250.0}
"""mm of margin that there is room for on one strip, along the sheet's long side."""
_PANEL, _PANEL_ADDS = 842.0, 829.0
"""mm of the top's width that the first panel of a 36 in roll carries, and each one more."""


def lines_a_strip(paper: PaperSize, pitch: float, lines: int) -> int:
    """How many of so many cross lines one printed strip carries, with half a pitch on either side:
    as few strips as there is room for, as long as each other."""
    most = max(1, int(_STRIP[paper] / pitch + 1e-9))
    return math.ceil(lines / math.ceil(lines / most))


def hand_ways(
    cover: InkCount, pace: PaceTable, tape_most: float, paper: PaperSize
) -> Iterator[Way]:
    """The ways of a hand, with strips on `paper`."""
    doubts = HandDoubts(tape_most)
    line_x, width = cover.line_x, cover.width
    long_lines = Act("long lines ruled", cover.long_lines, pace.long_line_ruled)
    across = ruled_across(cover.cross_lines, pace)
    rulings = cover.long_lines + across.count
    short = [Act("ticks and bias lines", cover.short, pace.tick)] if cover.short else []
    yield Way(
        "hand",
        "by hand from tape sheets",
        "hand",
        (
            base(pace),
            Act("marks along a line", 2 * cover.cross_lines, pace.tick, parted=True),
            across,
            long_lines,
            Act("numerals written", cover.numerals, pace.numeral_freehand, parted=True),
            *short,
            proof(pace),
        ),
        by_tape(line_x, width, doubts).with_counts(marks=2 * cover.cross_lines),
        cross_lines="ruled",
        rulings=rulings,
        needs=("a straightedge", *FOR_ALL),
    )
    numbered = round(cover.length / cover.pitch) + 1
    each = lines_a_strip(paper, cover.pitch, numbered)
    strip, strips = each * cover.pitch, 2 * math.ceil(numbered / each)
    yield Way(
        "hand-strips",
        "by hand with printed strips",
        "hand",
        (
            base(pace),
            Act("strips laid", strips, pace.strip, parted=True),
            across,
            long_lines,
            Act("numerals traced", cover.numerals, pace.numeral_stencilled, parted=True),
            *short,
            proof(pace),
        ),
        by_strips(line_x, width, strip, cover.pitch, doubts).with_counts(marks=4),
        cross_lines="ruled",
        rulings=rulings,
        tracings=cover.numerals,
        sheets=strips,
        needs=("a printer", "a straightedge", *FOR_ALL),
    )
    beyond = cover.width + 2 * cover.pitch - _PANEL
    panels = 1 + max(0, math.ceil(beyond / _PANEL_ADDS))
    yield Way(
        "full-size",
        "printed full size, traced through",
        "hand",
        (
            base(pace),
            Act("panels laid", panels, pace.panel, 2),
            Act(
                "lines traced",
                cover.cross_lines,
                pace.line_traced,
                parted=True,
            ),
            long_lines,
            Act("numerals traced", cover.numerals, pace.numeral_traced, parted=True),
            *short,
            proof(pace),
        ),
        by_panels(line_x, width, doubts).with_counts(marks=4),
        tracings=cover.cross_lines + cover.numerals,
        rulings=cover.long_lines,
        sheets=panels,
        needs=("a wide printer", "transfer paper", *FOR_ALL),
    )


def base(pace: PaceTable) -> Act:
    """The base line and the square."""
    return Act("base line and square", 1, pace.base_and_square)


def proof(pace: PaceTable) -> Act:
    """The proof of the finished cover, which takes two."""
    return Act("proof", DISTANCES, pace.proof_distance, 2)


def ruled_across(lines: int, pace: PaceTable) -> Act:
    """Lines across the table ruled: alone in two reaches, or with a helper at the other end."""
    return Act(
        "cross lines ruled",
        lines,
        pace.line_ruled,
        helped_seconds=pace.line_ruled_by_two,
    )
