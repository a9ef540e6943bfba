"""What a person is told of a cover: what to buy, how it goes on, cautions; and JSON of it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from marking.cloth.canvas import SEWN
from marking.cloth.cover import AT_A_CORNER, SCREWS
from marking.measures.counts import counted
from marking.measures.lengths import format_length, rough_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.cloth.cover import Cover
    from marking.cloth.stretch_run import StretchRun
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

WITH_BOARDS = (
    "Underlay, pad and canvas must all suit the heat and steam of your iron, by their makers' "
    "word: ask before you buy. A board or foam that softens, gives off fumes or scorches does not.",
    "Cutting board makes dust: cut with a sharp knife where the board lets you, outdoors or with "
    "extraction, and wear a mask for fine dust. Cut away from yourself, on a firm rest.",
    "Two people lift a sheet.",
)
WITH_STAPLES = (
    "Wear eye protection when you staple and when you take staples out; keep the other hand away "
    "from the gun's mouth, and take air or current off before you clear it.",
    "Two people carry the roll of canvas and pull it on. Nobody climbs on the table.",
    "Where local codes or the makers' instructions say otherwise, they come first.",
)
_RESTS = "24 hours"
"""Common practice, no source."""


def amounts(cover: Cover, job: MarkingJob) -> Iterator[tuple[str, str]]:
    """What to buy: of what, and how much with where it comes from."""
    units, canvas = job.units, cover.canvas
    yield "canvas", _canvas_bought(cover, job.units)
    if canvas.seam is not None:
        long, wide = canvas.seam.strip
        yield (
            "a strip of it",
            f"{bought_length(long, units)} long and {bought_length(wide, units)} wide, sewn to "
            f"the far side with a seam of {rough_length(SEWN[units], units)}, pressed open; the "
            f"seam lies {_seam_place(cover, job.units)}, clear of every mark",
        )
    long, wide = cover.pad
    yield (
        "pad",
        f"{bought_length(long, units)} by {bought_length(wide, units)}, in one piece if it is "
        "sold so; cut flush with the top's own edges in place. Pieces are butted, never lapped",
    )
    board = cover.underlay
    size = " by ".join(format_length(side, units) for side in board.sheet)
    yield (
        "underlay",
        f"{counted(board.sheets, 'sheet')} of {size}, {_thick(units)} soft board (common "
        f"practice): {counted(len(board.pieces), 'piece')}, {counted(board.cuts, 'cut')}",
    )
    spacing = [rough_length(one, units) for one in SCREWS[units][:2]]
    yield (
        "screws",
        f"{cover.screws}, {spacing[0]} by {spacing[1]} apart at most, shorter than board and top "
        "together, their heads sunk",
    )
    yield (
        "staples",
        f"{cover.staples}, {format_length(job.cover.staple_spacing, units)} apart and "
        f"{AT_A_CORNER} more at each corner; a tenth more for those that come out again",
    )
    for one in cover.markers:
        *some, last = ("heavy lines" if pen == "heavy" else pen for pen in one.pens)
        drawn = f"{', '.join(some)} and {last}" if some else last
        yield (
            "marker",
            f"{one.count} of {one.width:g} mm for {drawn}: {_metres(one.ink)} of line, passes "
            f"counted, at {_metres(one.lasts)} a marker; one more for the scrap",
        )


def _canvas_bought(cover: Cover, units: Units) -> str:
    canvas = cover.canvas
    length, width = canvas.cut
    bought = format_length(canvas.bought_width, units)
    runs = f"{bought_length(length, units)} ({_off_the_roll(length, units)}) of {bought} wide"
    takes = (
        f"it takes {rough_length(width, units)}; the rest is cut back with the wrap"
        if canvas.seam is None
        else f"the top takes {rough_length(width, units)}, and nothing so wide is named"
    )
    return (
        f"{runs}: {takes}. In the length are {rough_length(canvas.hangs_over, units)} at each "
        f"end to go down, wrap and staple, and {rough_length(canvas.squaring, units)} to square it"
    )


def _seam_place(cover: Cover, units: Units) -> str:
    assert cover.canvas.seam is not None
    beyond = cover.canvas.seam.y - cover.canvas.top[3]
    shown = rough_length(abs(beyond), units)
    if beyond < 0:
        return f"{shown} in from the far edge"
    return f"{shown} beyond the far edge, in the wrap"


def steps(cover: Cover, job: MarkingJob, *, pulled_on: bool) -> Iterator[str]:
    """How the cover is laid and fastened, in order; common practice, no source.

    `pulled_on` says that it is marked before it is stretched, and pulled onto ticks.
    """
    units, canvas = job.units, cover.canvas

    def shown(length: float) -> str:
        return rough_length(length, units)

    yield (
        "Screw the boards down as drawn, joints butted and flush, then trim them to the top. Round "
        "over the edge that the canvas turns. Lay the pad, cut flush; it is held by the canvas."
    )
    yield (
        f"Unroll the canvas flat, without folds, in the room where it will lie, and let it rest "
        f"{_RESTS} before it is cut."
    )
    along, across, slope = canvas.lines.legs
    off = "1/16 in" if units == "in" else "1.5 mm"
    yield (
        f"Square the zero end: within the first {shown(canvas.squaring)} draw out one "
        "thread from side to side and cut along its gap. Do the same at the other end."
    )
    yield (
        f"Draw two lines on the loose canvas with a pencil or thread that comes out: the long one "
        f"{shown(canvas.lines.long_from_near_side)} from its near side all along, the short one "
        f"{shown(canvas.lines.short_from_end)} from the squared end, along a thread. Check: "
        f"{shown(along)} along, {shown(across)} across, {shown(slope)} between. If that is off by "
        f"more than {off}, pull the canvas on the bias until it is right."
    )
    yield (
        "Lay it on so that the long line lies on the top's near edge and the short one passes "
        "through the zero corner: these are the two lines that the marking counts from, and all "
        "four sides then have as much to pull by."
    )
    where = (
        "under the top" if job.cover.fastened == "underneath" else "into the middle of its sides"
    )
    if pulled_on:
        yield (
            f"Staple {where}. This cover is marked before it is stretched: pull its lines "
            "onto the ticks on the table's sides that the report lists, in its order."
        )
    else:
        yield (
            f"Staple {where}: the near long edge from its two ends to the middle; then the zero "
            "end; then the far long edge, pulled straight across, from its ends to the middle; "
            "then the far end. Corners last, folded flat. Look along the threads as you go: none "
            "may bow."
        )
    yield (
        "Go round once more, let go what has puckered, then cut back what hangs below the staples "
        "to about a finger's width."
    )


def _out_of_square(layout: Layout, job: MarkingJob) -> str | None:
    lean = layout.top.out_of_square
    if abs(lean) <= job.tolerance:
        return None
    return (
        f"The zero end of this top leans by {rough_length(abs(lean), job.units)}: there the short "
        "line is right, and the edge is not."
    )


def board_notes(cover: Cover, units: Units) -> Iterator[str]:
    """What to know of the cutting plan."""
    board = cover.underlay
    yield (
        "Cut each sheet by cuts from side to side, as drawn: by a knife nothing is lost; a saw "
        "takes half its kerf from both pieces, which pad and canvas hide."
    )
    if board.under_bands:
        yield (
            f"{rough_length(board.under_bands, units)} of joint lie under a hem band; no way "
            "of laying these sheets avoids it. Fill and sand it flush."
        )
    if board.in_line:
        yield "Some joints of neighbouring courses lie close together: fill and sand them flush."


def cover_lines(cover: Cover, layout: Layout, job: MarkingJob, *, pulled_on: bool) -> Iterator[str]:
    """All of it in readable lines."""
    yield f"{job.title}: what to buy, and how the cover sits"
    yield ""
    for what, much in amounts(cover, job):
        yield f"  {what}: {much}"
    yield ""
    left, low = cover.canvas.top[:2]
    for number, piece in enumerate(cover.underlay.pieces, 1):
        x0, y0, x1, y1 = piece.lies
        long, wide, x, y = (
            rough_length(one, job.units) for one in (x1 - x0, y1 - y0, x0 - left, y0 - low)
        )
        yield (
            f"  board {number}, from sheet {piece.sheet}: {long} along by {wide} across, laid {x} "
            f"from the zero end and {y} from the near edge"
        )
    yield ""
    # Sheets are cut before the first board is screwed down.
    yield from (f"  {note}" for note in board_notes(cover, job.units))
    yield ""
    told = [*steps(cover, job, pulled_on=pulled_on), _out_of_square(layout, job)]
    for number, step in enumerate(filter(None, told), 1):
        yield f"{number}. {step}"
    yield ""
    yield from WITH_BOARDS
    yield from WITH_STAPLES


def cover_record(cover: Cover) -> dict[str, Any]:
    """`cover --json`: mm; `lies` and `seam` in the table frame, `cut` in the sheet's own."""
    canvas, board, lines = cover.canvas, cover.underlay, cover.canvas.lines
    return {
        "schema": 1,
        "canvas": {
            "cut": list(canvas.cut),
            "bought_width": canvas.bought_width,
            "seam": None if canvas.seam is None else canvas.seam.y,
            "strip": None if canvas.seam is None else list(canvas.seam.strip),
            "hangs_over": canvas.hangs_over,
        },
        "pad": list(cover.pad),
        "underlay": {
            "sheet": list(board.sheet),
            "sheets": board.sheets,
            "cuts": board.cuts,
            "pieces": [
                {"sheet": piece.sheet, "cut": list(piece.cut), "lies": list(piece.lies)}
                for piece in board.pieces
            ],
        },
        "staples": cover.staples,
        "screws": cover.screws,
        "markers": [
            {
                "pen": one.pens[0],
                "pens": list(one.pens),
                "count": one.count,
                "ink_mm": one.ink,
                "lasts_mm": one.lasts,
            }
            for one in cover.markers
        ],
        "reference_lines": {
            "long": {"table_y": 0.0, "from_near_side": lines.long_from_near_side},
            "short": {"table_x": 0.0, "from_squared_end": lines.short_from_end},
            "square": list(lines.legs),
        },
    }


