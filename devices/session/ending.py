"""How a run ends when the system asks it to: as by Ctrl-C, so that the pen is raised first.

It knows signals and the console's events alone: not what runs, nor how a pen is raised.
"""

from __future__ import annotations

import signal
import sys
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import FrameType

_ENDING = ("SIGTERM", "SIGHUP", "SIGQUIT", "SIGBREAK")
"""Asked to end, its terminal closed, Ctrl-\\, Ctrl-Break; a system has those that it has."""
_SUSPENDING = ("SIGTSTP",)
"""Ctrl-Z: a run that stands still in mid-stroke leaves the pen on the cloth."""

CLOSED, LOGGED_OFF, SHUT_DOWN = 2, 5, 6
"""Console events of Windows after which it ends the process as soon as their handler returns:
CTRL_CLOSE_EVENT, CTRL_LOGOFF_EVENT, CTRL_SHUTDOWN_EVENT (HandlerRoutine, wincon.h)."""
_LEFT_BY_WINDOWS = 4.5
"""Seconds; the system ends a process five seconds after its console was closed, whatever it does
(documentation of HandlerRoutine: SPI_GETHUNGAPPTIMEOUT, 5000 ms)."""


@contextmanager
def ended_as_by_hand() -> Iterator[None]:
    """What asks the process to end raises KeyboardInterrupt; Ctrl-Z does nothing."""
    before = {}
    try:
        for name in (*_ENDING, *_SUSPENDING):
            number = getattr(signal, name, None)
            # What is ignored already, as under nohup, stays so.
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                taken = signal.SIG_IGN if name in _SUSPENDING else _interrupted
                before[number] = signal.signal(number, taken)
        with _console_watched():
            yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _interrupted(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


class ConsoleWatch:
    """What is done when a console of Windows closes: interrupt the run, and let it end first."""

    def __init__(self, interrupt: Callable[[], None], patience: float = _LEFT_BY_WINDOWS) -> None:
        self._interrupt = interrupt
        self._patience = patience
        self._ended = threading.Event()

    def heard(self, event: int) -> bool:
        """Called by the system on a thread of its own; returns whether the event is dealt with.

        It comes back only when the run has ended: with that the process is gone.
        """
        if event not in (CLOSED, LOGGED_OFF, SHUT_DOWN):
            # Ctrl-C and Ctrl-Break come as signals, to the handlers above.
            return False
        self._interrupt()
        self._ended.wait(self._patience)
        return True

    def over(self) -> None:
        """The run has ended, its pen raised."""
        self._ended.set()


if sys.platform == "win32":
    import _thread
    import ctypes

    @contextmanager
    def _console_watched() -> Iterator[None]:
        watch = ConsoleWatch(_thread.interrupt_main)
        routine = ctypes.WINFUNCTYPE(ctypes.c_int, ctypes.c_uint)(
            lambda event: int(watch.heard(event))
        )
        kernel = ctypes.windll.kernel32
        kernel.SetConsoleCtrlHandler(routine, 1)
        try:
            yield
        finally:
            watch.over()
            kernel.SetConsoleCtrlHandler(routine, 0)

else:

    @contextmanager
    def _console_watched() -> Iterator[None]:
        """Elsewhere a closed terminal is a signal (SIGHUP)."""
        yield
