"""What a finished cover may show before it is called wrong."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Allowed:
    """The two wishes that a placement weighs."""

    tolerance: float
    """How far any ink may lie from true, in mm."""
    step: float = 1.0
    """The largest step of a line at a join, in mm: our choice, the width of a usual line."""