def run_lines(
    runs: dict[str, StretchRun], layout: Layout, job: MarkingJob, file: str
) -> Iterator[str]:
    """What was written of measured runs, and how far each may be wrong."""
    for key, run in runs.items():
        far = float(layout.grid.cross_x[-1] - layout.grid.cross_x[0]) / layout.slack[0]
        line = f"line {len(layout.grid.cross_x) - 1}"
        if key == "stretch_width":
            far, line = layout.top.inscribed[3] / layout.slack[1], "the far edge"
        off = run.doubt(job.tape.division) * far
        yield (
            f'{file}: [cloth] {key} = "{run.percent}". Read to '
            f"{format_length(job.tape.division, job.units)} over "
            f"{format_length(run.before, job.units)}, it may leave {line} "
            f"{rough_length(off, job.units)} off: a longer run tells it better"
        )
        if run.unlikely:
            yield (
                f"{file}: {key}: {run.stretch:.1%} is more than a cover usually stretches, which "
                "is a few parts in a hundred (common practice, no source). Measure the run again "
                "before anything is marked by it"
            )


def bought_length(length: float, units: Units) -> str:
    """Rounded up to the whole inch or centimetre."""
    step = 25.4 if units == "in" else 10.0
    return format_length(math.ceil(length / step - 1e-6) * step, units)


def _off_the_roll(length: float, units: Units) -> str:
    """As it is sold: eighths of a yard, or tenths of a metre, rounded up."""
    if units == "mm":
        return f"{math.ceil(length / 100 - 1e-6) / 10:g} m"
    eighths = math.ceil(length / 914.4 * 8 - 1e-6)
    whole, rest = divmod(eighths, 8)
    part = {0: "", 1: " 1/8", 2: " 1/4", 3: " 3/8", 4: " 1/2", 5: " 5/8", 6: " 3/4", 7: " 7/8"}
    return f"{whole}{part[rest]} yd"


def _thick(units: Units) -> str:
    return "1/2 in" if units == "in" else "12 mm"


def _metres(length: float) -> str:
    return f"{length / 1000:.0f} m"
