"""Durations as a person writes and reads them; seconds everywhere inside."""

from __future__ import annotations

import math
import re

from marking.errors import shortened

_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
_TERM = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*(s|min|h)\s*")
_LONGEST_TEXT = 100
LONGEST = 1000 * 3600.0
"""Seconds: no act at a table takes longer; past it a unit is wrong."""


def parse_duration(text: object) -> float:
    """A written duration in seconds: `"30 s"`, `"4.5 min"`, `"1 h 30 min"`.

    Raises ValueError with advice for anything else, and for more than a thousand hours.
    """
    advice = 'write a time with its unit, as "30 s", "4.5 min" or "1 h 30 min"'
    if not isinstance(text, str):
        raise ValueError(advice)
    seconds, at = 0.0, 0
    while len(text) <= _LONGEST_TEXT and (term := _TERM.match(text, at)) is not None:
        seconds, at = seconds + float(term[1]) * _SECONDS[term[2]], term.end()
    if at == 0 or at != len(text):
        raise ValueError(f"{shortened(repr(text))} is no time; {advice}")
    if not seconds <= LONGEST:
        raise ValueError(f"{shortened(text)} is longer than a thousand hours; check the unit")
    return seconds


def format_duration(seconds: float) -> str:
    """A duration as one says it: seconds under a minute and a half, minutes under two hours."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 2 * 3600:
        return f"{seconds / 60:.0f} min"
    return f"{format_hours(seconds)} h"


def format_hours(seconds: float) -> str:
    """Hours with one decimal, as a reckoning of work is told; never less than it took."""
    return f"{math.ceil(round(seconds / 360, 6)) / 10:.1f}"
