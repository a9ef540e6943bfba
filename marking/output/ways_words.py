"""The ways in words and as JSON: hours, what they hold, why each stands where it does.

It says what `marking.ways` reckons and computes nothing of its own.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from marking.measures.counts import counted
from marking.measures.lengths import format_length
from marking.network.allowed_errors import SQUARE_OVER
from marking.ways.by_hand import DISTANCES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.ways.acts import Hours
    from marking.ways.own_pace import Timed
    from marking.ways.reckoning import Reckoning
    from marking.ways.way import Reckoned

_SHOWN = 3
"""Of how many ways it is told where the hours go."""


def ways_record(
    ways: Sequence[Reckoned], best: Reckoned | None, timed: Sequence[Timed] = ()
) -> dict[str, Any]:
    """`ways --json`."""
    return {
        "schema": 1,
        "ways": [_way_record(one) for one in ways],
        "best": None if best is None else best.way.id,
        "at_your_pace": {
            one.key: {"own": one.own, "assumed": one.assumed, "times": one.count} for one in timed
        },
    }


def _way_record(one: Reckoned) -> dict[str, Any]:
    way, held = one.way, one.way.expected
    return {
        "id": way.id,
        "says": way.says,
        "machine": way.machine,
        "fence": way.fence,
        "cross_lines": way.cross_lines,
        "set_downs": held.set_downs if held else 0,
        "marks": held.marks if held else 0,
        "readings": held.readings if held else 0,
        "rulings": way.rulings,
        "tracings": way.tracings,
        "sheets": way.sheets,
        "people": one.least.people,
        "person_hours": list(one.least.person),
        "clock_hours": list(one.least.clock),
        "by_two": {
            "person_hours": list(one.by_two.person),
            "clock_hours": list(one.by_two.clock),
        },
        "machine_hours": way.machine_seconds / 3600,
        "worst_line_mm": held.line if held else None,
        "worst_total_mm": held.total if held else None,
        "worst_square_mm": held.square if held else None,
        "worst_neighbours_mm": held.neighbours if held else None,
        "worst_step_mm": held.step if held else None,
        "needs": list(way.needs),
        "acts": [
            {"what": act.what, "count": act.count, "seconds": act.seconds, "hands": act.hands}
            for act in way.acts
        ],
        "holds": one.holds,
        "why": one.why,
    }


def ways_lines(found: Reckoning, title: str, *, tried_all: bool) -> Iterator[str]:
    """All ways as a table, the best, where its hours go, and whose times these are."""
    cover, limits = found.cover, found.limits
    yield f"# Ways to mark {title}"
    yield ""
    yield (
        f"{counted(cover.cross_lines, 'cross line')}, {counted(cover.long_lines, 'long line')}, "
        f"{counted(cover.numerals, 'numeral')}. Allowed: total {limits.total:.2f} mm, "
        f"square {limits.square:.2f}, step {limits.step:.2f}, neighbours "
        + ("not limited." if math.isinf(limits.neighbours) else f"{limits.neighbours:.2f}.")
    )
    yield ""
    yield from _table(found)
    yield ""
    yield from _best_lines(found)
    yield ""
    yield "Why each stands where it does:"
    for one in found.ways:
        yield f"- {one.way.id}: {one.why}"
    holding = [one for one in found.ways if one.holds][:_SHOWN] or list(found.ways[:1])
    for one in holding:
        yield ""
        yield from _hours_lines(one)
    yield ""
    yield from _notes(found)
    if not tried_all:
        yield "- canvasrule ways --all tries every stock machine, and a usual fence."


def _table(found: Reckoning) -> Iterator[str]:
    yield (
        "| way | person-hours | by the clock, alone | by two | set-downs | marks | readings "
        "| rulings | tracings | sheets | total | square | neighbours | step | |"
    )
    yield "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|"
    for one in found.ways:
        way, held = one.way, one.way.expected
        name = f"{way.id}: {way.says}" + (" (chosen)" if way.id == found.chosen else "")
        if held is None:
            yield f"| {name} |{' |' * 13} cannot be done |"
            continue
        counts = (held.set_downs, held.marks, held.readings, way.rulings, way.tracings, way.sheets)
        figures = (held.total, held.square, held.neighbours, held.step)
        cells = [
            name,
            _range(one.least.person),
            _range(one.least.clock) + (" (two to set down)" if _takes_two(one) else ""),
            _range(one.by_two.clock),
            *map(str, counts),
            *(f"{figure:.2f}" for figure in figures),
            "holds" if one.holds else "does not hold",
        ]
        yield f"| {' | '.join(cells)} |"


def _takes_two(one: Reckoned) -> bool:
    return any(act.hands > 1 and act.what == "set-downs" for act in one.way.acts)


def _best_lines(found: Reckoning) -> Iterator[str]:
    best = found.best
    hand = next((one for one in found.ways if one.way.id == "hand"), None)
    if best is None:
        yield "No way holds what is allowed within two days of work."
    else:
        yield (
            f"Best: {best.way.id}, {best.way.says}: {_range(best.least.person)} person-hours, "
            f"{_range(best.least.clock)} h by the clock."
        )
        if best.way.note:
            yield f"But {best.way.note}."
    if hand is not None and hand is not best:
        verdict = "holds" if hand.holds else "does not hold"
        yield f"By hand from tape sheets: {_range(hand.least.person)} person-hours; it {verdict}."
    chosen = next((one for one in found.ways if one.way.id == found.chosen), None)
    if chosen is not None:
        yield f"Chosen: {chosen.way.id}, {_range(chosen.least.person)} person-hours."


def way_lines(one: Reckoned, found: Reckoning) -> Iterator[str]:
    """One way in detail."""
    way, held = one.way, one.way.expected
    yield f"# {way.id}: {way.says}"
    yield ""
    yield f"{one.why[:1].upper()}{one.why[1:]}."
    if held is None:
        return
    yield ""
    yield f"Alone: {_both(one.least)}. By two: {_both(one.by_two)}."
    if way.machine_seconds:
        yield f"The machine draws for {way.machine_seconds / 3600:.1f} h, watched all the while."
    yield (
        f"95 of 100 covers keep within: total {held.total:.2f} mm, square {held.square:.2f}, "
        f"neighbours {held.neighbours:.2f}, step {held.step:.2f}; any line {held.line:.2f} mm "
        "from true."
    )
    yield f"It needs: {'; '.join(way.needs)}."
    yield ""
    yield from _hours_lines(one)
    yield ""
    yield from _notes(found)


def _hours_lines(one: Reckoned) -> Iterator[str]:
    yield f"Where the hours of {one.way.id} go:"
    yield ""
    yield "| act | how often | each | person-hours |"
    yield "|---|---|---|---|"
    for act in one.way.acts:
        if act.count:
            by = ", by two" if act.hands > 1 else ""
            yield (
                f"| {act.what} | {act.count} | {_each(act.seconds)}{by} | {act.total / 3600:.2f} |"
            )
    yield f"| all of it | | | {sum(act.total for act in one.way.acts) / 3600:.2f} |"


def _notes(found: Reckoning) -> Iterator[str]:
    if found.own_times:
        yield f"- Your own times: {', '.join(found.own_times)}. All others are our own assumptions."
    else:
        yield "- These times are our own assumptions; [pace] in job.toml takes yours."
    for one in found.timed:
        yield f"- {timed_said(one)}"
    yield (
        "- From to: a practised person at these times, and a first cover, a quarter slower with "
        "finding out besides. Who is called in to help is counted for that time only."
    )
    yield (
        f"- The proof is reckoned as {DISTANCES} distances, which tell of the cover as a whole. A "
        "PASS may take many more, or readings of verniers over the joins: canvasrule prove tells "
        "how many."
    )
    yield "- 95 of 100 covers keep within the figures, in mm, by our own assumptions of each error."
    yield (
        "- total: how far a cross line is from where it belongs, measured from the zero line; "
        f"square: how far it leans over {format_length(SQUARE_OVER, found.units)}; neighbours: how "
        "far the gap between two lines is out; step: how far a line is broken where it is joined."
    )
    if any(one.way.sheets for one in found.ways):
        yield "- sheets: strips or panels that are printed and laid, several strips to a page."
    if found.fence is not None:
        yield f"- The fence is {format_length(found.fence.length, found.units)} long."


def timed_said(one: Timed) -> str:
    """An act at the job's own pace beside the assumption."""
    if one.key == "draw_speed":
        own, assumed = f"{one.own:g} mm/s", f"{one.assumed:g} mm/s"
    else:
        own, assumed = _each(one.own), _each(one.assumed)
    return (
        f"At your pace: {one.key} {own}, by {one.count} times in the record (assumed: {assumed})."
    )


def _each(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{round(seconds / 60, 1):g} min"


def _range(hours: tuple[float, float]) -> str:
    return f"{hours[0]:.1f} to {hours[1]:.1f}"


def _both(hours: Hours) -> str:
    return f"{_range(hours.person)} person-hours, {_range(hours.clock)} h by the clock"
