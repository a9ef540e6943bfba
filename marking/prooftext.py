"""A proof in words with figures, as plain data to keep, and against an earlier proof.

It words what `marking.proof` finds and computes no verdict of its own.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from marking.distortion import WHOLE
from marking.errors import BadInputError
from marking.lengths import format_length
from marking.proof import Estimate, Verdict

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from marking.lengths import Units
    from marking.proof import Step

_MEANS = {
    "along": ("longer than laid out", "shorter than laid out"),
    "across": ("wider than laid out", "narrower than laid out"),
    "skew": (
        "out of square, the far edge towards the far end",
        "out of square, the far edge towards the zero end",
    ),
    "creep": (
        "uneven along, the middle towards the far end",
        "uneven along, the middle towards the zero end",
    ),
    "bow": ("bowed, the middle towards the far edge", "bowed, the middle towards the near edge"),
    "fan": ("spread at the far end against the zero end", "pinched at the far end"),
}
_SINCE = {
    "along": ("longer", "shorter"),
    "across": ("wider", "narrower"),
    **{
        name: (f"more {high}", f"more {low}")
        for name, (high, low) in _MEANS.items()
        if name not in ("along", "across")
    },
}
_OUTCOMES = {
    "pass": "PASS: every line that was proved lies within",
    "fail": "FAIL: a line lies further off than",
    "cannot tell": "CANNOT TELL: these measurements are too coarse, or too few, for",
    "measure again": "MEASURE AGAIN: some distances do not fit the others, so nothing is said of",
}


def proof_lines(verdict: Verdict, units: Units) -> Iterator[str]:
    """The verdict as lines of text, the outcome first."""
    tolerance = format_length(verdict.tolerance, units)
    yield f"{_OUTCOMES[verdict.outcome]} {tolerance} (a doubt is 95 %, the tape's own included)."
    if verdict.again:
        yield (
            f"Measure {', '.join(verdict.again)} again, the first one first. If it stands, "
            "confirm it: then a section is out of place there."
        )
    line = verdict.worst_line
    where = f" in section {line.sections[0]}" if line.sections else ""
    kind = "cross" if line.axis == "along" else "long"
    yield f"Worst line: a {kind} line{where} lies {_off(line.estimate)} off."
    for name, length in zip(("along", "across"), verdict.size, strict=True):
        found = verdict.whole[name]
        scale = f"{found.value / length:+.3%} +/- {1.96 * found.sd / length:.3%}"
        yield f"Scale {name}: {scale}, {_said(name, found)} over {format_length(length, units)}."
    lean = verdict.whole["skew"]
    angle = math.degrees(math.atan2(lean.value, verdict.size[1]))
    yield f"Skew: {_said('skew', lean)} ({angle:+.3f} degrees)."
    for name in ("creep", "bow", "fan"):
        yield f"{name.capitalize()}: {_said(name, verdict.whole[name])}."
    if verdict.worst_section is not None:
        yield f"Section most out of place: {_step(verdict.worst_section)}."
    if verdict.worst_seam is not None:
        yield f"Largest step at a seam: {_step(verdict.worst_seam)}."
    if verdict.in_doubt and verdict.outcome != "measure again":
        few = ", ".join(verdict.in_doubt[:8])
        more = f" and {len(verdict.in_doubt) - 8} more" if len(verdict.in_doubt) > 8 else ""
        yield f"In doubt: {few}{more}. Measure more distances there, or with a finer tape."


def _off(estimate: Estimate) -> str:
    return f"{abs(estimate.value):.2f} +/- {1.96 * estimate.sd:.2f} mm"


def _said(name: str, estimate: Estimate) -> str:
    if not estimate.certain():
        return f"true within the doubt of {1.96 * estimate.sd:.2f} mm"
    return f"{_off(estimate)} {_MEANS[name][estimate.value < 0]}"


def _step(step: Step) -> str:
    named = " to ".join(step.sections)
    surely = "" if step.certain else ", no more than chance would show"
    return f"{named}, {_off(step.estimate)} {step.axis} the table{surely}"


def proof_record(verdict: Verdict) -> dict[str, Any]:
    """The verdict as plain data, to keep in the job's record and to print as JSON."""
    return {
        "schema": 1,
        "outcome": verdict.outcome,
        "tolerance": verdict.tolerance,
        "size": list(verdict.size),
        "whole": {name: _figure(estimate) for name, estimate in verdict.whole.items()},
        "worst_line": _step_record(verdict.worst_line),
        "worst_section": _step_record(verdict.worst_section),
        "worst_seam": _step_record(verdict.worst_seam),
        "in_doubt": list(verdict.in_doubt),
        "again": list(verdict.again),
        "measured": dict(verdict.measured),
    }


def _figure(estimate: Estimate) -> dict[str, float]:
    return {"mm": estimate.value, "sd": estimate.sd}


def _step_record(step: Step | None) -> dict[str, Any] | None:
    if step is None:
        return None
    return {
        "sections": list(step.sections),
        "axis": step.axis,
        "certain": step.certain,
        **_figure(step.estimate),
    }


def since(earlier: Mapping[str, Any], verdict: Verdict) -> dict[str, Estimate]:
    """What each unknown of the whole cover has changed by, in mm, since an earlier proof's record.

    The two doubts are taken as independent, which with one and the same tape is too cautious.
    Raises BadInputError for a record that is no proof of the same marking.
    """
    try:
        sizes = [float(size) for size in earlier["size"]]
        before = {name: earlier["whole"][name] for name in WHOLE}
        figures = {name: (float(one["mm"]), float(one["sd"])) for name, one in before.items()}
    except (KeyError, TypeError, ValueError) as fault:
        raise BadInputError(f"the earlier proof cannot be read ({fault!r})") from None
    if any(abs(a - b) > 0.01 for a, b in zip(sizes, verdict.size, strict=True)):
        raise BadInputError("the earlier proof is of another marking; nothing can be compared")
    return {
        name: Estimate(now.value - figures[name][0], math.hypot(now.sd, figures[name][1]))
        for name, now in verdict.whole.items()
    }


def since_lines(changes: Mapping[str, Estimate]) -> Iterator[str]:
    """What the cloth has done since, in words."""
    moved = {name: change for name, change in changes.items() if change.certain()}
    if not moved:
        most = max(1.96 * change.sd for change in changes.values())
        yield (
            "Since the earlier proof the cloth has not moved by more than these measurements can "
            f"tell ({most:.1f} mm)."
        )
    for name, change in moved.items():
        yield f"Since the earlier proof: {_off(change)} {_SINCE[name][change.value < 0]}."
