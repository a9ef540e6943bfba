"""What a person is told who marks by hand: what is needed, the order of work, each step, the error.

It knows the reckoned plan and no paper.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from marking.hand.scale_words import scale_steps
from marking.hand.top_words import longest_taped
from marking.layout.edges import off_the_wall
from marking.layout.second_scale import other_unit
from marking.measures.counts import counted
from marking.measures.durations import format_duration
from marking.measures.lengths import format_length, rough_length
from marking.measures.tape import as_taped, tape_reading
from marking.network.allowed_errors import SQUARE_OVER, allowed_of
from marking.ruling.order import HAND_ROOM, RULE_WIDTH
from marking.ruling.words import fine, heavy_said, shortest_rule, where_from
from marking.tape_marks.time_to_set_out import setting_out_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.hand.plan import ByHand
    from marking.hand.readings import LongTick, SideWork
    from marking.job.keys import MarkingJob
    from marking.job.work_keys import PaceTable
    from marking.layout.layout import Layout
    from marking.layout.numerals import Numeral
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.network.allowed_errors import Allowed
    from marking.ruling.order import WhoRules
    from marking.sections.ruled import RuledLine
    from marking.tape_marks.marks import TapeMarks
    from marking.ways.way import ExpectedErrors

CAUTIONS = (
    "Nobody climbs on the table: a padded top gives way. Reach in from the edges, walk round, or "
    "lay a batten across.",
    "Ink is permanent. Try marker, rule and cloth on a scrap first: for width and creeping under "
    "the rule; dry for a day, nothing may come off onto white cotton, rubbed or ironed, dry or "
    "damp.",
    "Permanent-marker solvents: air the room, keep away from flames and hot irons, follow the "
    "maker's safety sheet.",
    "A long rule or batten cuts and swings: two carry it, and it is laid, not dropped. Let a steel "
    "tape run back slowly. Put irons and blades away; cut paper on another table.",
    "Where local codes or the makers' instructions say otherwise, they come first.",
)
_ALONG: Mapping[Units, float] = {"in": 304.8, "mm": 300.0}
"""mm of a ruled half along which a short rule is laid for the other: our judgement, no source."""


def needed(plan: ByHand, layout: Layout, job: MarkingJob) -> Iterator[str]:
    """What to have ready."""
    longest = shortest_rule([step.line for step in plan.steps], job.units)
    span = rough_length(job.reach.span, job.units)
    pens = [f"a marker that draws {fine(job.pens.lines.width)}"]
    if job.pens.heavy.width != job.pens.lines.width:
        pens.append(f"one that draws {fine(job.pens.heavy.width)} for heavy lines")
    numerals = job.pens.numerals.width != job.pens.lines.width
    if numerals and (plan.near.numerals or plan.far.numerals):
        pens.append(f"one that draws {fine(job.pens.numerals.width)} for numerals")
    yield (
        f"One class {plan.frame.tape.tape_class} steel tape for everything, "
        f"{_tape_length(layout, job.units)} long or more; a straight batten or rule {longest} "
        f"long, and one of {span} or more for the long lines; clamps or weights; thread; a pencil "
        "or chalk that comes out of this canvas; a short rule with millimetres."
    )
    listed = "; ".join(pens)
    yield f"{listed[0].upper()}{listed[1:]}. A second person for the frame and the proof."


def _tape_length(layout: Layout, units: Units) -> str:
    """What a tape has to reach from corner to corner, in whole feet or half metres."""
    longest = longest_taped(layout)
    if units == "in":
        return f"{math.ceil(longest / 304.8)} ft"
    return f"{math.ceil(longest / 500) / 2:g} m"


def order_of_work(plan: ByHand, job: MarkingJob) -> Iterator[str]:
    """The whole job, step by step."""
    count = len(plan.ticks)
    wall = "".join(f"{note} " for note in off_the_wall(job.table))
    yield (
        f"{wall}The cover lies at rest, nothing on it: stretched and fastened, or slack where it "
        "is marked before it is put on. Take the top's sides and both diagonals once more, as "
        "they stand above."
    )
    yield (
        "Frame, by the sheet of tape marks: the base line, which is the near side's first long "
        "line; the zero line, which is line 0; the square; the far side's first long line; the "
        "diagonals."
    )
    yield f"Near side: {count} ticks by tape, then the checks of the count. Its sheets say how."
    yield f"Far side: {count} ticks by tape, and its checks. There the zero end is on your right."
    scaled = next((work for work in (plan.near, plan.far) if work.scale), None)
    numbered = [side for side in ("near", "far") if any(side in t.numerals for t in plan.ticks)]
    same = "both sides must have the same numeral at either end of it"
    if len(numbered) == 1:
        other = "near" if numbered == ["far"] else "far"
        same = f"the {other} side's sheet names, in its column {numbered[0]}, the numeral across"
    elif not numbered:
        same = "as many lines must lie between it and the zero line at either end of it"
    yield (
        "Look along the table: the line through each pair of ticks must stand square, and "
        f"{same}. Only then take a marker."
    )
    yield (
        "With printed strips (strips.pdf) ticks and numerals come off the strips in place of steps "
        "3 and 4; their first page says how. The checks of the count are made all the same."
    )
    yield "Rule the lines across, in the order of the sheets for ruling."
    yield (
        "When they are dry, rule the long lines, from the first long line of each side inwards, "
        "by that side's sheet."
    )
    if scaled is not None:
        unit = other_unit(job.units)
        yield f"On the {scaled.side} side draw the ticks of the {unit}, by its sheet."
    yield "Write the numerals when all lines are dry, from 0 on, each side from its own sheet."
    if job.grid.half_ticks:
        yield "Draw the half ticks."
    yield (
        "When all is dry, prove the cover by one tape: the diagonals and the lines' full length as "
        "on the sheet of tape marks, then lines here and there on both sides, each from zero. "
        f"Nothing may be off by more than {format_length(allowed_of(job).total, job.units)}. "
        "canvasrule prove tells which are enough, and gives the verdict."
    )
    yield "Only then take removable ticks and pencil lines out."


def tick_steps(work: SideWork, plan: ByHand, layout: Layout, job: MarkingJob) -> Iterator[str]:
    """How the ticks of one side are set."""
    other = "left" if work.zero_hand == "right" else "right"
    line = "base line" if work.side == "near" else "far line"
    first = plan.frame.marks[0].mark.id if work.side == "near" else _far_zero(plan)
    yield (
        f"Stand at the {work.side} edge: the zero end is on your {work.zero_hand.upper()}, the far "
        f"end on your {other}. If it is not, you are at the other side: take the other sheet."
    )
    yield (
        f"Lay the tape along the {line}, its printed 0 on the zero line ({first}), drawn taut and "
        "taped down: every reading below is from the one zero. If it is too short, move it on "
        "along the line, its 0 on a tape mark, and take what that mark reads off every reading "
        "past it."
    )
    yield (
        "Make a fine removable tick at each reading, sharp and square to the tape, and tick its "
        "box. Put a small H beside the heavy ones. Read the numeral aloud that the row gives."
    )
    if job.grid.half_ticks:
        quarter = format_length(layout.grid.pitch[1] / 4, job.units)
        yield (
            "Half ticks stand in the middle between two lines, where no fold line does, from the "
            f"first long line {quarter} inwards."
        )


def _far_zero(plan: ByHand) -> str:
    return next(mark.mark.id for mark in plan.frame.marks if mark.line == "far")


def check_steps(work: SideWork, plan: ByHand, units: Units) -> Iterator[str]:
    """Sums that do not come out where a number was skipped or a side begun at the wrong end."""
    tape = plan.frame.tape

    def shown(reading: float) -> str:
        return as_taped(reading, tape, units)

    if work.checks:
        listed = ", ".join(f"{check.name} at {shown(check.reading)}" for check in work.checks)
        yield (
            "Shift the tape: hold its 0 at the table's own zero end, along the same line. The mark "
            f"for each number must now lie over the tape at: {listed}. An edge is not sharp: "
            "a sixteenth of an inch or two (3 mm) off is no matter, a whole pitch is a number "
            "skipped."
            if units == "in"
            else "Shift the tape: hold its 0 at the table's own zero end, along the same line. The "
            f"mark for each number must now lie over the tape at: {listed}. An edge is not sharp: "
            "3 mm off is no matter, a whole pitch is a number skipped."
        )
        yield (
            f"From the tick of {work.checks[-1].name}, the last, to the far end: "
            f"{shown(work.last_to_end)}."
        )
    heavy = [tick for tick in plan.ticks if tick.heavy]
    if len(heavy) > 1:
        between = sum(heavy[0].x < tick.x < heavy[1].x for tick in plan.ticks)
        yield (
            f"Between two ticks marked H stand {between} others, everywhere but after the last H."
        )
    yield (f"Ticks on this side: {len(plan.ticks)}. Count them; the other side must have as many.")


def long_line_steps(work: SideWork, plan: ByHand, job: MarkingJob) -> Iterator[str]:
    """How the long lines of one side are ruled."""
    letter = work.side[0]
    ids = [mark.mark.id for mark in plan.frame.marks if mark.line == work.side]
    listed = ", ".join(ids)
    yield (
        f"At each tape mark {listed} hold the tape square to the first long line, its 0 on the "
        "middle of that line, and tick every reading below. "
        + (
            "The distance from the edge checks it."
            if letter == "n"
            else "The distance from the far edge, at either end, checks it."
        )
    )
    yield (
        "Rule each line from tick to tick over the whole length, from the zero line to the last "
        "line and no further, the rule laid over two marks at a time and, for the next length, "
        f"along at least {rough_length(_ALONG[job.units], job.units)} of what is ruled. It lies on "
        "the line's inner side, on bare cloth, set off by half a line's width; rule the next one "
        "when this one is dry."
    )
    if any(line.dashed for line in work.longs):
        half = format_length(job.grid.pitch / 4, job.units)
        yield (
            f"A dashed line is inked across every cross line, from {half} before it to {half} past "
            "it, and bare between."
        )
    if any(line.runs for line in work.longs):
        yield "Where the table says from where to where, that is read from the zero line."


def long_line_said(line: LongTick, plan: ByHand, units: Units) -> str:
    """Which hems a long line serves, and how it is drawn where it is not as the others."""
    said = [", ".join(line.serves)] if line.serves else []
    if line.heavy:
        said.append("heavy: ruled twice")
    if line.dashed:
        said.append("dashed")
    if line.runs is not None:
        start, end = (as_taped(one, plan.frame.tape, units) for one in line.runs)
        said.append(f"from {start} to {end} only")
    return "; ".join(said)


def numeral_steps(work: SideWork, plan: ByHand, layout: Layout, job: MarkingJob) -> Iterator[str]:
    """How the numerals of one side are written."""
    if not work.numerals:
        yield "No numerals on this side."
        return
    y = layout.grid.long_lines[0 if work.side == "near" else -1].y
    some = work.numerals[0]
    _, low, _, high = some.box_table
    near, far = sorted((abs(low - y), abs(high - y)))
    every = "" if job.numerals.every == 1 else f", one line in {job.numerals.every}"
    if work.scale:
        every = f", counting {other_unit(job.units)}, at the ticks that their table gives one"
        yield from scale_steps(work, layout, job)
    yield (
        f"Numerals {some.height:.1f} mm high over the ink{every}, upright as you stand here, in "
        f"the margin: their tops {near:.1f} mm and their feet {far:.1f} mm off the first long "
        "line. Draw two pencil lines so far off it to write between."
    )
    mark = "tick" if work.scale else "line"
    yield (
        f"Each stands with its middle on its {mark}. The column begin tells how many mm to the "
        f"left of the {mark}, as you stand here, its first digit begins."
    )
    yield from _other_numerals(work, plan, layout, job.units)


_BY_RULE = 50.0
"""mm that are told as a rule has them, and not as a tape."""
_KINDS = {
    "second": "A second row in the margin",
    "middle": "In the middle of the table",
    "band": "On a line of the band",
    "line": "On a line of its own",
}


def _other_numerals(work: SideWork, plan: ByHand, layout: Layout, units: Units) -> Iterator[str]:
    """Every numeral that does not stand in the margin's first row, row by row."""
    tape = plan.frame.tape
    zero = float(layout.grid.cross_x[0])
    first = layout.grid.long_lines[0 if work.side == "near" else -1].y
    inwards = 1 if work.side == "near" else -1
    rows: dict[tuple[str, float, float], list[Numeral]] = {}
    for one in work.others:
        _, low, _, high = one.box_table
        # Its foot is its edge towards whoever reads it, at the table's own edge.
        foot = (low if work.side == "near" else high) - first
        rows.setdefault((one.row, round(inwards * foot, 1), round(one.height, 1)), []).append(one)
    for (row, foot, height), numerals in rows.items():
        far = (
            f"{abs(foot):.1f} mm"
            if abs(foot) < _BY_RULE
            else as_taped(tape_reading(abs(foot), tape), tape, units)
        )
        where = f"{far} {'inside' if foot > 0 else 'outside'}"
        yield (
            f"{_KINDS[row]}, {height:.1f} mm high, their feet {where} the first long line: "
            f"{_where_each_stands(numerals, plan, layout, zero, tape, units)}."
        )


