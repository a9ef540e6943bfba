"""What a slip in one reading must come to, to be named, and what to read besides: in words.

It knows what stands round a section and which marks are in sight, no person and no pen.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.network.network import Reading
from marking.placement.least_slip_named import more_readings, slips
from marking.record.readings import READING_SD
from marking.sections.neighbours import outermost_ink, window_middle

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.setting_down.where_it_stands import Ground
    from marking.network.network import Network
    from marking.network.pose import PoseKind
    from marking.placement.least_slip_named import MoreReadings, Slips
    from marking.sections.plan import Section

_SHOWN = 12


class SlipReport(Struct, frozen=True):
    """How far the readings of one section check each other."""

    slips: Slips
    more: MoreReadings | None

    @property
    def lines(self) -> tuple[str, ...]:
        """What would be named, what a smaller slip may do, and what to read beside."""
        worst = self.slips.worst
        if math.isfinite(worst):
            said = (
                f"A slip of {worst:.1f} mm in any one reading would be named; a smaller one may "
                f"pass unseen, and put ink up to {self.slips.shifts:.1f} mm further off"
            )
        else:
            free = [
                mark
                for mark, size in zip(self.slips.marks, self.slips.named, strict=True)
                if not math.isfinite(size)
            ]
            said = (
                f"Too little checks {', '.join(dict.fromkeys(free[:_SHOWN]))}: a slip there may "
                "not be named, however large, and puts the ink off with it"
            )
        return (said,) if self.more is None else (said, self._asked(self.more))

    def _asked(self, more: MoreReadings) -> str:
        read = [mark for mark in more.marks if mark in self.slips.marks]
        new = [mark for mark in more.marks if mark not in self.slips.marks]
        parts = []
        if new:
            parts.append(f"{', '.join(new)} too")
        if read:
            every = set(read) == set(self.slips.marks)
            parts.append(f"{'every mark' if every else ', '.join(read)} once more")
        then = (
            f"one of {more.then:.1f} mm would be named"
            if math.isfinite(more.then)
            else "more of them check each other"
        )
        return f"Read {' and '.join(parts)}: then {then}"

    @property
    def record(self) -> dict[str, Any]:
        """The same as plain data; null for what is not bounded."""
        return {
            "named_mm": _finite(self.slips.worst),
            "mark": self.slips.worst_mark,
            "shifts_mm": _finite(self.slips.shifts),
            "read_also": [] if self.more is None else list(self.more.marks),
            "then_mm": None if self.more is None else _finite(self.more.then),
        }


def slip_report(
    ground: Ground,
    section: Section,
    readings: Sequence[Reading],
    in_sight: Sequence[str],
    kind: PoseKind = "rigid",
) -> SlipReport:
    """How far `readings` check each other, and what of the marks `in_sight` to read besides."""
    about, points = window_middle(section), outermost_ink(section)
    network = ground.network
    ready = [mark for mark in in_sight if _ready(network, mark)]
    return SlipReport(
        slips(network, readings, about, points, kind, ground.against),
        more_readings(network, readings, about, points, ready, kind, ground.against),
    )


def foreseen(ground: Ground, section: Section, marks: Sequence[str]) -> SlipReport | None:
    """The same before anything is read; None where `marks` cannot place the section."""
    network = ground.network
    ready = [mark for mark in marks if _ready(network, mark)]
    at = [network.targets[mark].mark.at_table for mark in ready]
    if not ready or (ground.against is None and float(np.ptp(np.array(at), axis=0).max()) < 1.0):
        return None
    readings = [Reading(mark, spot, READING_SD) for mark, spot in zip(ready, at, strict=True)]
    try:
        return slip_report(ground, section, readings, ready)
    except (RefusedError, np.linalg.LinAlgError):
        return None


def _ready(network: Network, mark: str) -> bool:
    """Whether a mark is known and on the cover."""
    target = network.targets.get(mark)
    return target is not None and all(by in network.setups for by, _ in target.inkers)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
