"""What setting out tape marks one way or another will hold, each way tried by computing it.

A way is what a person can ask of `control`, no more: every figure here is that of marks set out
just so. Marks at the nodes of the sections, few of them read, cost least; rows at a spacing, every
mark read, are there for who asks for them. It knows forecasts and setting out, no device. Table
frame, millimetres.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import BadInputError, RefusedError
from marking.measures.lengths import format_length, parse_length
from marking.network.error_model import ErrorModel
from marking.placement.compromise import FOLLOW
from marking.record.readings import READING_SD
from marking.tape_marks.clampings import clampings, stretches
from marking.tape_marks.forecast import forecast
from marking.tape_marks.marks import row_joins, set_out, set_out_at, tape_datum
from marking.tape_marks.nodes import nodes
from marking.tape_marks.readings_asked import Asking, asked
from marking.tape_marks.time_to_set_out import OURS, SettingOut, setting_out_of
from marking.tape_marks.visible import sights

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from marking.arrays import Spot
    from marking.job.work_keys import FenceTable, PaceTable
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.network.allowed_errors import Allowed
    from marking.network.fence import Clamping
    from marking.sections.plan import Plan
    from marking.tape_marks.forecast import Forecast
    from marking.tape_marks.marks import TapeMarks, TapeRow
    from marking.tape_marks.readings_asked import ReadingsAsked, Ties
    from marking.tape_marks.visible import Sights

AtNodes = Literal["all", "half", "ends"]
"""Which nodes carry a mark: each; every other and all of the first and last column; or, against a
fence, those at the ends of its clampings."""

SPACINGS: dict[Units, tuple[float, ...]] = {
    "in": (609.6, 304.8, 152.4, 76.2),
    "mm": (600.0, 300.0, 150.0, 75.0),
}
"""What is tried, wide to close: 24, 12, 6 and 3 in, or about as much in whole millimetres."""
_AT_FENCE: tuple[AtNodes, ...] = ("ends",)
_TIES: tuple[Ties, ...] = ("beside", "beside and some below", "beside and below")
_FENCE_TIES: tuple[Ties, ...] = (_TIES[0], "beside and few below", *_TIES[1:])
BELOW: dict[Ties, str] = {
    "beside and few below": "few",
    "beside and some below": "some",
    "beside and below": "all",
}
TRIED = 10
"""Forecasts that `remedies` makes at most: half a minute's on a cover of eighty sections."""
_ERRORS = ErrorModel()
_SAME = 1e-3
"""mm: a written spacing that parses to within this is the spacing."""


class MarksChoice(Struct, frozen=True):
    """How tape marks are set out and read: what `control` can be asked for."""

    spacing: float | None = None
    """mm from one mark to the next, at most; None for marks at nodes."""
    join_rows: int = 0
    """Rows of marks along every n-th join between rows of sections; 0 for none."""
    repeats: int = 1
    """How often each mark is read."""
    at_nodes: AtNodes = "all"
    ties: Ties = "beside"
    """Of marks at nodes: whose ink each section reads."""

    def flags(self, units: Units) -> str:
        """The options that ask for it, to be typed as they stand."""
        twice = " --read-twice" if self.repeats > 1 else ""
        if self.spacing is None:
            tied = f" --tie-below {BELOW[self.ties]}" if self.ties in BELOW else ""
            return f"--nodes {self.at_nodes}{tied}{twice}"
        rows = f" --join-rows {self.join_rows}" if self.join_rows else ""
        return f'--spacing "{written(self.spacing, units)}"{rows}{twice}'


class Task(Struct, frozen=True):
    """What is to be marked, with which tape and to which limits."""

    layout: Layout
    plan: Plan
    tape: Tape
    units: Units
    limits: Allowed
    rows: tuple[TapeRow, ...] = ()
    """Rows of marks that are set out already: they keep their names."""
    pace: PaceTable = OURS
    """How long a person takes for each act."""
    errors: ErrorModel = _ERRORS
    """What errs beside readings, tape and square."""
    fence: FenceTable | None = None
    """The rail that devices are pushed against, where there is one."""


class ChosenMarks(Struct, frozen=True):
    """One way of setting out, what it is made of and what it gives."""

    way: MarksChoice
    tape_marks: TapeMarks
    forecast: Forecast
    setting_out: SettingOut
    """What it asks of a person."""
    slip: float | None = None
    """mm: a slip of this much in any one of the readings asked for shows 99 times in 100; None
    where every mark in sight is read."""
    fences: Mapping[str, Clamping] | None = None
    """By section, what its device is pushed against, where marks stand for a fence."""

    @property
    def minutes(self) -> float:
        """Setting out and reading, at the job's pace."""
        return self.setting_out.minutes

    @property
    def worst(self) -> float:
        """The figure furthest past its limit, over that limit."""
        return max(figure / limit for figure, limit in self.forecast.against.values())


