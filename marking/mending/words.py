"""What is said of mends, and the same as plain data for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.measures.lengths import format_length
from marking.mending.chosen import called

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.mending.mend import Mend
    from marking.proof.outcome import ProofOutcome
    from marking.sections.plan import Piece, Section

_SHOWN = 8


def mended_said(mend: Mend, layout: Layout, units: Units) -> str:
    """What is inked anew, how, why, and how far it is, in a sentence."""
    off = mend.off
    how = "inked anew over itself"
    if off is not None:
        to = "far end, or far edge" if off > 0 else "zero end, or near edge"
        how = (
            f"struck out where it lies, {format_length(abs(off), units)} towards the {to}, and "
            "drawn where it belongs"
        )
    return f"{mend.id}: {mend.state}; {_listed(called(layout, _strokes(mend)))}: {how} ({mend.why})"


def mend_lines(
    mend: Mend, layout: Layout, set_downs: Mapping[str, Section], units: Units
) -> Iterator[str]:
    """What is inked anew, how, and how far it is. `set_downs` are by section, as they are asked."""
    yield mended_said(mend, layout, units)
    for name in mend.open if mend.state in ("asked", "begun") else ():
        section = set_downs[name]
        marks = ", ".join(mark.id for mark in section.locating_marks)
        yield f"  {section.id}: read {marks or 'no crossing is left to read'}"
    if mend.to_rule:
        yield (
            f"  by hand, when its stubs are inked: {'; '.join(ruled_said(mend, layout, units))}; "
            f"then canvasrule mend --ruled {mend.id}"
        )
    if mend.state == "inked":
        seen = (
            "look it over: the largest step from new ink to old, by a rule"
            if mend.waits_for_a_look
            else f"looked over: the largest step is {mend.step:.1f} mm"
        )
        yield f"  {seen}"


def looking_over_said(mend: Mend) -> str:
    """What a person does once the last of a mend is inked."""
    return (
        f"{mend.id} is inked anew: look it over, and keep the largest step from new ink to old, by "
        "a rule; the cover passes no proof before"
    )


def ruled_said(mend: Mend, layout: Layout, units: Units) -> Iterator[str]:
    """Each line that is ruled anew, and from where to where."""
    for piece in mend.by_hand:
        (name,) = called(layout, [piece.of])
        yield f"rule {name} from {across_said(piece, units)} off the near edge"


def across_said(piece: Piece, units: Units) -> str:
    """From where to where across the table a line is ruled anew, as a tape has it."""
    ends = sorted(piece.stroke.points[[0, -1], 1].tolist())
    low, high = (format_length(end, units) for end in ends)
    return f"{low} to {high}"


def how_to_rule(mend: Mend, units: Units) -> Iterator[str]:
    """What is done otherwise than where lines are ruled for the first time."""
    if mend.off is None:
        yield (
            "These lines are worn and are gone over once more: lay the rule so that the tip runs "
            "along what is left of the line, not along where it should have been. A second line "
            "beside it is worse than a faint one: stop where the old line is not to be seen and "
            "lay the rule to the stubs."
        )
    else:
        to = "far end" if mend.off > 0 else "zero end"
        apart = "half inch" if units == "in" else "12 mm"
        yield (
            f"The wrong lines lie {format_length(abs(mend.off), units)} towards the {to}. Strike "
            f"them out first: a short slash across each every {apart}, of its own ink alone, none "
            "near another line. Then rule each where it belongs, from stub to stub."
        )


def _strokes(mend: Mend) -> tuple[str, ...]:
    return tuple(piece.of for piece in mend.every_piece)


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _SHOWN
    return ", ".join(names[:_SHOWN]) + (f" and {more} more" if more > 0 else "")


def mend_record(mend: Mend, set_downs: Mapping[str, Section]) -> dict[str, Any]:
    """A mend as plain data; mm, table frame."""
    return {
        "id": mend.id,
        "state": mend.state,
        "why": mend.why,
        "off_mm": mend.off,
        "step_mm": mend.step,
        "set_downs": [
            {
                "section": set_downs[name].id,
                "done": name in mend.done,
                "read": [
                    {"id": mark.id, "at": list(mark.at_table)}
                    for mark in set_downs[name].locating_marks
                ],
                "strokes": [
                    {"id": p.stroke.id, "of": p.of, "points": p.stroke.points.tolist()}
                    for p in pieces
                ],
            }
            for name, pieces in mend.pieces.items()
            if name in set_downs
        ],
        "by_hand": [
            {"id": p.stroke.id, "of": p.of, "points": p.stroke.points.tolist()}
            for p in mend.by_hand
        ],
        "ruled": mend.ruled,
    }


def seen_lines(mends: Sequence[Mend], step: float) -> Iterator[str]:
    """What mends add to the verdict on a cover on which a `step` in mm is allowed."""
    for mend in mends:
        if mend.open:
            yield f"{mend.id} is asked for and not inked: finish it before the cover is proved"
        elif mend.to_rule:
            yield (
                f"{mend.id} leaves lines to be ruled anew: rule them, and tell it by canvasrule "
                f"mend --ruled {mend.id}, before the cover is proved"
            )
        elif mend.waits_for_a_look:
            yield (
                f"{mend.id} was inked anew, and no distance tells of it: measure the largest step "
                f"to the ink around by a rule, and keep it by canvasrule mend --looked-over "
                f"{mend.id} --step LENGTH"
            )
        elif mend.step is not None and mend.step > step:
            yield f"{mend.id}: its new ink steps by {mend.step:.1f} mm, where {step:.1f} is allowed"


def told_by_mends(mends: Sequence[Mend], step: float, outcome: ProofOutcome) -> ProofOutcome:
    """What mends leave of a cover's `outcome`: no distance tells where new ink meets old."""
    if outcome not in ("pass", "cannot tell"):
        return outcome
    if any(mend.step is not None and mend.step > step for mend in mends):
        return "fail"
    waits = any(mend.open or mend.to_rule or mend.step is None for mend in mends)
    return "cannot tell" if waits else outcome
