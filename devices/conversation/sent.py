"""What has been sent and is not known to be done: the pieces of program, and the bytes they fill.

It owns the count of what the machine may still hold; it must not know what is sent next, how
the machine answers, or what time it is.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from devices.conversation.events import Say


_SECONDS_A_BYTE = 0.01
"""By the clock, on top of the estimate: reading, and starting and stopping at every point."""


class UnderWay:
    """Pieces in the order in which they were sent; false when there are none."""

    def __init__(self) -> None:
        self.sent = self.freed = 0
        """Bytes sent since the beginning, and those of them known to have been worked off."""
        self.unanswered: deque[int] = deque()
        """Lengths of the lines not yet acknowledged, where lines are."""
        self._pieces: deque[tuple[Say, int]] = deque()
        """Each with the bytes sent up to its end."""

    def __len__(self) -> int:
        return len(self._pieces)

    @property
    def bytes(self) -> int:
        """Bytes that the machine may still hold."""
        return self.sent - self.freed

    @property
    def seconds(self) -> float:
        """How long the machine will take over them, estimated."""
        return sum(say.seconds for say, _ in self._pieces)

    @property
    def strokes_begun(self) -> int:
        """Strokes whose first ink they may lay."""
        return sum(len(say.begins) for say, _ in self._pieces)

    @property
    def first(self) -> Say | None:
        """The piece sent longest ago."""
        return self._pieces[0][0] if self._pieces else None

    @property
    def last(self) -> Say | None:
        """The piece sent last."""
        return self._pieces[-1][0] if self._pieces else None

    def ends_at(self, place: str, same_place: Callable[[str, str], bool]) -> bool:
        """Whether the piece sent last ends at a place that the machine tells."""
        last = self.last
        return last is not None and last.end is not None and same_place(last.end, place)

    @property
    def asks(self) -> bool:
        """Whether any piece asks where the pen stands, so that an answer will come."""
        return any(say.checkpoint is not None for say, _ in self._pieces)

    @property
    def ends_in_question(self) -> bool:
        """Whether the last piece asks where the pen stands."""
        return self.last is not None and self.last.checkpoint is not None

    def add(self, say: Say, *, acknowledged: bool) -> None:
        """Counts a piece as sent; `acknowledged` when each of its lines will be."""
        self.sent += len(say.data)
        self._pieces.append((say, self.sent))
        if acknowledged:
            self.unanswered.extend(len(line) + 1 for line in say.data.split(b"\n")[:-1])

    def up_to(self, asks: Callable[[str], bool]) -> int | None:
        """How many pieces end with the first whose checkpoint's text `asks` takes; None if none."""
        for count, (say, _) in enumerate(self._pieces, 1):
            if say.checkpoint is not None and asks(say.checkpoint.text):
                return count
        return None

    def only_tell_place(self, count: int) -> bool:
        """Whether no stroke hangs on the first `count` pieces."""
        points = (self._pieces[n][0].checkpoint for n in range(count))
        return all(point is None or point.light for point in points)

    def all_heard(self, count: int) -> bool:
        """Whether the last of the first `count` pieces is the only one that strokes hang on."""
        points = (self._pieces[n][0].checkpoint for n in range(count - 1))
        return all(point is None or point.light for point in points)

    def done(self, count: int) -> tuple[str, ...]:
        """Takes the first `count` pieces as done; returns the strokes that this confirms."""
        strokes: list[str] = []
        for _ in range(count):
            say, self.freed = self._pieces.popleft()
            if say.checkpoint is not None:
                strokes += say.checkpoint.confirms
        return tuple(strokes)

    def by_the_clock(self, since: float, now: float) -> tuple[tuple[str, ...], float]:
        """Takes as done what should be by `now`, begun at `since`; its strokes, and till when."""
        strokes: list[str] = []
        while (first := self.first) is not None:
            seconds = 1.1 * first.seconds + _SECONDS_A_BYTE * len(first.data)
            if now - since < seconds:
                break
            since += seconds
            strokes += self.done(1)
            # A line done needs no acknowledgement any more; a silent machine never gives one.
            while len(self.unanswered) > len(self):
                self.unanswered.popleft()
        return tuple(strokes), since
