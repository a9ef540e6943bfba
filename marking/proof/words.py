"""A proof in words with figures, as plain data to keep, and against an earlier proof.

It words what `marking.proof.verdict` finds and computes no verdict of its own.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from marking.errors import BadInputError
from marking.measures.counts import counted
from marking.measures.lengths import format_length
from marking.proof.distortion import WHOLE
from marking.proof.verdict import TWO_SIDED, CoverVerdict, Estimate, JudgedLimit, Step

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.measures.lengths import Units
    from marking.proof.limits import Limit

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
    "pass": "PASS: every limit asked for is kept.",
    "fail": "FAIL: a line lies further off than is allowed.",
    "cannot tell": "CANNOT TELL: these measurements are too coarse, or too few, for what is asked.",
    "measure again": "MEASURE AGAIN: some measurements do not fit the others, or speak alone "
    "against the cover, so nothing is said of it.",
}
_PASSED_APART = "PASS, for what the sections hold: there every limit asked for is kept."
_LIMITS = {
    "total": "Total, from zero",
    "square": "Square",
    "neighbours": "Neighbours",
    "step": "Step at a join",
    "straight": "Straight, long lines",
}
_SAID = {
    "pass": "kept",
    "fail": "BROKEN",
    "cannot tell": "cannot be told",
    "measure again": "cannot be told",
}


def proof_lines(verdict: CoverVerdict, units: Units) -> Iterator[str]:
    """The verdict as lines of text, the outcome first."""
    passed = verdict.outcome == "pass"
    yield _PASSED_APART if passed and verdict.apart else _OUTCOMES[verdict.outcome]
    if verdict.apart:
        yield not_judged(verdict.apart)
    if passed:
        yield (
            "A section is judged as one piece, as a device draws it in one set-down: a line of it "
            "drawn otherwise, traced or mended by hand, is judged only where it was measured."
        )
    yield "What stands after +/- holds 95 times in 100, the tape's own error included."
    if verdict.again:
        yield (
            f"Measure {_few(verdict.again)} again, the first one first. What stands, confirm with "
            "--confirmed: then a section is out of place there."
        )
    for judged in verdict.limits:
        yield from _limit_lines(judged, verdict, units)
    yield from _furthest_lines(verdict)
    yield from _evidence_lines(verdict)
    for name, length in zip(("along", "across"), verdict.size, strict=True):
        found = verdict.whole[name]
        scale = f"{found.value / length:+.3%} +/- {TWO_SIDED * found.sd / length:.3%}"
        yield f"Scale {name}: {scale}, {_said(name, found)} over {format_length(length, units)}."
    lean = verdict.whole["skew"]
    angle = math.degrees(math.atan2(lean.value, verdict.size[1]))
    yield f"Skew: {_said('skew', lean)} ({angle:+.3f} degrees)."
    for name in ("creep", "bow", "fan"):
        yield f"{name.capitalize()}: {_said(name, verdict.whole[name])}."
    if verdict.worst_section is not None:
        yield f"Section most out of place: {_step(verdict.worst_section)}."
    if verdict.worst_join is not None:
        yield f"Largest step at a join: {_step(verdict.worst_join)}."


def not_judged(apart: Sequence[str]) -> str:
    """Lines that run on outside the sections, and how to look at what no distance shows."""
    return (
        f"Not judged: what runs between the sections, ruled by hand or left undone there, of "
        f"{counted(len(apart), 'line')}. No distance shows it, whatever is said of the limits: lay "
        "a straight rule along each from stub to stub, look for a bow, a step and a line left "
        "out, and tape some of the gaps between them."
    )


def limit_name(limit: Limit, units: Units) -> str:
    """What a limit is called, with the length it is over where it has one."""
    if limit.name == "square" and math.isfinite(limit.over):
        return f"{_LIMITS[limit.name]} over {format_length(limit.over, units)}"
    return _LIMITS[limit.name] + (" over the width" if limit.name == "square" else "")


def _limit_lines(judged: JudgedLimit, verdict: CoverVerdict, units: Units) -> Iterator[str]:
    """How far off by one limit, by the same figures that gave its outcome."""
    limit, allowed = judged.limit, judged.limit.allowed
    least, most = judged.limits.at_least, judged.limits.at_most
    where = f" (most at {' and '.join(judged.sections)})" if judged.sections else ""
    where = f", by what the sections hold{where}" if verdict.apart else where
    some = f"somewhere at least {_beside(least, allowed)} mm, and " if least > 0 else ""
    said = _SAID[judged.outcome]
    if verdict.outcome == "measure again":
        said = "nothing is said"
    yield (
        f"{limit_name(limit, units)}: {some}nowhere more than {_beside(most, allowed)} mm off"
        f"{where}; {allowed:.2f} mm is {'allowed' if limit.asked else 'usual, and not asked for'}:"
        f" {said}."
    )
    at_joins = limit.name in ("neighbours", "step")
    if at_joins and judged.outcome == "cannot tell" and not verdict.by_vernier:
        yield (
            f"{_LIMITS[limit.name]} within {format_length(allowed, units)} cannot be told by tape "
            "here: draw verniers over the joins (canvasrule write --verniers) and read them "
            "(canvasrule prove --verniers)."
        )


def _furthest_lines(verdict: CoverVerdict) -> Iterator[str]:
    """Which line lies furthest off as the cover lies, a shift and a turn of all counted."""
    line = verdict.worst_line
    where = f" in section {line.section}" if line.section else ""
    kind, ways = {
        "along": ("cross", ("far end", "zero end")),
        "across": ("long", ("far edge", "near edge")),
    }[line.axis]
    off = line.estimate.value
    yield (
        f"Worst line: a {kind} line{where}, {_off(line.estimate)} towards the {ways[off < 0]}, "
        "counted from the zero line along a thread through the near line's ends."
    )


def _beside(figure: float, allowed: float) -> str:
    """A figure in mm, with so many digits that it does not read as the one allowed."""
    return f"{figure:.2f}" if f"{figure:.2f}" != f"{allowed:.2f}" else f"{figure:.5f}"


def _evidence_lines(verdict: CoverVerdict) -> Iterator[str]:
    """What the verdict does not rest on, and where it is in doubt."""
    if verdict.missing:
        total = len(verdict.missing) + len(verdict.measured)
        yield (
            f"Not measured: {len(verdict.missing)} of the sheet's {total} measurements "
            f"({_few(verdict.missing)})."
        )
    if verdict.untold:
        one = len(verdict.untold) == 1
        yield (
            f"Resting on nothing: {_few(verdict.untold)}. No distance that was measured touches "
            f"{'it' if one else 'them'}, and no section passes unmeasured."
        )
    doubted = [name for name in verdict.in_doubt if name not in verdict.untold]
    if doubted and verdict.outcome != "measure again":
        yield (
            f"In doubt: {_few(doubted)}. "
            + (
                "Measure what is missing."
                if verdict.missing
                else "Measure more distances there, or with a finer tape."
            )
        )


def _few(names: Sequence[str]) -> str:
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return f"{', '.join(names[:8])}{more}"


def _off(estimate: Estimate) -> str:
    return f"{abs(estimate.value):.2f} +/- {TWO_SIDED * estimate.sd:.2f} mm"


def _said(name: str, estimate: Estimate) -> str:
    if not estimate.certain():
        return f"true within the doubt of {TWO_SIDED * estimate.sd:.2f} mm"
    return f"{_off(estimate)} {_MEANS[name][estimate.value < 0]}"


def _step(step: Step) -> str:
    named = " to ".join(step.sections)
    surely = "" if step.certain else ", no more than chance would show"
    figure = f"{abs(step.estimate.value):.2f} +/- {step.doubt:.2f} mm"
    return f"{named}, {figure} {step.axis} the table{surely}"


def proof_record(verdict: CoverVerdict) -> dict[str, Any]:
    """The verdict as plain data, to keep in the job's record and to print as JSON."""
    line = verdict.worst_line
    return {
        "schema": 1,
        "outcome": verdict.outcome,
        "tolerance": next(j.limit.allowed for j in verdict.limits if j.limit.name == "total"),
        "limits": {judged.limit.name: _limit_record(judged) for judged in verdict.limits},
        "size": list(verdict.size),
        "whole": {name: _figure(estimate) for name, estimate in verdict.whole.items()},
        "worst_line": {
            "sections": [line.section] if line.section else [],
            "axis": line.axis,
            "at_least": line.limits.at_least,
            "at_most": line.limits.at_most,
            **_figure(line.estimate),
        },
        "worst_section": _step_record(verdict.worst_section),
        "worst_seam": _step_record(verdict.worst_join),
        "own": [_step_record(step) for step in verdict.own],
        "in_doubt": list(verdict.in_doubt),
        "untold": list(verdict.untold),
        "not_judged": list(verdict.apart),
        "missing": list(verdict.missing),
        "again": list(verdict.again),
        "measured": dict(verdict.measured),
    }


