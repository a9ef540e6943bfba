"""The sheet of a proof in words and as JSON: what to measure, and what that can tell."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from marking.measures.lengths import INCH, format_length, tape_fraction
from marking.measures.tape import as_taped, tape_reading
from marking.proof.verdict import TWO_SIDED

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.proof.distances import ProofPlan
    from marking.proof.forecast import Hindrance


def sheet_lines(plan: ProofPlan, tape: Tape, tolerance: float, units: Units) -> Iterator[str]:
    """What to measure, how well that tells, and what stands in the way where nothing can pass."""
    for distance in plan.distances:
        nominal = as_taped(tape_reading(distance.nominal, tape), tape, units)
        kind = "join" if distance.kind == "seam" else distance.kind
        yield f"{distance.id}  {kind:<9} {' to '.join(distance.between):<44} {nominal}"
    yield ""
    yield (
        "As well as these tell, any line is known to +/- "
        f"{TWO_SIDED * plan.worst_sd:.2f} mm, 95 times in 100"
    )
    if plan.hindrance is not None:
        yield from _hindrance_lines(plan, plan.hindrance, tape, tolerance, units)
    else:
        in_ten = int(10 * plan.forecast.chance(tolerance))
        yield (
            f"A cover without any error passes on them {in_ten} times in 10 with this tape; one "
            "with errors less often"
        )
        if not plan.could_pass(tolerance):
            yield "Without --distances it asks for the fewest that can pass, or says why none can"
    if plan.untold:
        more_of_them = f" and {len(plan.untold) - 8} more" if len(plan.untold) > 8 else ""
        yield f"Least is told of {', '.join(plan.untold[:8])}{more_of_them}"


def _hindrance_lines(
    plan: ProofPlan, hindrance: Hindrance, tape: Tape, tolerance: float, units: Units
) -> Iterator[str]:
    """Why no number of distances can pass, and what would do."""
    by_tape = hindrance.by_tape > hindrance.by_reading
    what = (
        f"how long the tape itself is (class {tape.tape_class}"
        f"{', not compared with a known length' if tape.scale_sd is None else ''})"
        if by_tape
        else f"reading the tape (to {format_length(tape.division, units)}, class {tape.tape_class})"
    )
    most = max(hindrance.by_tape, hindrance.by_reading)
    doubt = (
        f"Most of the doubt is {what}: +/- {TWO_SIDED * most:.2f} mm at the most doubtful line, 95 "
        "times in 100"
        if most > plan.worst_sd / 2
        else "Little of the doubt is the tape's: no distance that can be asked for tells enough of "
        "the sections named last"
    )
    yield (
        f"No number of distances can pass a cover within {format_length(tolerance, units)}"
        f" with this tape, not even one without any error. {doubt}. These "
        f"{len(plan.distances)} find what is far off, and FAIL it"
    )
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
    step = float(INCH) / 32 if units == "in" else 0.1
    enough = math.ceil(hindrance.tolerance / step) * step
    yield f"What would do: a tolerance of {format_length(enough, units)}"


def sheet_record(plan: ProofPlan, tolerance: float, paths: Sequence[Path]) -> dict[str, Any]:
    """`prove --json` without what was measured."""
    return {
        "schema": 1,
        "distances": [
            {
                "id": one.id,
                "kind": one.kind,
                "ends": [list(end) for end in one.ends],
                "between": list(one.between),
                "nominal": one.nominal,
            }
            for one in plan.distances
        ],
        "told": plan.told,
        "untold": list(plan.untold),
        "worst_sd": plan.worst_sd,
        "chance": plan.forecast.chance(tolerance),
        "fewest": plan.fewest,
        "files": [path.as_posix() for path in paths],
    }