def written(spacing: float, units: Units) -> str:
    """A spacing as a person types it: what is read back is the same to a thousandth of a mm."""
    shown = format_length(spacing, units)
    exact = abs(parse_length(shown) - spacing) < _SAME
    return shown if exact else f"{spacing:.3f}".rstrip("0").rstrip(".") + " mm"


def work(task: Task, way: MarksChoice) -> ChosenMarks:
    """The marks of `way` and their forecast.

    Raises RefusedError naming the first section that cannot be placed, or when the marking is too
    small to be squared; BadInputError for rows that the plan does not have.
    """
    return _forecast(task, _planned(task, way))


class _Planned(Struct, frozen=True):
    """The marks of a way, and who reads them, before their forecast, which takes far longer."""

    way: MarksChoice
    tape_marks: TapeMarks
    seen: Sights
    setting_out: SettingOut
    asked: ReadingsAsked | None = None
    """Of marks at nodes: what each section is to read."""


def _planned(task: Task, way: MarksChoice) -> _Planned:
    return _at_nodes(task, way) if way.spacing is None else _in_rows(task, way, way.spacing)


def _in_rows(task: Task, way: MarksChoice, spacing: float) -> _Planned:
    """Rows of marks at a spacing; each section reads every mark in its sight."""
    if not 0 <= way.join_rows <= task.plan.rows:
        raise BadInputError(
            f"--join-rows {way.join_rows}: give 1 for each join, 2 for one in two, or 0"
        )
    heights = row_joins(task.plan)[:: way.join_rows] if way.join_rows else []
    tape_marks = set_out(
        task.layout, spacing, task.tape, task.units, heights=heights, named=task.rows
    )
    seen = _sights(task, tape_marks)
    readings = sum(map(len, seen.seen.values())) * way.repeats
    return _Planned(way, tape_marks, seen, setting_out_of(tape_marks, readings, task.pace))


def _sights(task: Task, tape_marks: TapeMarks) -> Sights:
    """What each section reads of `tape_marks`, its marks with the errors they have by the tape."""
    sd = float(np.sqrt(np.mean([mark.sd**2 for mark in tape_marks.marks])))
    marks = [mark.mark for mark in tape_marks.marks]
    return sights(task.plan, task.layout.grid, marks, None, sd, dict(tape_marks.read))


def _forecast(task: Task, one: _Planned) -> ChosenMarks:
    fences = _fences(task, one.tape_marks) if one.asked else None
    found = forecast(
        task.plan,
        one.seen,
        READING_SD,
        task.limits,
        one.way.repeats,
        tape_datum(one.tape_marks),
        errors=task.errors,
        fences=fences,
        follow=FOLLOW,
    )
    slip = one.asked.slip if one.asked else None
    return ChosenMarks(one.way, one.tape_marks, found, one.setting_out, slip, fences)


def _at_nodes(task: Task, way: MarksChoice) -> _Planned:
    """Marks at nodes, of which each section reads what it is asked for."""
    rows: dict[float, list[Spot]] = {}
    for node in nodes(task.plan, task.layout.grid, task.units):
        rows.setdefault(node.at_table[1], []).append(node.at_table)
    ends = _clamped_at(task)
    kept = [
        [
            spot if _has_mark(way.at_nodes, r, c, len(row), ends) else None
            for c, spot in enumerate(row)
        ]
        for r, row in enumerate(rows.values())
    ]
    tape_marks = set_out_at(task.layout, kept, task.tape, task.units, task.rows)
    # A corner stands for base line and square: it lies on ink, and its neighbour is read.
    marks = [mark.mark for mark in tape_marks.marks if mark.line == "row"]
    seen = sights(task.plan, task.layout.grid, marks)
    sd = READING_SD / way.repeats**0.5
    fences = _fences(task, tape_marks)
    found = asked(
        Asking(task.plan, seen, sd, tape_datum(tape_marks), task.errors, way.ties, fences)
    )
    tape_marks = replace(tape_marks, read=tuple(found.read.items()))
    readings = sum(map(len, found.read.values())) * way.repeats
    asks = setting_out_of(tape_marks, readings, task.pace)
    return _Planned(way, tape_marks, _sights(task, tape_marks), asks, found)


def _fences(task: Task, tape_marks: TapeMarks) -> Mapping[str, Clamping] | None:
    if task.fence is None:
        return None
    marks = [mark.mark for mark in tape_marks.marks if mark.line == "row"]
    return clampings(task.plan, task.fence, marks)


def _has_mark(
    which: AtNodes, row: int, column: int, columns: int, clamped_at: frozenset[int]
) -> bool:
    if which == "all" or column in (0, columns - 1):
        return True
    return column in clamped_at if which == "ends" else (row + column) % 2 == 0


def _clamped_at(task: Task) -> frozenset[int]:
    """The columns of nodes where a fence that is moved along begins anew."""
    if task.fence is None:
        return frozenset()
    return frozenset(here[0].column - 1 for here in stretches(task.plan, task.fence.length))