def _limit_record(judged: JudgedLimit) -> dict[str, Any]:
    limit = judged.limit
    return {
        "allowed": limit.allowed,
        "asked": limit.asked,
        "over": limit.over if math.isfinite(limit.over) else None,
        "outcome": judged.outcome,
        "at_least": judged.limits.at_least,
        "at_most": judged.limits.at_most,
        "sections": list(judged.sections),
        **_figure(judged.estimate),
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
        "doubt": step.doubt,
        **_figure(step.estimate),
    }


class Since(Struct, frozen=True):
    """What has changed since an earlier proof, in mm."""

    whole: Mapping[str, Estimate]
    """Each of `WHOLE`."""
    own: tuple[Step, ...]
    """Each section's own error, where the earlier proof tells of the same."""


def since(earlier: Mapping[str, Any], verdict: CoverVerdict) -> Since:
    """What has changed since an earlier proof's record.

    The two doubts are taken as independent, which with one and the same tape is too cautious.
    Raises BadInputError for a record that is no proof of the same marking.
    """
    try:
        sizes = [float(size) for size in earlier["size"]]
        before = {name: earlier["whole"][name] for name in WHOLE}
        figures = {name: (float(one["mm"]), float(one["sd"])) for name, one in before.items()}
        own = {
            (*map(str, one["sections"]), str(one["axis"])): (
                *(float(one["mm"]), float(one["sd"]), float(one["doubt"])),
            )
            for one in earlier.get("own", ())
        }
    except (KeyError, TypeError, ValueError) as fault:
        raise BadInputError(f"the earlier proof cannot be read ({fault!r})") from None
    if any(abs(a - b) > 0.01 for a, b in zip(sizes, verdict.size, strict=True)):
        raise BadInputError("the earlier proof is of another marking; nothing can be compared")
    whole = {
        name: Estimate(now.value - figures[name][0], math.hypot(now.sd, figures[name][1]))
        for name, now in verdict.whole.items()
    }
    changed = []
    for step in verdict.own:
        then = own.get((*step.sections, step.axis))
        if then is not None:
            value, sd, doubt = then
            moved = Estimate(step.estimate.value - value, math.hypot(step.estimate.sd, sd))
            changed.append(replace(step, estimate=moved, doubt=math.hypot(step.doubt, doubt)))
    return Since(whole, tuple(changed))


def since_lines(changes: Since) -> Iterator[str]:
    """What the cloth has done since, in words."""
    moved = {name: change for name, change in changes.whole.items() if change.certain()}
    if not moved:
        most = max(TWO_SIDED * change.sd for change in changes.whole.values())
        yield (
            "Since the earlier proof the cover as a whole has not stretched, sheared or bowed by "
            f"more than these measurements can tell ({most:.1f} mm)."
        )
    for name, change in moved.items():
        yield f"Since the earlier proof: {_off(change)} {_SINCE[name][change.value < 0]}."
    for step in changes.own:
        if step.certain:
            yield f"Since the earlier proof, a section by itself: {_step(step)}."
    if changes.own and not any(step.certain for step in changes.own):
        most = max(step.doubt for step in changes.own)
        yield f"No section has moved by itself by more than they can tell ({most:.1f} mm)."


def since_record(changes: Since) -> dict[str, Any]:
    """The changes as plain data."""
    return {name: _figure(change) for name, change in changes.whole.items()}