def _where_each_stands(
    numerals: Sequence[Numeral],
    plan: ByHand,
    layout: Layout,
    zero: float,
    tape: Tape,
    units: Units,
) -> str:
    """By the line each stands on, where all do; or by what the tape shows at its middle."""
    xs = {round(tick.x, 3): tick for tick in plan.ticks}
    on = [xs.get(round(one.at_table[0], 3)) for one in numerals]
    if all(tick is not None and tick.name.isdigit() for tick in on):
        values = [
            (int(tick.name), one.text) for tick, one in zip(on, numerals, strict=True) if tick
        ]
        turns = [
            n
            for n in range(len(values))
            if n in (0, len(values) - 1) or _turns(values[n - 1], values[n], values[n + 1])
        ]
        listed = ", ".join(f"{values[n][1]} on line {values[n][0]}" for n in turns)
        return f"{listed}, and so on between, each with its middle on its line"
    listed = ", ".join(
        f"{one.text} at {as_taped(tape_reading(one.at_table[0] - zero, tape), tape, units)}"
        for one in numerals
    )
    return f"their middles, from the zero line, {listed}"


def _turns(before: tuple[int, str], here: tuple[int, str], after: tuple[int, str]) -> bool:
    """Whether numbers stop counting on as they did."""
    if not all(one[1].isdigit() for one in (before, here, after)):
        return True
    (a, p), (b, q), (c, r) = ((line, int(text)) for line, text in (before, here, after))
    return (q - p) * (c - b) != (r - q) * (b - a)


