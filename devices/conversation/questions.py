"""Questions put to a machine one after another: greeting it, and asking what is wrong with it.

It owns which question stands, how often it was put, and what the answers found, in words. It must
not know the program, how much of it is under way, nor what follows from what was found.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.dialects.answers import Dialect, Question, Reply

_SOON = 0.2
"""Seconds after which a question is put again whose answer came garbled, or is not the last."""
_PINGS = 8
_MOST_GARBLED = 4
"""Times a question is put whose answers come garbled."""
_SHORTEST_BUFFER = 24
"""Bytes that the longest instruction takes that cannot be split."""

ELSEWHERE = (
    "the machine no longer says where its pen stands, or stands elsewhere than sent: look whether "
    "it is paused or stuck, and at the cable"
)
UNREADABLE = (
    "nothing the machine sends can be read any more: check the baud rate (plotter.baud) and the "
    "cable"
)


class Told(Struct, frozen=True):
    """What a machine said of itself before the program."""

    settings: Mapping[int, float]
    """By number, where it tells them."""
    stands: Reply | None
    """Where it stood when it was first spoken to, brought to rest, where it tells."""
    doubt: str | None
    """Why it may have lost its place since it was last driven."""

    @property
    def zero(self) -> str:
        """Where the program's zero lies for it, in its words; empty if it never said."""
        return self.stands.zero if self.stands is not None else ""


class Inquiry:
    """Some questions, each put again when its answer is late."""

    def __init__(self, questions: Sequence[Question], dialect: Dialect) -> None:
        self.findings: list[str] = []
        """What the answers say is wrong."""
        self.room: int | None = None
        """Bytes that the machine says its buffer has, once it has said so."""
        self.said: dict[str, int] = {}
        """The last number that answered a question of each meaning."""
        self.window: str | None = None
        """The window that the machine says it has."""
        self.times = 0
        """How often the standing question has gone unanswered."""
        self._settings: dict[int, float] = {}
        self._stands: Reply | None = None
        self._lost: str | None = None
        self._questions = deque(questions)
        self._dialect = dialect
        self._put_at: float | None = None
        self._first_put_at = self._heard_at = 0.0
        self._again_at = 0.0
        self._garbled = self._resets = 0
        self._spoilt = False
        """Whether a line was garbled of an answer that has several."""
        self._before: Reply | None = None
        self._locked = False

    @property
    def told(self) -> Told:
        """What the answers say of the machine itself."""
        return Told(self._settings, self._stands, self._lost)

    @property
    def done(self) -> bool:
        """Whether every question is answered."""
        return not self._questions

    @property
    def waits_until(self) -> float:
        """When what was asked is given up at the latest, if nothing more is heard.

        A question whose silence is no fault is followed by the next one.
        """
        standing = self._questions[0]
        busy = min(self._heard_at + standing.lasts, self._first_put_at + standing.busy)
        ends = max(self._first_put_at + standing.lasts, busy) + standing.seconds
        for question, following in pairwise(self._questions):
            if not _may_be_silent(question):
                break
            ends += following.lasts + following.seconds
        return ends

    @property
    def resetting(self) -> bool:
        """Whether a reset was asked for whose banner has not come."""
        return self._resets > 0

    def due(self, now: float) -> bytes:
        """The standing question, once; empty while its answer is awaited."""
        if not self._questions or self._put_at is not None or now < self._again_at:
            return b""
        question = self._questions[0]
        if self.times == 0 and self._again_at == 0.0:
            self._first_put_at = self._heard_at = now
        self._put_at = now
        self._spoilt = False
        self._resets += question.meaning == "reset"
        # A machine that is busy holds all that it is asked in turn, and its buffer is small.
        pings = question.ping and self.times > 1 and self.times % _PINGS
        return question.ping if pings else question.data

    def heard(self, reply: Reply, now: float) -> Literal["answer", "refusal", "stray"]:
        """Takes a reply; a stray one answers nothing that was asked."""
        self._overhear(reply)
        if not self._questions or self._put_at is None:
            return "stray"
        self._heard_at = now
        question = self._questions[0]
        if reply.kind == "setting" and question.meaning == "settings":
            self._settings[reply.number] = float(reply.text)
            return "answer"
        if reply.kind in ("refused", "alarm"):
            return self._refused(reply, question)
        if reply.kind != question.answer or not question.least <= reply.number <= question.most:
            return "stray"
        if reply.kind == "place" and not self._placed(reply, question, now):
            return "answer" if question.meaning == "rest" else "refusal"
        if question.meaning == "settings" and self._spoilt:
            return "answer" if self._asks_soon(now) else "refusal"
        if reply.kind == "number":
            self.said[question.meaning] = reply.number
        if question.meaning == "room":
            self.room = reply.number
        elif question.meaning == "window":
            self.window = reply.text
        elif question.meaning in ("io error", "error", "status", "holds"):
            words = self._dialect.in_words(question.meaning, reply.number)
            if words is not None:
                self.findings.append(words)
        self._next()
        return "answer"

    def overhear(self, replies: Sequence[Reply]) -> None:
        """Takes what the machine said before it was asked anything."""
        for reply in replies:
            self._overhear(reply)

    def garbled(self, now: float) -> None:
        """Takes a line that is no answer of the dialect: what it answered is asked again soon."""
        if not self._questions or self._put_at is None:
            return
        question = self._questions[0]
        self._spoilt = True
        if question.answer == "place":
            self._asks_soon(now)

    def tick(self, now: float) -> Literal["waiting", "again", "answer", "silent"]:
        """What the passing of time brings: patience, the question anew, or giving up."""
        if self._put_at is None or not self._questions:
            return "waiting"
        question = self._questions[0]
        if now - self._put_at <= question.seconds:
            return "waiting"
        busy = now - self._heard_at <= question.lasts and now - self._first_put_at <= question.busy
        if now - self._first_put_at > question.lasts and not busy:
            if not _may_be_silent(question):
                return "silent"
            self._next()
            return "answer"
        if question.meaning == "home":
            return "waiting"
        self.times += 1
        self._put_at = None
        return "again"

    def _overhear(self, reply: Reply) -> None:
        """What the machine says unasked of having lost its place."""
        if reply.kind == "banner":
            self._resets -= 1
            if self._resets < 0:
                self._resets = 0
                self._lost = "it has restarted since it was last driven"
        elif reply.kind in ("alarm", "place") and reply.lost:
            self._lost = self._lost or reply.state or reply.text
        if reply.kind in ("alarm", "place"):
            self._locked = reply.kind == "alarm" or reply.locked

    def _refused(self, reply: Reply, question: Question) -> Literal["answer", "refusal", "stray"]:
        if question.meaning == "settings" and reply.kind == "refused":
            # A machine that does not tell is driven by its profile alone.
            self._next()
            return "answer"
        if reply.kind == "alarm" and question.meaning in ("rest", "reset", "stands"):
            return "stray"
        return "refusal"

    def _placed(self, reply: Reply, question: Question, now: float) -> bool:
        """Whether a place answers what was asked."""
        if question.meaning == "rest":
            if not reply.still:
                self._asks_soon(now, counted=False)
                return False
            self._before = reply
            return True
        if question.meaning == "stands":
            self._stands = reply
            before = self._before
            if before is not None and not self._dialect.same_place(before.text, reply.text):
                self._lost = self._lost or "it reports another place than before it was reset"
            return reply.still
        return reply.sound

    def _asks_soon(self, now: float, *, counted: bool = True) -> bool:
        self._garbled += counted
        if self._garbled > _MOST_GARBLED:
            return False
        self._put_at, self._again_at = None, now + _SOON
        return True

    def _next(self) -> None:
        self._questions.popleft()
        self._put_at, self.times, self._garbled, self._again_at = None, 0, 0, 0.0
        while self._questions and self._questions[0].meaning == "unlock" and not self._locked:
            self._questions.popleft()


