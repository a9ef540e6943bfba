"""What a conversation with a machine may be doing, and every move from one state to another.

It owns the table alone: it must not know bytes, replies, time, or why a signal is given.
"""

from __future__ import annotations

from enum import Enum, auto


class State(Enum):
    """What the conversation is doing."""

    SHUT = auto()
    GREETING = auto()
    STREAMING = auto()
    HELD = auto()
    ASKING = auto()
    DIAGNOSING = auto()
    STOPPED = auto()
    FAILED = auto()


class Signal(Enum):
    """What moves it on."""

    OPEN = auto()
    ANSWERED_ALL = auto()
    WAIT = auto()
    GO_ON = auto()
    OVERDUE = auto()
    CONFIRMED = auto()
    UNSOUND = auto()
    STOP = auto()
    FAULT = auto()


TRANSITIONS: dict[tuple[State, Signal], State] = {
    (State.SHUT, Signal.OPEN): State.GREETING,
    (State.GREETING, Signal.ANSWERED_ALL): State.STREAMING,
    (State.STREAMING, Signal.WAIT): State.HELD,
    (State.HELD, Signal.GO_ON): State.STREAMING,
    (State.STREAMING, Signal.OVERDUE): State.ASKING,
    (State.ASKING, Signal.OVERDUE): State.ASKING,
    (State.ASKING, Signal.CONFIRMED): State.STREAMING,
    (State.STREAMING, Signal.UNSOUND): State.DIAGNOSING,
    (State.HELD, Signal.UNSOUND): State.DIAGNOSING,
    (State.ASKING, Signal.UNSOUND): State.DIAGNOSING,
    **{
        (state, Signal.FAULT): State.FAILED
        for state in State
        if state not in (State.STOPPED, State.FAILED)
    },
    **{(state, Signal.STOP): State.STOPPED for state in State if state is not State.FAILED},
}
"""Every move there is; a signal with no entry leaves the state as it is."""
