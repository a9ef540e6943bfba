"""How a run ends when the system asks it to: as by Ctrl-C, so that the pen is raised first.

It knows signals alone: not what runs, nor how a pen is raised.
"""

from __future__ import annotations

import signal
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType

_ENDING = ("SIGTERM", "SIGHUP", "SIGBREAK")
"""Asked to end, its terminal closed, Ctrl-Break; a system has those that it has."""
_SUSPENDING = ("SIGTSTP",)
"""Ctrl-Z: a run that stands still in mid-stroke leaves the pen on the cloth."""


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
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _interrupted(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt
