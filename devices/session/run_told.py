"""How a run goes and how it ended, as a program is told that drives in a person's place.

It knows the form of both and their exit codes, not what is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Ended = Literal["done", "paused", "stopped", "not allowed"]
EXIT_CODES: Mapping[Ended, int] = {"done": 0, "not allowed": 1, "paused": 130, "stopped": 130}


def progress_record(
    section: str,
    strokes: tuple[int, int],
    left_s: float | None,
    sections: tuple[int, int] = (0, 0),
    lines: Sequence[Sequence[Sequence[float]]] = (),
) -> dict[str, Any]:
    """How far it is: strokes and sections done, and all there are; `left_s` None where unknown.

    `lines` were drawn since the last of these: polylines, table frame, mm.
    """
    return {
        "section": section,
        "drawn": strokes[0],
        "of": strokes[1],
        "left_s": left_s,
        "sections_done": sections[0],
        "sections": sections[1],
        "lines": list(lines),
    }


def ended_record(
    section: str | None,
    ended: Ended | Literal["failed", "interrupted"],
    words: Sequence[str],
    left: Sequence[str],
) -> dict[str, Any]:
    """How one section ended, for a program that goes on: `left` is what is still to be inked.

    `words` tell where the pen is and what not to move; `section` is None where none was left.
    """
    return {
        "section": section,
        "ended": ended,
        "words": list(words),
        "next": next(iter(left), None),
        "left": len(left),
    }
