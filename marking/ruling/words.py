"""What a person is told who rules lines: how, in which order, with which cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.job.line_numbers import lines_counted
from marking.measures.durations import format_duration
from marking.measures.lengths import format_length, rough_length
from marking.ruling.order import HAND_ROOM, RULE_WIDTH, seconds_for
from marking.ruling.reaches import out_of_reach, reaches

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.job.keys import MarkingJob, PensTable
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.ruling.order import LineRuled, WhoRules
    from marking.sections.ruled import RuledLine

CAUTIONS = (
    "Try marker, rule and cloth on a scrap first: for width, creeping under the rule, fastness.",
    "Permanent-marker solvents: air the room, keep away from flames and irons, follow the maker's "
    "safety sheet.",
    "A long rule has edges and corners that cut, and swings: two carry it, fingers stay off the "
    "edge that the marker runs along, and it is laid, not dropped.",
    "Nobody climbs on the table. Where local codes or the makers' instructions say otherwise, they "
    "come first.",
)


def line_name(line: RuledLine) -> str:
    """What a person calls it: the number of a cross line, the id of any other."""
    kind, _, number = line.of.partition("-")
    return number if kind == "cross" else line.of


def how_to(
    lines: Sequence[RuledLine], layout: Layout, job: MarkingJob, manner: WhoRules
) -> Iterator[str]:
    """The steps, as sentences."""
    yield from lines_counted(job.numerals)
    away, hand = ("zero", "far") if manner.rule_side < 0 else ("far", "zero")
    pen = job.pens.lines
    yield (
        f"Begin when the last stub has dried for {format_duration(job.inking.drying)}. Use one "
        f"straight rule that reaches over both stubs, at least {shortest_rule(lines, job.units)} "
        "long; turned over against a ruled line it must show no bow."
    )
    yield (
        f"Lay the rule on the {away}-end side of the line, bevel up, so that its edge is off the "
        "cloth and ink does not creep under it. Weight it at both ends."
    )
    yield (
        f"Set it off from the middle of both stubs by half the tip's width, "
        f"{fine(pen.width / 2)}: a tip as wide as the stub then runs on it, and the edge lies "
        f"along the stub's {away}-end side. Sight along the whole stub, not its end alone."
    )
    yield from where_from(lines[0], layout, job, manner)
    heavy = [line for line in lines if line.heavy]
    if heavy:
        yield heavy_said(heavy[0], job.pens)
    yield (
        f"Lift the rule straight up. The order below keeps rule (up to {fine(RULE_WIDTH)} wide) "
        f"and hand ({fine(HAND_ROOM)}, on the {hand}-end side) off lines ruled less than "
        f"{format_duration(job.inking.drying)} ago; where it says wait, wait. No device, foot or "
        "sleeve on wet lines either."
    )
    tips = "both tips" if manner.by_two else "the tip"
    yield (
        f"Change {tips} where the sheet says so, after {job.pace.tip / 1000:.0f} m of line, and "
        "sooner when a line comes out wider than its stub."
    )


def where_from(line: RuledLine, layout: Layout, job: MarkingJob, manner: WhoRules) -> Iterator[str]:
    """From which edge a line is ruled, and where its halves meet."""
    parts = reaches(line, layout, job.reach)
    if len(parts) == 1:
        yield "Rule each line from the near edge, in one reach."
        return
    meet = rough_length(parts[0].end, job.units)
    who = "the helper rules" if manner.by_two else "you walk round and rule"
    yield (
        f"Rule the near half from the near edge, up to {meet} off it; the rule stays as it lies, "
        f"and {who} the far half from the far edge. The second half ends in the first: no gap, no "
        "second line."
    )
    needed = out_of_reach(layout, job.reach)
    if needed is not None:
        yield (
            f"An arm's reach of {rough_length(job.reach.depth, job.units)} leaves the middle out: "
            f"it takes {format_length(needed, job.units)} from each edge. Hold the marker in a "
            "stick that lengthens it; do not lean on wet cloth, and do not climb."
        )


def heavy_said(line: RuledLine, pens: PensTable) -> str:
    """How heavy lines are ruled, `line` being one of them."""
    pen, times = pens.heavy, line.stroke.times(pens.heavy)
    often = {1: "once, with its own tip", 2: "twice"}.get(times, f"{times} times")
    said = f"Lines marked H are the heavier ones: rule them {often}"
    if times == 1:
        return f"{said}, {fine(pen.width)} wide."
    if not line.stroke.beside:
        return f"{said}, the rule not moved between."
    return (
        f"{said}, the rule shifted half a tip, {fine(pen.width / 2)}, between, so that they come "
        f"out {fine(line.stroke.ink_width(pen))} wide, evenly about their true place."
    )


def fine(length: float) -> str:
    """Finer than a tape shows, as a marker's tip is told."""
    return f"{length:g} mm"


def shortest_rule(lines: Sequence[RuledLine], units: Units) -> str:
    """Over the longest line and 2 in of the stub at each end."""
    longest = max(line.stroke.length for line in lines)
    return rough_length(longest + 2 * 50.8, units)


def time_told(steps: Sequence[LineRuled], job: MarkingJob, manner: WhoRules) -> str:
    """How long the steps take, by the paces in job.toml, to go on a sentence with."""
    work = sum(seconds_for(step.line, job, manner) for step in steps)
    waits = steps[-1].ends - work if steps else 0.0
    who = "by two" if manner.by_two else "alone"
    said = f"about {format_duration(work)} {who}"
    return f"{said}, and {format_duration(waits)} of waiting" if waits >= 1 else said


def note_of(step: LineRuled) -> str:
    """What stands beside a line in the order: wait, new tip."""
    notes = ["new tip"] if step.new_tip else []
    if step.waits >= 1:
        notes.append(f"wait {format_duration(step.waits)}")
    return ", ".join(notes)
