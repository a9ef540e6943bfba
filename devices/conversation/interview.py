"""Everything that is asked outside the program: the greeting before it, what is wrong after it.

It owns which inquiry stands and what its end comes to; it must not know the program, how much of
it is under way, nor what is done about it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from devices.conversation.greeting import Greeting
from devices.conversation.questions import Inquiry, fault, silence
from devices.conversation.restarts import RESTARTED, Watch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.conversation.questions import Told
    from devices.dialects.answers import Dialect, Question, Reply


class Came(Struct, frozen=True):
    """What a reply, or the passing of time, came to."""

    kind: Literal["nothing", "stray", "again", "greeted", "fault"]
    why: str = ""
    """Of a fault, in words."""
    place_lost: bool = False
    doubtful: bool = False
    """Whether nothing shows that a machine at fault has not restarted, or been switched off."""


_NOTHING = Came("nothing")


class Interview:
    """The questions of one conversation."""

    def __init__(self, dialect: Dialect, buffer_bytes: int) -> None:
        self.greeting = Greeting(dialect, buffer_bytes)
        self._dialect = dialect
        self._inquiry = Inquiry((), dialect)
        self._watch: Watch | None = None
        """What the program has shown until then, once the questions are the last ones."""
        self._suspected: str | None = None

    @property
    def times(self) -> int:
        """How often the standing question has gone unanswered."""
        return self._inquiry.times

    @property
    def told(self) -> Told:
        """What the machine said of itself in the greeting."""
        return self._inquiry.told

    @property
    def waits_until(self) -> float:
        """When the standing question is given up at the latest, if nothing more is heard."""
        return self._inquiry.waits_until

    @property
    def resetting(self) -> bool:
        """Whether the machine was told to start anew and has not said yet that it has."""
        return self._inquiry.resetting

    def begin(self) -> Came:
        """The greeting."""
        self._inquiry = self.greeting.first()
        return self._ended() if self._inquiry.done else _NOTHING

    def ask_last(
        self, questions: Sequence[Question], suspected: str | None, watch: Watch
    ) -> Came | None:
        """What is wrong, before giving up; `suspected` is told when the machine does not say.

        None when it is asked, the fault when there is nothing to ask.
        """
        if not questions:
            return Came("fault", suspected or fault((), silent=False))
        self._watch, self._suspected = watch, suspected
        self._inquiry = Inquiry(questions, self._dialect)
        return None

    def due(self, now: float) -> bytes:
        """What to ask now."""
        return self._inquiry.due(now)

    def overhear(self, data: bytes) -> None:
        """Takes what came before anything was asked: it answers nothing, but may be a banner."""
        self._inquiry.overhear([self._dialect.heard(line) for line in data.splitlines()])

    def garbled(self, now: float) -> None:
        """Takes a line that is no answer of the dialect."""
        self._inquiry.garbled(now)

    def heard(self, reply: Reply, now: float) -> Came:
        """Takes a reply."""
        heard = self._inquiry.heard(reply, now)
        if heard == "stray":
            return Came("stray")
        if heard == "refusal":
            return Came("fault", f"the machine is not ready: {reply.state or reply.text}")
        return self._ended() if self._inquiry.done else _NOTHING

    def tick(self, now: float, *, garbled: bool) -> Came:
        """What time brings; `garbled` when something came that was no answer."""
        came = self._inquiry.tick(now)
        if came == "answer" and self._inquiry.done:
            return self._ended()
        if came == "again":
            return Came("again")
        if came != "silent":
            return _NOTHING
        if self._watch is not None:
            return self._found(self._watch, silent=True)
        return Came("fault", silence(garbled=garbled), doubtful=not garbled)

    def _ended(self) -> Came:
        if self._watch is not None:
            return self._found(self._watch, silent=False)
        following = self.greeting.after(self._inquiry)
        if following is not None:
            self._inquiry = following
            return _NOTHING
        reason = self.greeting.objection
        return Came("greeted") if reason is None else Came("fault", reason)

    def _found(self, watch: Watch, *, silent: bool) -> Came:
        status = self._inquiry.said.get("status", 0)
        if self._dialect.began_anew(status) or watch.undone(self._inquiry.window):
            return Came("fault", RESTARTED, place_lost=True)
        found = self._inquiry.findings
        doubtful = silent or "status" not in self._inquiry.said or not watch.tells
        if self._suspected is not None and not found:
            return Came("fault", self._suspected, doubtful=doubtful)
        return Came("fault", fault(found, silent=silent), doubtful=doubtful)