def ruling_steps(plan: ByHand, layout: Layout, job: MarkingJob) -> tuple[str, ...]:
    """How the lines across the table are ruled."""
    return tuple(_ruling_steps([step.line for step in plan.steps], layout, job, plan.manner))


def _ruling_steps(
    lines: list[RuledLine], layout: Layout, job: MarkingJob, manner: WhoRules
) -> Iterator[str]:
    away, hand = ("zero", "far") if manner.rule_side < 0 else ("far", "zero")
    yield (
        f"Use one straight batten or rule at least {shortest_rule(lines, job.units)} long. Lay it "
        "across from edge to edge over both ticks, instead of climbing, and clamp or weight it at "
        "both edges. Turned over against a ruled line it must show no bow."
    )
    yield (
        f"It lies on the {away}-end side of the line, bevel up. Set its edge off from the middle "
        f"of both ticks by half the line's width, {fine(job.pens.lines.width / 2)}"
        + (
            f" (heavy lines {fine(job.pens.heavy.width / 2)})"
            if job.pens.heavy.width != job.pens.lines.width
            else ""
        )
        + ", so that the middle of the line runs through them: rule one line on scrap and measure "
        "what your own tip wants."
    )
    yield "Begin and end each line on the first long lines, near and far, and not beyond."
    yield from where_from(lines[0], layout, job, manner)
    yield (
        "Where no batten is long enough a line is joined: rule the near half, then from the other "
        f"side lay the rule along at least {rough_length(_ALONG[job.units], job.units)} of what is "
        "ruled and through the far tick, and end in what is ruled. If the two do not meet, stop "
        "and find which tick is wrong."
    )
    heavy = next((line for line in lines if line.heavy), None)
    if heavy is not None:
        yield heavy_said(heavy, job.pens)
    yield (
        f"Lift the batten straight up. The order below keeps it (up to {fine(RULE_WIDTH)} "
        f"wide) and your hand ({fine(HAND_ROOM)}, on the {hand}-end side) off lines ruled "
        f"less than {format_duration(job.inking.drying)} ago; where it says wait, wait."
    )
    slanted = [line for line in lines if line.points[0, 0] != line.points[1, 0]]
    for line in slanted:
        yield _bias_said(line, layout, job.units)