def least_work(
    task: Task, repeats: int, told: Callable[[MarksChoice], None]
) -> tuple[ChosenMarks, tuple[ChosenMarks, ...]]:
    """The marks at nodes that take a person least time among those that hold; else the best.

    With all others that were tried before it. Those whose readings show every slip go first.
    `told` hears of each way before its forecast. Ways are tried from the least work up, so that
    the first that holds is it. Raises RefusedError when none places every section.
    """
    which: AtNodes = "all" if task.fence is None else "ends"
    tried: list[ChosenMarks] = []
    refused: RefusedError | None = None
    for one in _by_work(task, which, repeats):
        told(one.way)
        try:
            tried.append(_forecast(task, one))
        except RefusedError as fault:
            refused = fault
            continue
        if tried[-1].forecast.holds:
            return tried[-1], tuple(tried[:-1])
    if not tried:
        raise refused or RefusedError("no marks were tried")
    best = min(tried, key=lambda each: each.worst)
    return best, tuple(each for each in tried if each is not best)


def _by_work(task: Task, which: AtNodes, repeats: int) -> Iterator[_Planned]:
    """Ways from the least work up, those that read once before any that reads twice.

    Half the nodes are left to who asks for them: readings stay there that nothing checks.
    """
    for times in range(repeats, 3):
        tried = _TIES if task.fence is None else _FENCE_TIES
        ways = [MarksChoice(repeats=times, at_nodes=which, ties=ties) for ties in tried]
        # Rows that do not meet have no ink below to read: three ways of asking are one.
        planned: dict[object, _Planned] = {}
        for way in ways:
            one = _planned(task, way)
            planned.setdefault(one.tape_marks.read, one)
        yield from sorted(
            planned.values(),
            key=lambda one: (not (one.asked and one.asked.shows_slips), one.setting_out.seconds),
        )


def widest(
    task: Task, join_rows: int, repeats: int, told: Callable[[MarksChoice], None]
) -> ChosenMarks:
    """The work with the widest spacing whose forecast holds; the best of all when none does.

    `told` hears of each way before it is tried. Raises RefusedError when no spacing places every
    section.
    """
    tried: list[ChosenMarks] = []
    refused: RefusedError | None = None
    for spacing in SPACINGS[task.units]:
        way = MarksChoice(spacing, join_rows, repeats)
        told(way)
        try:
            tried.append(work(task, way))
        except RefusedError as fault:
            # Too far apart for the first section to see two; closer marks may do.
            refused = fault
            continue
        if tried[-1].forecast.holds:
            return tried[-1]
    if not tried:
        raise refused or RefusedError("no spacing was tried")
    return min(tried, key=lambda each: each.worst)


def remedies(task: Task, now: MarksChoice) -> tuple[ChosenMarks, ...]:
    """Other ways to set out and read than `now`: those that hold first, the least work first.

    Those that do not follow, the nearest first. At most `TRIED` ways are forecast, each of which
    takes seconds; from the least work up, and none that only reads twice what holds read once.
    """
    found: list[ChosenMarks] = []
    holding: set[MarksChoice] = set()
    for one in _worth_trying(_placeable(task, _others(task, now))):
        if replace(one.way, repeats=1) in holding:
            continue
        try:
            found.append(_forecast(task, one))
        except RefusedError:
            continue
        if found[-1].forecast.holds:
            holding.add(one.way)

    def order(tried: ChosenMarks) -> tuple[bool, float, float]:
        holds = tried.forecast.holds
        return not holds, tried.minutes if holds else tried.worst, tried.worst

    return tuple(sorted(found, key=order))


def _placeable(task: Task, ways: Iterable[MarksChoice]) -> Iterator[_Planned]:
    for way in ways:
        try:
            yield _planned(task, way)
        except RefusedError:
            continue


def _worth_trying(planned: Iterable[_Planned]) -> list[_Planned]:
    """At most `TRIED`, from the least work up: all at nodes, and rows of every amount of work."""
    by_work = sorted(planned, key=lambda one: one.setting_out.seconds)
    rows = [one for one in by_work if one.way.spacing is not None]
    left = min(len(rows), TRIED - (len(by_work) - len(rows)))
    kept = {rows[n].way for n in np.linspace(0, len(rows) - 1, left).round().astype(int).tolist()}
    return [one for one in by_work if one.way.spacing is None or one.way in kept]


def _others(task: Task, now: MarksChoice) -> Iterator[MarksChoice]:
    for ties, which in itertools.product(_TIES, ("all",) if task.fence is None else _AT_FENCE):
        if (way := MarksChoice(repeats=now.repeats, at_nodes=which, ties=ties)) != now:
            yield way
    spaced = math.inf if now.spacing is None else now.spacing
    spacings = sorted({spaced, *SPACINGS[task.units][1:]} - {math.inf}, reverse=True)
    rows = [n for n in (0, 2, 1) if n < max(task.plan.rows, 1)]
    for repeats, spacing, join_rows in itertools.product((1, 2), spacings, rows):
        way = MarksChoice(spacing, join_rows, repeats)
        # What asks for less of everything than now cannot help.
        more = spacing < spaced or repeats > now.repeats or join_rows != now.join_rows
        if more and way != now:
            yield way
