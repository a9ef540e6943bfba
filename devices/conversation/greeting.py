"""What a machine is asked before its program, and what follows from its answers.

It owns the order (questions, then the trial of the buffer in ever smaller sizes until one holds)
and what the conversation may rely on afterwards; it must not know the program, nor the clock.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.conversation.ahead import next_size, usable_bytes
from devices.conversation.questions import Inquiry, objection

if TYPE_CHECKING:
    from devices.dialects.answers import Dialect


class Greeting:
    """Inquiry after inquiry, until nothing is left to ask."""

    def __init__(self, dialect: Dialect, buffer_bytes: int) -> None:
        self.restarted = False
        """Whether it was switched on, or reset, since it was last spoken to."""
        self.tells_restarts = True
        """Whether its status tells that it was initialised; False once it was and did not."""
        self.showed_restarts = False
        """Whether its status has told that it was initialised when it was."""
        self.first_window: str | None = None
        """The window it has when it begins, if it says so."""
        self._dialect = dialect
        self._said = buffer_bytes
        """Bytes that the buffer has, as profile and machine say."""
        self._held = 0
        self._overflowed: int | None = None
        self._trying: int | None = None
        self._findings: list[str] = []

    @property
    def room(self) -> int:
        """Bytes that may be under way: no more than a trial has shown, where one was made."""
        size = self._said if self._overflowed is None and not self._held else self._held
        return usable_bytes(self._dialect.shown(size), self._dialect)

    @property
    def overstated(self) -> int | None:
        """Bytes that the machine is said to hold and does not, if so."""
        return None if self._overflowed is None else self._said

    @property
    def objection(self) -> str | None:
        """Why the machine cannot be driven; None when it can."""
        return objection(self._findings, self.room)

    def first(self) -> Inquiry:
        """What is asked first."""
        return Inquiry(self._dialect.greeting, self._dialect)

    def after(self, done: Inquiry) -> Inquiry | None:
        """What is asked when all of `done` is answered; None when the greeting is over."""
        self._findings += done.findings
        if self._trying is None:
            self._introduced(done)
        elif done.said.get("holds") == 0:
            self._held = self._trying
        else:
            # What was not answered has not been shown either.
            self._overflowed = self._trying
        if self._findings:
            return None
        self._trying = next_size(self._held, self._overflowed, self._said)
        questions = self._dialect.holds(self._trying) if self._trying is not None else ()
        return Inquiry(questions, self._dialect) if questions else None

    def _introduced(self, done: Inquiry) -> None:
        if done.room is not None:
            self._said = min(done.room, self._said)
        self.restarted = self._dialect.began_anew(done.said.get("since", 0))
        if "started" in done.said:
            self.tells_restarts = self._dialect.began_anew(done.said["started"])
            self.showed_restarts = self.tells_restarts
        self.first_window = done.window
