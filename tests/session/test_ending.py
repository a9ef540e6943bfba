"""Whatever asks a run to end, it ends as by Ctrl-C: by signals here, by console events there."""

from __future__ import annotations

import os
import signal
import threading

import pytest

from devices.session.ending import CLOSED, LOGGED_OFF, SHUT_DOWN, ConsoleWatch, ended_as_by_hand

CTRL_C_EVENT, CTRL_BREAK_EVENT = 0, 1
"""wincon.h, as CLOSED and the others are."""


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGQUIT"])
def test_a_signal_that_asks_to_end_interrupts_the_run_and_is_given_back_afterwards(
    name: str,
) -> None:
    number = getattr(signal, name)
    unheard: list[int] = []

    def earlier(*_: object) -> None:
        unheard.append(number)

    before = signal.signal(number, earlier)
    try:
        with pytest.raises(KeyboardInterrupt), ended_as_by_hand():
            os.kill(os.getpid(), number)
        assert unheard == []
        assert signal.getsignal(number) is earlier
    finally:
        signal.signal(number, before)


@pytest.mark.parametrize("event", [CLOSED, LOGGED_OFF, SHUT_DOWN])
def test_a_console_that_closes_is_let_go_only_when_the_run_has_ended(event: int) -> None:
    """The part of Windows' console handler that is not Windows: `heard` holds its thread."""
    interrupted = threading.Event()
    watch = ConsoleWatch(interrupted.set, patience=30.0)
    let_go: list[bool] = []
    system = threading.Thread(target=lambda: let_go.append(watch.heard(event)))
    system.start()
    assert interrupted.wait(30)
    assert let_go == [], "Windows would end the process with the pen still down"
    watch.over()
    system.join(30)
    assert let_go == [True]


@pytest.mark.parametrize("event", [CTRL_C_EVENT, CTRL_BREAK_EVENT])
def test_keys_that_end_come_as_signals_and_are_left_to_them(event: int) -> None:
    called: list[int] = []
    watch = ConsoleWatch(lambda: called.append(event))
    assert watch.heard(event) is False
    assert called == []
