"""Questions put to a machine one after another: greeting it, and asking what is wrong with it.

It owns which question stands, how often it was put, and what the answers found, in words. It must
not know the program, how much of it is under way, nor what follows from what was found.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.tongue import Question, Reply, Tongue

_MOST_PUT = 3
"""Times a question is put before the machine counts as silent."""
_SHORTEST_BUFFER = 24
"""Bytes that the longest instruction takes that cannot be split."""


class Inquiry:
    """Some questions, each put again when its answer is late."""

    def __init__(self, questions: Sequence[Question], tongue: Tongue) -> None:
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
        self._questions = deque(questions)
        self._tongue = tongue
        self._put_at: float | None = None

    @property
    def done(self) -> bool:
        """Whether every question is answered."""
        return not self._questions

    def due(self, now: float) -> bytes:
        """The standing question, once; empty while its answer is awaited."""
        if not self._questions or self._put_at is not None:
            return b""
        self._put_at = now
        return self._questions[0].data

    def heard(self, reply: Reply) -> Literal["answer", "refusal", "stray"]:
        """Takes a reply; a stray one answers nothing that was asked."""
        if not self._questions or self._put_at is None:
            return "stray"
        if reply.kind == "refused" or (reply.kind == "place" and not reply.sound):
            return "refusal"
        question = self._questions[0]
        if reply.kind != question.answer or reply.number > question.most:
            return "stray"
        if reply.kind == "number":
            self.said[question.meaning] = reply.number
        if question.meaning == "room":
            self.room = reply.number
        elif question.meaning == "window":
            self.window = reply.text
        elif (
            question.meaning in ("io error", "error", "status", "holds") and reply.kind == "number"
        ):
            words = self._tongue.in_words(question.meaning, reply.number)
            if words is not None:
                self.findings.append(words)
        self._questions.popleft()
        self._put_at, self.times = None, 0
        return "answer"

    def tick(self, now: float) -> Literal["waiting", "again", "silent"]:
        """What the passing of time brings: patience, the question anew, or giving up."""
        if self._put_at is None or not self._questions:
            return "waiting"
        if now - self._put_at <= self._questions[0].seconds:
            return "waiting"
        if self._questions[0].spared:
            self._questions.popleft()
            self._put_at, self.times = None, 0
            return "again"
        self.times += 1
        if self.times >= _MOST_PUT:
            return "silent"
        self._put_at = None
        return "again"


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
