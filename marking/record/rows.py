"""What the record gives back: one frozen class for each kind of row.

It holds what was kept as it was kept; it must not know how it is stored, nor what it means.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from datetime import datetime

CheckKind = Literal[
    "proof",
    "device",
    "control",
    "proof sheet",
    "ink",
    "marked before",
    "morning",
    "steps",
    "pointer",
]
InkEvent = Literal["begun", "done"]
RuledEvent = Literal["ruled", "undone"]
StrokeEvent = Literal["sent", "drawn", "presumed"]
"""`drawn` is confirmed by the machine; `presumed` is by the clock alone."""


class KeptReading(Struct, frozen=True):
    """A reading as it was taken. Bed frame, mm."""

    at: datetime
    layout: str
    section: str
    mark: str
    at_bed: tuple[float, float]
    sd: float
    source: str


class KeptPlacement(Struct, frozen=True):
    """A solved pose, its covariance and whatever else was said, as plain data."""

    id: int
    at: datetime
    layout: str
    section: str
    pose: Any
    covariance: Any
    detail: Any


class KeptCheck(Struct, frozen=True):
    """A proof of the cover, a check of the device named by `subject`, or what was set out for
    either, as plain data."""

    id: int
    at: datetime
    layout: str
    kind: CheckKind
    subject: str
    result: Any


class KeptInk(Struct, frozen=True):
    """A section whose inking has begun or is done."""

    at: datetime
    layout: str
    section: str
    event: InkEvent
    plan: str
    """Hash of the division that the section is one of; version 0.1 left it empty now and then."""


class KeptRuled(Struct, frozen=True):
    """A line that a person ticked off as ruled by hand, or took the tick from again."""

    at: datetime
    layout: str
    line: str
    event: RuledEvent
    plan: str
    """Hash of the division whose stubs it is ruled between."""

    @property
    def section(self) -> str:
        """What messages call it, as they name a section."""
        return self.line


class KeptRun(Struct, frozen=True):
    """One start of a device on a section: what was driven, where it stood, who allowed it."""

    id: int
    at: datetime
    layout: str
    section: str
    device: str
    """What of the device moves ink, as JSON; of version 0.1, a digest of all its settings."""
    pose: Any
    remark: str
    plan: str
    """Hash of the division that the section is one of; empty where none was kept."""


class KeptLayout(Struct, frozen=True):
    """A layout that work was begun with, and the settings that it came from."""

    hash: str
    begun_with: Any
    data: bytes
    id: int = 0


class KeptDivision(Struct, frozen=True):
    """A division that work was begun with, and the settings of the machine that it is for."""

    hash: str
    layout: str
    zone: str
    begun_with: Any
    data: bytes
    id: int = 0


class KeptStroke(Struct, frozen=True):
    """Something known of one stroke."""

    at: datetime
    run: int
    section: str
    stroke: str
    event: StrokeEvent