def _bias_said(line: RuledLine, layout: Layout, units: Units) -> str:
    (x0, y0), (x1, y1) = line.points.tolist()
    zero = float(layout.grid.cross_x[0])
    start, end = (format_length(x - zero, units) for x in (x0, x1))
    top = (
        "on the far line"
        if abs(y1 - layout.grid.long_lines[-1].y) < 1e-6
        else f"{format_length(y1 - y0, units)} up the last line"
    )
    return f"{line.of} runs from {start} on the base line to {end} from the zero line {top}."


def line_reads(plan: ByHand, units: Units, line: RuledLine) -> str:
    """What the tape shows at a line's near end."""
    zero = plan.ticks[0].x
    reading = tape_reading(float(line.points[0, 0]) - zero, plan.frame.tape)
    return as_taped(reading, plan.frame.tape, units)


def time_said(tape_marks: TapeMarks, pace: PaceTable) -> str:
    """How long the frame and its few marks take."""
    frame = format_duration(pace.base_and_square)
    ticks = format_duration(setting_out_of(tape_marks, None, pace).seconds)
    return (
        f"About {frame} for base line, square and diagonals, and {ticks} to tick "
        f"{counted(len(tape_marks.marks), 'mark')} by tape (our estimates, or your [pace])."
    )


def expected_lines(expected: ExpectedErrors, limits: Allowed, units: Units) -> Iterator[str]:
    """What a careful hand leaves, the verdict last."""
    yield (
        "Set by one tape, ruled with a batten and nothing miscounted, 95 of 100 covers have no "
        f"line further than {expected.total:.2f} mm from where it counts to, from zero, the "
        f"tape's own error included{_allowed(limits.total)}."
    )
    yield (
        f"None leans by more than {expected.square:.2f} mm over "
        f"{rough_length(SQUARE_OVER, units)}"
        f"{_allowed(limits.square)}; no gap between two lines off by more than "
        f"{expected.neighbours:.2f} mm{_allowed(limits.neighbours)}; no step of more than "
        f"{expected.step:.2f} mm where the halves of a line meet{_allowed(limits.step)}."
    )
    yield (
        "Left out: a number skipped, a tape misread, cloth that moves. The checks on the sheets "
        "are there for the first two."
    )
    yield "DOES NOT HOLD" if expected.past(limits) else "HOLDS"


def expected_record(expected: ExpectedErrors, limits: Allowed) -> dict[str, Any]:
    """The same for programs, mm; a limit that is not set is left out."""
    told = {name: getattr(expected, name) for name in ("total", "square", "neighbours", "step")}
    return {
        **told,
        "line": expected.line,
        "allowed": {name: limit for name in told if math.isfinite(limit := getattr(limits, name))},
        "holds": not expected.past(limits),
    }


def _allowed(limit: float) -> str:
    return f" ({limit:.2f} mm is allowed)" if math.isfinite(limit) else ""
