"""Whether a machine has run on without a restart, and what is confirmed only once that is shown.

A restart shows once in the status, and for good in a window that is the machine's own again. It
owns the strokes held back until one of the two has spoken; it must not know bytes, nor the clock.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.conversation.greeting import Greeting

RESTARTED = "the machine has restarted by itself (power, or its reset button)"
LOST_ANSWER = (
    "an answer of the machine was lost on the line, and nothing else shows whether it restarted "
    "meanwhile: look at the cable"
)
_MOST_ASKED = 3


class Watch:
    """What the answers since the greeting show.

    `tells` is whether its status is known to tell of a restart, `own_window` what it answers
    after the opening, `first_window` what it answered before, where it did.
    """

    def __init__(
        self, *, tells: bool = True, own_window: str = "", first_window: str | None = None
    ) -> None:
        self._own, self._first = own_window, first_window
        unlike = bool(own_window) and first_window not in (None, own_window)
        self._window: Literal["unread", "proves", "no proof"] = "unread" if unlike else "no proof"
        self._tells = tells
        self._losses = self._excused = 0
        """Statuses lost that may have told of a restart, as they do only once; and how many of
        them the window has since shown to be of no concern."""
        self._held_back: list[str] = []
        self._opened = False
        self._asked: tuple[int, int, int] | None = None
        """The window asked for: strokes that the answer frees, bytes sent and losses till then."""
        self._times = 0

    @classmethod
    def after(cls, greeting: Greeting, own_window: str) -> Watch:
        """The watch over a machine that has been greeted."""
        return cls(
            tells=greeting.tells_restarts,
            own_window=own_window,
            first_window=greeting.first_window,
        )

    @property
    def tells(self) -> bool:
        """Whether the status tells of a restart, and none is lost that may have told of one."""
        return self._tells and self._losses == self._excused

    @property
    def settled(self) -> bool:
        """Whether nothing waits for the window."""
        return not self._held_back and self._asked is None and not self.wants

    @property
    def wants(self) -> bool:
        """Whether the window is to be asked for."""
        unread = self._window == "unread" and self._opened
        return self._asked is None and (bool(self._held_back) or unread)

    @property
    def waits(self) -> bool:
        """Whether an answer is awaited."""
        return self._asked is not None

    def answered(
        self, strokes: Sequence[str], *, all_heard: bool, done: int
    ) -> tuple[str, ...] | None:
        """A checkpoint was answered soundly: the strokes that are confirmed by it now.

        `all_heard` is whether every earlier one was, `done` the bytes done by then. None when a
        lost answer leaves it open, for good, whether the machine has restarted.
        """
        self._opened = True
        self._losses += not all_heard
        if self._asked is not None and done > self._asked[1]:
            # Answers come in turn, so that of the window was lost.
            self._asked = None
        certain = self._losses == self._excused
        if self._window == "no proof":
            return tuple(strokes) if certain else None
        if certain and self._tells and not self._held_back:
            return tuple(strokes)
        self._held_back += strokes
        return ()

    def ask(self, sent: int) -> None:
        """The window is asked for when `sent` bytes were sent before."""
        self._asked = len(self._held_back), sent, self._losses
        self._times += 1

    def reads(self, window: str) -> tuple[str, ...] | None:
        """The strokes that the window told confirms; None when it shows a restart."""
        if self._asked is None:
            return ()
        (count, _, losses), self._asked = self._asked, None
        if window == self._own:
            self._window, self._times, self._excused = "proves", 0, losses
            freed, self._held_back = tuple(self._held_back[:count]), self._held_back[count:]
            return freed
        if self._window == "unread":
            # Cut down to what the machine has, or not taken: it proves nothing.
            self._window = "no proof"
            return ()
        return None if window == self._first or self._times >= _MOST_ASKED else ()

    def undone(self, window: str | None) -> bool:
        """Whether a window told at another time shows a restart."""
        return self._window == "proves" and window == self._first

    def unheard(self) -> bool:
        """The answer is overdue. Returns whether it is worth asking again."""
        self._asked = None
        if self._window == "unread":
            self._window = "no proof"
        return self._times < _MOST_ASKED
