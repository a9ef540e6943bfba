"""How ink is tried before it is laid for good, in the order that a person does it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.fastness.tried import BY_EYE, GRADES, STAYS, TRIALS
from marking.measures.durations import format_duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.fastness.tried import TriedInk

HOW_TO = (
    "Draw a hand's breadth of lines and numerals with each pen on a scrap of the very canvas, "
    "stretched over the pad as the cover will be. Let it dry; a day is common practice, no "
    "source, unless the ink's maker says otherwise or asks for heat to set it.",
    "Rub a dry white cotton, over a fingertip, to and fro over four inches of the ink, ten times, "
    "pressing as on a kitchen scale at 2 lb (9 N). Then with another white cotton, damp, elsewhere "
    "(after ISO 105-X12).",
    "Lay a dry white cotton on fresh ink and press it for 15 s with the iron at its working heat; "
    "then a damp one, with steam, elsewhere (after ISO 105-X11). Try the hottest setting that the "
    "table will see.",
    f"Grade what came off onto each cloth, by daylight: with a grey scale for staining (ISO "
    f"105-A03) {', '.join(GRADES)}; without one {', '.join(BY_EYE)}. Do it also with the cloth "
    "that customers bring most, light and damp.",
    "Look at the scrap's back and at the pad: what underlay, pad and canvas bear of iron heat and "
    "steam, only their makers can say; ask them, and keep below it. Steam under a sealed sheet "
    "scalds, and foam or board may shrink, melt or give off fumes.",
    "Irons burn: let nobody press near wet marker ink, whose solvents burn; air the room. Local "
    "codes and the makers' sheets come first.",
)
KEEP = (
    "[ink]",
    'pen = ""           # maker and name, as it stands on it',
    'iron = ""          # the hottest setting, with or without steam',
    'cloth = ""         # what was laid on it',
    'dried = "24 h"     # how long the ink had dried',
    *(f'{name} = ""{" " * (14 - len(name))}# {said}' for name, said in TRIALS.items()),
)


def how_to(job: str) -> Iterator[str]:
    """What to do, and the file to write."""
    for count, step in enumerate(HOW_TO, 1):
        yield f"{count}. {step}"
    yield f"Write what you saw into a file, and keep it by {job}:"
    yield from (f"   {line}" for line in KEEP)


def tried_lines(tried: TriedInk) -> Iterator[str]:
    """What was kept, and whether it lets ink be laid."""
    off = tried.comes_off
    grades = tried.grades or {}
    yield (
        f"It comes off: {', '.join(f'{grades[name]} {TRIALS[name]}' for name in off)}. Let it dry "
        "longer, set it by heat if its maker says so, or take another pen; then try it again"
        if off
        else f"The ink stays: {', '.join(f'{grade} {TRIALS[n]}' for n, grade in grades.items())}"
    )
    yield (
        f"It had dried for {format_duration(tried.dried)}: no cloth is laid on the cover before "
        f"that. {', '.join(STAYS)} count as clean, which is our judgement"
    )


def tried_record(tried: TriedInk) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "schema": 1,
        "dried_seconds": tried.dried,
        "grades": dict(tried.grades or {}),
        "comes_off": list(tried.comes_off),
        "stays": not tried.comes_off,
    }
