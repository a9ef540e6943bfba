"""Buffer space as the machine tells it at once (ESC.B), for a plotter that is driven by it.

It owns the last figure told and what had been sent by then; it must not know what is sent next.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from devices.conversation.sent import UnderWay


class FreeSpace:
    """What was told, and whether an answer is awaited."""

    def __init__(self, buffer_bytes: int) -> None:
        self._all = buffer_bytes
        self._told: tuple[int, int] | None = None
        """Free bytes, and what had been sent when they were asked for."""
        self._asked: int | None = None

    @property
    def awaited(self) -> bool:
        """Whether an answer is awaited."""
        return self._asked is not None

    def ask(self, sent: int) -> None:
        """It is asked for when `sent` bytes were sent."""
        self._asked = sent

    def allows(self, count: int, under_way: UnderWay) -> bool:
        """Whether `count` bytes more have room."""
        if not under_way:
            return True
        if self._told is None:
            return False
        free, sent_then = self._told
        return under_way.sent - sent_then + count <= free

    def takes(self, number: int, freed: int, slack: int) -> None:
        """Takes an answer; one that is too small by more than `slack` cannot be true."""
        if self._asked is not None and self._all - (self._asked - freed) - slack <= number:
            self._told = min(number, self._all), self._asked
        self._asked = None
