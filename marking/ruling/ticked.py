"""Lines ticked off as ruled: which a person names, how far the ruling is, in words and as data.

It knows ruled lines and what of them is done; not who keeps it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError
from marking.job.line_numbers import lines_counted
from marking.measures.counts import counted
from marking.ruling.order import GROUP, ruling_order
from marking.ruling.words import line_name, time_told

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from marking.job.keys import MarkingJob
    from marking.ruling.order import WhoRules
    from marking.sections.plan import Plan
    from marking.sections.ruled import RuledLine

_MOST_AT_ONCE = 100_000


def lines_named(given: str, plan: Plan, option: str) -> Sequence[RuledLine]:
    """The lines of `0-11,24,bias-3`. Raises BadInputError for one that is not there."""
    known = {line_name(line): line for line in plan.ruled}
    found: dict[str, RuledLine] = {}
    for word in filter(None, (part.strip() for part in given.split(","))):
        for name in [word] if word in known else _counted_up(word):
            if name not in known:
                raise BadInputError(
                    f"{option} {given}: no line {name} is to be ruled; {_there_are(plan.ruled)}"
                )
            found[name] = known[name]
    if not found:
        raise BadInputError(f"{option} {given!r}: names no line; {_there_are(plan.ruled)}")
    return list(found.values())


def _counted_up(word: str) -> Iterator[str]:
    first, dash, last = word.partition("-")
    ascii_digits = first.isascii() and first.isdigit() and last.isascii() and last.isdigit()
    if dash and ascii_digits and int(first) <= int(last) < _MOST_AT_ONCE:
        return map(str, range(int(first), int(last) + 1))
    return iter([word])


def _there_are(lines: Sequence[RuledLine]) -> str:
    return f"there are {in_runs([line_name(line) for line in lines])}"


def in_runs(names: Sequence[str]) -> str:
    """Names in their order, numbers that follow each other as `0-11`."""
    runs: list[list[str]] = []
    for name in names:
        last = runs[-1][-1] if runs else ""
        if name.isdigit() and last.isdigit() and int(name) == int(last) + 1:
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def ticked_record(
    plan: Plan, done: Collection[str], job: MarkingJob, manner: WhoRules
) -> dict[str, Any]:
    """`rule --json`. `done` are ids."""
    return {
        "schema": 1,
        "zone": plan.zone.name,
        "ruled": [line.id for line in plan.ruled if line.id in done],
        "lines": [
            {"id": line.id, "name": line_name(line), "of": line.of, "ruled": line.id in done}
            for line in plan.ruled
        ],
        "next": [
            {"line": step.line.id, "wait_seconds": step.waits, "new_tip": step.new_tip}
            for step in ruling_order(plan.ruled, job, manner, done)
        ],
    }


def ticked_lines(
    plan: Plan, done: Collection[str], job: MarkingJob, manner: WhoRules
) -> Iterator[str]:
    """What is ruled, and what comes next. `done` are ids."""
    ruled = [line for line in plan.ruled if line.id in done]
    yield f"{len(ruled)} of {counted(len(plan.ruled), 'line')} ruled" + ":" * bool(ruled)
    if ruled:
        yield f"  {in_runs([line_name(line) for line in ruled])}"
    steps = ruling_order(plan.ruled, job, manner, done)
    if steps:
        following = [line_name(step.line) for step in steps[:GROUP]]
        yield f"next, in this order: {', '.join(following)}"
        yield f"{counted(len(steps), 'line')} to rule: {time_told(steps, job, manner)}"
    yield from lines_counted(job.numerals)
