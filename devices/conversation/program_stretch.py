"""The stretch of program being sent: the piece that comes next, and where it may end for a pause.

It owns what is not sent yet; it must not know what has been sent, nor whether there is room.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from devices.conversation.events import Say


class ProgramStretch:
    """Piece by piece; empty until it is given a program."""

    def __init__(self, program: Iterable[Say] = ()) -> None:
        self._pieces: Iterator[Say] = iter(program)
        self.next: Say | None = next(self._pieces, None)
        """The piece to send next."""
        self._rests = self._pausing = False
        """Whether the last piece sent may be the last for now, and whether it is to be."""

    def sent(self) -> None:
        """The next piece was sent."""
        self._rests = self.next is not None and self.next.rests
        self.next = next(self._pieces, None)
        self._end_at_rest()

    def pause(self) -> None:
        """Ends at the next place where the pen is up and all that was begun will be confirmed."""
        self._pausing = True
        self._end_at_rest()

    def _end_at_rest(self) -> None:
        if self._pausing and self._rests:
            self._pieces, self.next = iter(()), None
