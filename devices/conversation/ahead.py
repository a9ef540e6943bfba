"""How far a conversation may go ahead of the machine, and how small the pieces it sends are.

It owns figures and the cutting of pieces; it must not know what is under way, nor any time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from devices.conversation.events import Say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from devices.dialects.answers import Dialect

_LEAST = 24
"""Bytes below which no machine could be driven, so that no smaller buffer is tried."""
_NEAR_ENOUGH = 16


class AheadLimits(Struct, frozen=True):
    """How far the conversation may go ahead of the machine, and how long it waits."""

    buffer_bytes: int
    ahead_seconds: float = 8.0
    """Most work under way at once, so that a pause comes soon; two strokes always may be."""
    patience: float = 20.0
    """How long an answer may be late beyond the estimate, in seconds."""
    poll_seconds: float = 0.02


def usable_bytes(buffer_bytes: int, dialect: Dialect) -> int:
    """What a program may fill of a buffer: room is kept to ask again when a reply is lost."""
    return buffer_bytes if dialect.acknowledges else buffer_bytes - len(dialect.checkpoint)


def line_by_line(program: Iterable[Say]) -> Iterator[Say]:
    """Every line a piece of its own; what hangs on the whole piece hangs on its last line."""
    for say in program:
        *before, last = say.data.splitlines(keepends=True)
        begins = say.begins
        for line in before:
            yield Say(line, 0.0, begins)
            begins = ()
        yield replace(say, data=last, begins=begins)


def next_size(held: int, overflowed: int | None, said: int) -> int | None:
    """The size to try next: first what is `said`, then ever closer to the greatest that holds.

    `held` is the greatest that has held so far, 0 for none; None when it is known well enough.
    """
    if overflowed is None:
        return said if not held else None
    size = (held + overflowed) // 2
    near_enough = overflowed - held <= max(_NEAR_ENOUGH, held // 4)
    return None if near_enough or size < _LEAST else size
