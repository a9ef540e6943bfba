"""The sheet of a proof in words and as JSON: what to measure, and what that can tell."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from marking.job.line_numbers import lines_counted
from marking.measures.lengths import INCH, format_length, tape_fraction
from marking.measures.tape import as_taped, tape_reading
from marking.proof.verdict import TWO_SIDED
from marking.proof.verniers import verniers_record
from marking.proof.words import not_judged

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from marking.job.keys import NumeralsTable
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.proof.distances import ProofPlan
    from marking.proof.forecast import Hindrance
    from marking.proof.verniers import JoinVernier


def sheet_lines(
    plan: ProofPlan,
    verniers: Sequence[JoinVernier],
    tape: Tape,
    units: Units,
    numerals: NumeralsTable,
    notes: Sequence[str] = (),
) -> Iterator[str]:
    """What to measure, how well that tells, and what stands in the way where nothing can pass.

    `notes` is what else to know of this cover before it is measured.
    """
    yield from lines_counted(numerals)
    yield from notes
    wide = max((len(distance.id) for distance in plan.distances), default=0)
    for distance in plan.distances:
        nominal = as_taped(tape_reading(distance.nominal, tape), tape, units)
        kind = "join" if distance.kind == "seam" else distance.kind
        yield (
            f"{distance.id:<{wide}}  {kind:<9} {' to '.join(distance.between):<44} {nominal:<12} "
            f"{distance.purpose}".rstrip()
        )
    if verniers:
        yield ""
        yield from VERNIER_NOTES
        for vernier in verniers:
            yield f"{vernier.id}  {vernier_said(vernier, units)}"
    yield ""
    yield from told_lines(plan, tape, units)


def told_lines(plan: ProofPlan, tape: Tape, units: Units) -> Iterator[str]:
    """How well the distances tell, and what stands in the way where none can pass a cover."""
    yield (
        "As well as these tell, any line is known to +/- "
        f"{TWO_SIDED * plan.worst_sd:.2f} mm, 95 times in 100"
    )
    for name in plan.by_vernier:
        allowed = next(limit.allowed for limit in plan.limits if limit.name == name)
        yield (
            f"{name.capitalize()} within {format_length(allowed, units)} cannot be told by tape: "
            "draw verniers over the joins (canvasrule write --verniers) and read them (canvasrule "
            "prove --verniers). Without them no cover passes"
        )
    if plan.hindrance is not None:
        yield from _hindrance_lines(plan, plan.hindrance, tape, units)
    else:
        in_ten = int(10 * plan.forecast.chance)
        what = "A cover without any error passes" if not plan.by_vernier else "The rest passes"
        yield f"{what} on them {in_ten} times in 10 with this tape; one with errors less often"
        if not plan.could_pass() and not plan.by_vernier:
            yield "Without --distances it asks for the fewest that can pass, or says why none can"
    if plan.untold:
        more_of_them = f" and {len(plan.untold) - 8} more" if len(plan.untold) > 8 else ""
        yield f"Least is told of {', '.join(plan.untold[:8])}{more_of_them}"
    if plan.model.apart:
        yield not_judged(plan.model.apart)


VERNIER_NOTES = (
    "Verniers over the joins, drawn with the removable pen: the section named first drew the main "
    "scale, the other one the lines that stand against it.",
    "Find the pair of lines that meet in one straight line, and count from the two long lines in "
    "the middle. Each line counts what its row says, halfway between two pairs half of that. Plus "
    "is towards the far end, or the far edge. Write it with its unit: 0.2 mm, -0.1 mm.",
    "They tell how the two set-downs lie, as long as neither device was moved between its lines "
    "and its vernier; where lines and verniers disagree, trust the lines.",
)
"""How a vernier is read."""


def vernier_said(vernier: JoinVernier, units: Units) -> str:
    """Where one vernier stands, what it tells, and what a line of it counts."""
    x, y = vernier.at
    tells = ("along the table", "across the table")[vernier.axis]
    return (
        f"{' to '.join(vernier.sections):<16} {tells:<16} at {format_length(x, units)} along, "
        f"{format_length(y, units)} across; a line is {vernier.pitch / 10:.2f} mm"
    )


def _hindrance_lines(
    plan: ProofPlan, hindrance: Hindrance, tape: Tape, units: Units
) -> Iterator[str]:
    """Why no number of distances can pass, and what would do."""
    yield (
        f"{_none_passes(plan, units)}. {_doubt_said(plan, hindrance, tape, units)}. These "
        f"{len(plan.distances)} find what is far off, and FAIL it"
    )
    yield from _what_would_do(plan, hindrance, tape, units)


def always_lines(plan: ProofPlan, count: int, tape: Tape, units: Units) -> Iterator[str]:
    """What the first `count` distances are for, where even all of `plan` pass no cover.

    `plan` has to have a hindrance.
    """
    assert plan.hindrance is not None
    yield (
        f"These {count} tell what the whole cover has done, and find what is grossly wrong. They "
        f"pass no cover. {_none_passes(plan, units)}: canvasrule prove asks for "
        f"{len(plan.distances)}, which find what is far off in any section, and FAIL it. "
        f"{_doubt_said(plan, plan.hindrance, tape, units)}."
    )
    yield from (f"{one}." for one in _what_would_do(plan, plan.hindrance, tape, units))


def _none_passes(plan: ProofPlan, units: Units) -> str:
    return (
        f"No number of distances can pass a cover within {_allowed(plan, units)} with this tape, "
        "not even one without any error"
    )


def _doubt_said(plan: ProofPlan, hindrance: Hindrance, tape: Tape, units: Units) -> str:
    by_tape = hindrance.by_tape > hindrance.by_reading
    what = (
        f"how long the tape itself is (class {tape.tape_class}"
        f"{', not compared with a known length' if tape.scale_sd is None else ''})"
        if by_tape
        else f"reading the tape (to {format_length(tape.division, units)}, class {tape.tape_class})"
    )
    most = max(hindrance.by_tape, hindrance.by_reading)
    return (
        f"Most of the doubt is {what}: +/- {TWO_SIDED * most:.2f} mm at the most doubtful line, 95 "
        "times in 100"
        if most > plan.worst_sd / 2
        else "Little of the doubt is the tape's: no distance that can be asked for tells enough of "
        "single sections"
    )


def _what_would_do(
    plan: ProofPlan, hindrance: Hindrance, tape: Tape, units: Units
) -> Iterator[str]:
    finer = (
        f"{tape_fraction(Fraction(tape.division / 2 / float(INCH)).limit_denominator(256))} in"
        if units == "in"
        else f"{tape.division / 2:g} mm"
    )
    for one in hindrance.remedies:
        how = [
            *(["compared with a known length (scale_error under [tape])"] if one.compared else []),
            *([f'read to {finer} (division = "{finer}")'] if one.finer else []),
        ]
        yield f"What would do: a tape {' and '.join(how)}: about {one.distances} distances"
    if not plan.steps and any(patch.column > 1 or patch.row > 1 for patch in plan.model.patches):
        yield (
            "What would do: verniers drawn over the joins (canvasrule write --verniers) and read "
            "(canvasrule prove --verniers), with far fewer distances"
        )
    step = float(INCH) / 32 if units == "in" else 0.1
    if len({limit.allowed for limit in plan.limits if limit.asked}) == 1:
        enough = math.ceil(hindrance.wider * plan.limits[0].allowed / step) * step
        yield f"What would do: a tolerance of {format_length(enough, units)}"
    else:
        yield f"What would do: limits {math.ceil(10 * hindrance.wider) / 10:.1f} times as wide"


def _allowed(plan: ProofPlan, units: Units) -> str:
    """What is asked of the cover, in a few words."""
    asked = [limit for limit in plan.limits if limit.asked and limit.name not in plan.by_vernier]
    if len({limit.allowed for limit in asked}) == 1:
        return format_length(asked[0].allowed, units)
    return ", ".join(f"{one.name} {format_length(one.allowed, units)}" for one in asked)


def sheet_record(
    plan: ProofPlan,
    verniers: Sequence[JoinVernier],
    paths: Sequence[Path],
    tape: Tape,
    units: Units,
) -> dict[str, Any]:
    """`prove --json` without what was measured."""
    return {
        "schema": 1,
        "says": list(told_lines(plan, tape, units)),
        "distances": [
            {
                "id": one.id,
                "kind": one.kind,
                "ends": [list(end) for end in one.ends],
                "between": list(one.between),
                "nominal": one.nominal,
                "purpose": one.purpose,
            }
            for one in plan.distances
        ],
        "verniers": verniers_record(verniers),
        "limits": {
            limit.name: {"allowed": limit.allowed, "asked": limit.asked} for limit in plan.limits
        },
        "by_vernier": list(plan.by_vernier),
        "told": plan.told,
        "untold": list(plan.untold),
        "not_judged": list(plan.model.apart),
        "worst_sd": plan.worst_sd,
        "chance": plan.forecast.chance,
        "fewest": plan.fewest,
        "files": [path.as_posix() for path in paths],
    }