def _may_be_silent(question: Question) -> bool:
    """Whether it is followed by the next where nothing answers it.

    After a limit a machine answers nothing before it is reset (interface.md).
    """
    return question.meaning == "rest" or question.spared


def objection(findings: Sequence[str], room: int) -> str | None:
    """Why a machine that has answered the greeting cannot be driven; None when it can."""
    if findings:
        return f"the machine is not ready: {'; '.join(findings)}"
    if room < _SHORTEST_BUFFER:
        return (
            f"the machine has room for {max(room, 0)} bytes only; an instruction needs "
            f"{_SHORTEST_BUFFER}. Switch it off and on, and check plotter.buffer_bytes"
        )
    return None


def fault(findings: Sequence[str], *, silent: bool) -> str:
    """What a machine that reported a fault says of it; `silent` when it stopped answering."""
    said = [*findings, *(["it reports a fault and does not say which"] if silent else [])]
    words = "; ".join(said) or "it says that something is wrong, but not what"
    return f"the machine reports a fault: {words}"


def silence(*, garbled: bool) -> str:
    """Why a machine may not answer the greeting; `garbled` when something came, but no answer."""
    if garbled:
        return (
            "what the machine answers cannot be read: the baud rate is most likely another; "
            "set plotter.baud to what the machine's switches or menu say"
        )
    return (
        "the machine does not answer: check that it is switched on, not paused or in its "
        "local mode, that the cable is its own kind, and that the port is the right one"
    )


def told_to_wait(seconds: float) -> str:
    """What is wrong with a machine that has asked to wait for so long."""
    return (
        f"the machine has asked to wait for {seconds:.0f} s and never said to go on: look whether "
        "it is paused, open or out of cloth"
    )
