"""A section placed by hand, or begun and looked at: in words and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.placement.words import placement_lines, placement_record

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from devices.setting_down.slip_words import SlipReport
    from marking.placement.placement import Placement
    from marking.sections.plan import Section


def left_out_note(left_out: Sequence[str]) -> str | None:
    """What to know of ink that nothing is joined to; None where there is none."""
    if not left_out:
        return None
    return (
        f"note: {', '.join(left_out[:6])} inked under another layout or division, or placed by "
        "other means: nothing is joined to that ink"
    )


def placed_record(
    placed: Placement, paths: Sequence[Path], scatters: str | None, slip: SlipReport | None
) -> dict[str, Any]:
    """The placement, its files, and how far its readings can be trusted."""
    return {
        **placement_record(placed, paths),
        "scatter": scatters,
        "slip": None if slip is None else slip.record,
    }


def placed_lines(placed: Placement, scatters: str | None, slip: SlipReport | None) -> Iterator[str]:
    """The same in words."""
    yield from placement_lines(placed)
    yield from () if slip is None else slip.lines
    if scatters is not None:
        yield f"Note: {scatters}"


def begun_record(section: Section, said: str) -> dict[str, Any]:
    """Of a section begun whose device still stands there; `said` tells how surely."""
    return {"schema": 1, "section": section.id, "verdict": "ink", "advice": said, "begun": True}


def begun_lines(section: Section, said: str) -> tuple[str, str]:
    """The same in words."""
    return f"{section.id}: INK", f"  {said}"
