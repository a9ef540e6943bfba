"""What a conversation with a machine yields, and what it puts in: frozen, and nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from devices.conversation.checkpoints import Checkpoint


class Say(Struct, frozen=True):
    """One piece of program that goes to the machine whole."""

    data: bytes
    seconds: float
    """How long the machine will take over it, estimated."""
    begins: tuple[str, ...] = ()
    """Ids of the strokes whose first ink it may lay."""
    checkpoint: Checkpoint | None = None
    end: str | None = None
    """Where the pen stands after it, as the machine would report it."""
    rests: bool = False
    """Whether after it the pen is up and every stroke begun is done: a run may pause there."""


class Due(Struct, frozen=True):
    """What may be sent now. The strokes it begins are to be recorded as sent before it is."""

    data: bytes
    begins: tuple[str, ...]


class Greeted(Struct, frozen=True):
    """The machine has answered, and takes instructions."""

    buffer_bytes: int
    """What it has room for: the profile's figure, or less if the machine says so."""


class Confirmed(Struct, frozen=True):
    """The machine has reported that these strokes are on the cloth."""

    strokes: tuple[str, ...]


class Presumed(Struct, frozen=True):
    """By the clock these strokes are drawn; the machine never said so."""

    strokes: tuple[str, ...]


class Noise(Struct, frozen=True):
    """Bytes that are no answer to anything asked."""

    line: bytes


class AskedAgain(Struct, frozen=True):
    """An answer is overdue, and the question was put once more."""

    times: int
    until: float | None = None
    """When it is given up at the latest, if nothing more is heard; None where that hangs on more
    than what is asked now."""


class PlaceLost(Struct, frozen=True):
    """The machine may no longer stand where it reports: what was known of its place is void."""

    why: str
    told: bool = True
    """Whether it has shown so; otherwise it has gone silent, or an answer was lost that may have
    told of a restart, and nobody knows."""


class Failed(Struct, frozen=True):
    """The conversation is over. What is confirmed stays so; nothing more will be sent."""

    reason: str


Event = Greeted | Confirmed | Presumed | Noise | AskedAgain | PlaceLost | Failed
