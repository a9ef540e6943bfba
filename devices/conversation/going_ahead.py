"""Whether one more piece may be sent while others are under way.

It owns the rules of going ahead: what the machine's buffer holds, a line acknowledged at a time,
and no more work under way than a pause can wait for. It must not know bytes, answers or time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from devices.conversation.events import Say
    from devices.conversation.free_space import FreeSpace
    from devices.conversation.sent import UnderWay
    from devices.dialects.answers import Dialect


class GoingAhead(Struct, frozen=True):
    """What is under way on one machine, and what it may hold."""

    dialect: Dialect
    under_way: UnderWay
    space: FreeSpace
    room: int
    """Bytes that may be under way."""
    seconds: float
    """Most work under way at once; two strokes always may be."""

    def has_room(self, count: int) -> bool:
        """Whether `count` bytes more have room in the machine's buffer."""
        if self.under_way.bytes + count > self.room:
            return False
        return not self.dialect.room or self.space.allows(count, self.under_way)

    def allows(self, say: Say) -> bool:
        """Whether a piece of program may be sent now."""
        under_way = self.under_way
        if self.dialect.acknowledges:
            # The pen's place is asked out of turn, so it must stand still there until asked.
            # And a line that was refused is followed by none that relies on it: a pen is not
            # lowered where a lost move left it, nor dragged on because raising it was lost.
            waits = under_way.ends_in_question or under_way.unanswered
            if waits or len(say.data) > self.room:
                return False
        elif not self.has_room(len(say.data)):
            return False
        if not say.begins or under_way.strokes_begun < 2 or not under_way.asks:
            # A stroke is never left half sent for the sake of a soon pause, and the one after it
            # is at hand when it ends. Without a question under way no answer would free a place.
            return True
        return under_way.seconds + say.seconds <= self.seconds
