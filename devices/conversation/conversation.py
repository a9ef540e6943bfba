"""The conversation with a machine: bytes in, events out; everything that decides what may be sent.

It knows no port, no clock and no file: whoever holds those calls `due`, `receive` and `tick`
with a time in seconds that never runs backwards. Three rules hold whatever the machine does:
no more bytes are under way than its buffer holds; a stroke is confirmed only by a report of the
very place that follows it, of a machine that has not restarted; and a fault ends in `Failed`,
after which nothing is sent.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.conversation.ahead import line_by_line, usable_bytes
from devices.conversation.events import (
    AskedAgain,
    Confirmed,
    Due,
    Event,
    Failed,
    Greeted,
    Noise,
    PlaceLost,
    Presumed,
    Say,
)
from devices.conversation.free_space import FreeSpace
from devices.conversation.going_ahead import GoingAhead
from devices.conversation.halt import Halt
from devices.conversation.incoming import Incoming
from devices.conversation.interview import Came, Interview
from devices.conversation.program_stretch import ProgramStretch
from devices.conversation.questions import ELSEWHERE, UNREADABLE, told_to_wait
from devices.conversation.restarts import LOST_ANSWER, RESTARTED, Watch
from devices.conversation.sent import UnderWay
from devices.conversation.states import TRANSITIONS, Signal, State

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from devices.conversation.ahead import AheadLimits
    from devices.conversation.greeting import Greeting
    from devices.conversation.questions import Told
    from devices.dialects.answers import Dialect, Question, Reply

_MOST_ASKED = 2
"""Times a question is put again before giving up; the buffer keeps room for one."""


class Conversation:
    """One conversation, from greeting to the last confirmation."""

    def __init__(self, dialect: Dialect, limits: AheadLimits) -> None:
        self.state = State.SHUT
        self._dialect = dialect
        self._limits = limits
        self._room = usable_bytes(limits.buffer_bytes, dialect)
        self._stretch = ProgramStretch()
        self._open = UnderWay()
        self._interview = Interview(dialect, limits.buffer_bytes)
        self._answers = bool(dialect.greeting)
        self._watch = Watch()
        self._asked_times = 0
        self._incoming = Incoming(dialect.ends)
        self._matched: int | None = None
        """How many open pieces the place just reported would confirm, until a status follows."""
        self._elsewhere_told = False
        """Whether the place just reported is none that was asked for."""
        self._now = self._quiet_since = self._polled_at = 0.0
        self._space = FreeSpace(limits.buffer_bytes)
        self._out = bytearray()
        self._line_low = False
        self._alarmed = self._restarted = False
        """Whether the machine has stopped with an alarm, or begun anew."""
        self._stands: str | None = None
        """Where the pen stood when all that was sent was done, in the machine's words."""
        self._unsure = False
        """Whether it must say that it still stands there before it is sent anything more."""

    # -- what the caller does ------------------------------------------------------------------

    def open(self, now: float) -> list[Event]:
        """Begins the greeting."""
        self._now = self._quiet_since = now
        self._signal(Signal.OPEN)
        return self._came(self._interview.begin())

    @property
    def told(self) -> Told:
        """What the machine said of itself in the greeting."""
        return self._interview.told

    @property
    def standing(self) -> str | None:
        """Where the pen stands, in its words, when nothing is under way and it has said so."""
        return self._stands if self.drained else None

    def feed(self, program: Iterable[Say]) -> None:
        """Gives the next stretch of program, taken piece by piece as there is room."""
        self._stretch = ProgramStretch(
            line_by_line(program) if self._dialect.acknowledges else program
        )
        self._unsure = bool(self._dialect.poll) and self._stands is not None and not self._open

    @property
    def drained(self) -> bool:
        """Whether all that was fed is sent and known to be done."""
        done = self._stretch.next is None and not self._open and self._watch.settled
        return done and self.state is State.STREAMING

    @property
    def room(self) -> int:
        """Bytes that may be under way."""
        return self._room

    @property
    def greeted(self) -> Greeting:
        """What the greeting has shown."""
        return self._interview.greeting

    @property
    def greeting(self) -> bool:
        """Whether the machine has still to answer the opening questions."""
        return self.state in (State.SHUT, State.GREETING)

    @property
    def over(self) -> bool:
        """Whether nothing more will be sent."""
        return self.state in (State.FAILED, State.STOPPED)

    def due(self, now: float) -> Due | None:
        """What to send now; None when it has to wait."""
        self._now = max(now, self._now)
        if self.state in (State.GREETING, State.DIAGNOSING):
            self._out += self._interview.due(self._now)
        begins: list[str] = []
        self._ask_window()
        while (say := self._stretch.next) is not None and self._fits(say):
            begins += say.begins
            self._send(say)
            self._stretch.sent()
        if self.state in (State.STREAMING, State.HELD, State.ASKING):
            self._poll()
        if not self._out:
            return None
        data, self._out = bytes(self._out), bytearray()
        return Due(data, tuple(begins))

    def pause(self) -> None:
        """Lets the strokes under way finish and sends nothing more of the stretch fed.

        A stroke may be half sent, its pen on the cloth: the stretch goes on to the next place
        where the pen is up and all that was begun will be confirmed.
        """
        self._stretch.pause()

    def stop(self, now: float) -> Halt:
        """Ends at once: the stop that brings the machine to rest with its pen up."""
        greeting = self.greeting
        self._signal(Signal.STOP)
        self._out.clear()
        return Halt(
            self._dialect,
            now,
            restarted=self._restarted,
            alarmed=self._alarmed,
            greeting=greeting,
            resetting=greeting and self._interview.resetting,
        )

    def may_send(self, allowed: bool) -> None:
        """What the hardware lines say (CTS or DSR)."""
        self._line_low = not allowed
        self._signal(Signal.GO_ON if allowed else Signal.WAIT)

    def receive(self, data: bytes, now: float) -> list[Event]:
        """Takes what the machine sent."""
        self._now = max(now, self._now)
        events: list[Event] = []
        for byte in data:
            if (goes_on := self._incoming.flow(byte)) is not None:
                self._signal(Signal.GO_ON if goes_on else Signal.WAIT)
            elif line := self._incoming.byte(byte):
                events += self._heard(line)
            elif endless := self._incoming.endless:
                events += self._noted(endless)
        return events

    def overhear(self, data: bytes) -> None:
        """Takes what came before anything was asked: it answers nothing, but may be a banner."""
        self._interview.overhear(data)

    def tick(self, now: float) -> list[Event]:
        """What the passing of time brings."""
        self._now = max(now, self._now)
        if self.state in (State.GREETING, State.DIAGNOSING):
            garbled = self._incoming.garbled
            return self._came(self._interview.tick(self._now, garbled=garbled))
        if self.state not in (State.STREAMING, State.HELD, State.ASKING):
            return []
        if not self._answers:
            return self._by_the_clock()
        if self.state is State.HELD and not self._open:
            self._wait_is_stale()
        waits = self._watch.waits or self._unsure
        if not (self._open or waits or self.state is State.HELD):
            self._quiet_since = self._now
        allowed = self._limits.patience + 2 * self._open.seconds
        return self._overdue() if self._now - self._quiet_since > allowed else []

    # -- sending -------------------------------------------------------------------------------

    @property
    def _ahead(self) -> GoingAhead:
        seconds = self._limits.ahead_seconds
        return GoingAhead(self._dialect, self._open, self._space, self._room, seconds)

    def _fits(self, say: Say) -> bool:
        return self.state is State.STREAMING and not self._unsure and self._ahead.allows(say)

    def _ask_window(self) -> None:
        """Asks for the window, in turn with the program, as soon as it has room."""
        asked = self._dialect.window
        wants = self.state is State.STREAMING and self._watch.wants
        if wants and self._ahead.has_room(len(asked)):
            self._watch.ask(self._open.sent)
            self._out += asked
            self._open.sent += len(asked)
            self._quiet_since = self._now

    def _send(self, say: Say) -> None:
        if not self._open:
            self._quiet_since = self._now
        self._out += say.data
        self._open.add(say, acknowledged=self._dialect.acknowledges)

    def _poll(self) -> None:
        if self._now - self._polled_at < self._limits.poll_seconds:
            return
        more = self.state is State.STREAMING and self._stretch.next and self._open
        if self._dialect.room and more:
            if not self._space.awaited or self._now - self._polled_at > 1.0:
                self._space.ask(self._open.sent)
                self._out += self._dialect.room
                self._polled_at = self._now
        elif self._unsure or (
            self._dialect.poll and self._open.ends_in_question and not self._open.unanswered
        ):
            self._out += self._dialect.poll
            self._polled_at = self._now

    # -- hearing -------------------------------------------------------------------------------

    def _heard(self, line: bytes) -> list[Event]:
        reply = self._dialect.heard(line)
        if reply.kind == "noise":
            self._matched = None
            self._interview.garbled(self._now)
            return self._noted(line)
        if reply.kind == "note":
            return []
        if self.state in (State.GREETING, State.DIAGNOSING):
            return self._answered(reply, line)
        if self.state not in (State.STREAMING, State.HELD, State.ASKING):
            return []
        if reply.kind == "place":
            return self._at(reply, line)
        if reply.kind == "number":
            return self._number(reply.number, line)
        if reply.kind == "window":
            return self._window(reply.text)
        if reply.kind == "accepted":
            if self._open.unanswered:
                self._open.unanswered.popleft()
                # It works the program off, however slowly: that is no silence.
                self._quiet_since = self._now
                return []
            return self._noted(line)
        if reply.kind == "banner":
            self._restarted = True
            return self._fail(RESTARTED, place_lost=True)
        if reply.kind == "setting":
            return self._noted(line)
        self._alarmed = reply.kind == "alarm"
        said = "has stopped with an alarm" if self._alarmed else "refused a line"
        return self._fail(f"the machine {said}: {reply.text}", place_lost=reply.lost)

    def _at(self, reply: Reply, line: bytes) -> list[Event]:
        if not reply.sound:
            stopped = f"the machine has stopped by itself: {reply.state}"
            return self._fail(stopped, place_lost=reply.lost)
        self._matched, self._elsewhere_told = None, False
        if self._unsure:
            return self._still_there(reply)
        count = self._open.up_to(lambda text: self._dialect.same_place(text, reply.text))
        if count is None:
            self._elsewhere_told = self._dialect.status_follows
            return self._elsewhere(reply) if self._dialect.poll else self._noted(line)
        if not reply.settled:
            return []
        self._matched = count
        if not self._dialect.status_follows or self._open.only_tell_place(count):
            return self._confirm()
        return []

    def _still_there(self, reply: Reply) -> list[Event]:
        """Nothing was sent since it last told its place, so it must tell the same one."""
        if not reply.settled:
            return []
        if self._stands is None or not self._dialect.same_place(self._stands, reply.text):
            return self._fail(
                f"the machine no longer stands where it was left ({self._stands}) but at "
                f"{reply.text}: it has restarted, or was moved",
                place_lost=True,
            )
        self._unsure = False
        self._quiet_since, self._asked_times = self._now, 0
        self._signal(Signal.CONFIRMED)
        return []

    def _elsewhere(self, reply: Reply) -> list[Event]:
        """A polled place that no checkpoint has: on its way, or all done but its answers lost."""
        all_done = reply.settled and self._open.ends_at(reply.text, self._dialect.same_place)
        if all_done and self.state is State.ASKING:
            self._open.unanswered.clear()
            self._quiet_since = self._now
            self._signal(Signal.CONFIRMED)
        return []

    def _number(self, number: int, line: bytes) -> list[Event]:
        follows, self._elsewhere_told = self._elsewhere_told, False
        if self._matched is not None or follows:
            told = not self._space.awaited
            if told and self._dialect.began_anew(number):
                return self._fail(RESTARTED, place_lost=True)
            if self._matched is not None and self._dialect.healthy(number):
                return self._confirm()
            self._matched = None
            if told and (not follows or self._dialect.faulty(number)):
                return self._ask_last(self._dialect.diagnosis, None)
        if self._space.awaited:
            slack = len(self._dialect.checkpoint) * self._asked_times
            self._space.takes(number, self._open.freed, slack)
            return []
        return self._noted(line)

    def _confirm(self) -> list[Event]:
        count, self._matched = self._matched or 0, None
        last, all_heard = self._open.last, self._open.all_heard(count)
        strokes = self._watch.answered(
            self._open.done(count), all_heard=all_heard, done=self._open.freed
        )
        if strokes is None:
            return self._fail(LOST_ANSWER, doubtful=True)
        self._stands = last.end if last is not None and not self._open else self._stands
        if self._dialect.acknowledges:
            self._open.unanswered.clear()
        self._quiet_since, self._asked_times = self._now, 0
        self._incoming.understood()
        self._signal(Signal.CONFIRMED)
        if not self._open and self.state is State.HELD:
            self._wait_is_stale()
        return [Confirmed(strokes)] if strokes else []

    def _window(self, told: str) -> list[Event]:
        strokes = self._watch.reads(told)
        if strokes is None:
            return self._fail(RESTARTED, place_lost=True)
        self._quiet_since = self._now
        return [Confirmed(strokes)] if strokes else []

    def _noted(self, line: bytes) -> list[Event]:
        self._incoming.note(line)
        if self._incoming.unreadable:
            return self._fail(UNREADABLE, doubtful=not self.greeting)
        return [Noise(line)]

    # -- greeting and diagnosis ----------------------------------------------------------------

    def _answered(self, reply: Reply, line: bytes) -> list[Event]:
        came = self._interview.heard(reply, self._now)
        if came.kind == "stray":
            return self._noted(line)
        self._quiet_since = self._now
        return self._came(came)

    def _came(self, came: Came) -> list[Event]:
        if came.kind == "again":
            return [AskedAgain(self._interview.times, self._interview.waits_until)]
        if came.kind == "fault":
            doubtful = came.doubtful or (self._incoming.noise > 0 and not self.greeting)
            return self._fail(came.why, place_lost=came.place_lost, doubtful=doubtful)
        return self._greeted() if came.kind == "greeted" else []

    def _greeted(self) -> list[Event]:
        greeting = self._interview.greeting
        self._room = greeting.room
        self._watch = Watch.after(greeting, self._dialect.own_window)
        self._signal(Signal.ANSWERED_ALL)
        return [Greeted(self._room)]

    def _ask_last(self, questions: Sequence[Question], suspected: str | None) -> list[Event]:
        """What is wrong, before giving up; `suspected` is told when the machine does not say."""
        came = self._interview.ask_last(questions, suspected, self._watch)
        if came is not None:
            return self._fail(came.why, doubtful=True)
        self._signal(Signal.UNSOUND)
        return []

    # -- time ----------------------------------------------------------------------------------

    def _overdue(self) -> list[Event]:
        if self._watch.waits and not self._open and self.state is not State.HELD:
            again = self._watch.unheard()
            return [AskedAgain(1)] if again else self._fail(LOST_ANSWER, doubtful=True)
        if self.state is State.HELD:
            questions = () if self._line_low else self._dialect.last_questions
            return self._ask_last(questions, told_to_wait(self._now - self._quiet_since))
        # The greeting may have shown that the buffer is smaller than it is said to be.
        full = self._open.bytes > self._room and not self._dialect.poll
        if self._asked_times >= _MOST_ASKED or full:
            return self._ask_last(self._dialect.last_questions, ELSEWHERE)
        self._asked_times += 1
        self._quiet_since = self._now
        self._signal(Signal.OVERDUE)
        self._out += self._dialect.poll or self._dialect.checkpoint
        self._open.sent += 0 if self._dialect.poll else len(self._dialect.checkpoint)
        return [AskedAgain(self._asked_times)]

    def _by_the_clock(self) -> list[Event]:
        """For a machine that never answers: what should be done by now counts as done."""
        strokes, self._quiet_since = self._open.by_the_clock(self._quiet_since, self._now)
        return [Presumed(strokes)] if strokes else []

    def _wait_is_stale(self) -> None:
        """Its buffer is empty, so an Xoff without end is noise; a line held low is not."""
        if not self._line_low:
            self._signal(Signal.GO_ON)

    def _fail(
        self, reason: str, *, place_lost: bool = False, doubtful: bool = False
    ) -> list[Event]:
        """Ends it; `doubtful` where nobody knows whether the machine has kept its place."""
        self._signal(Signal.FAULT)
        self._out.clear()
        lost: list[Event] = [PlaceLost(reason, place_lost)] if place_lost or doubtful else []
        return [*lost, Failed(reason)] if self.state is State.FAILED else lost

    def _signal(self, signal: Signal) -> None:
        self.state = TRANSITIONS.get((self.state, signal), self.state)
