"""The person at the table: what is said, asked, and which keys are pressed. No machine.

With `attended` off nothing is asked and every question takes the answer that goes on.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.run import Wish

PAUSE, STOP = "p", "s"
ARROWS = {"A": "up", "B": "down", "C": "right", "D": "left"}
_WINDOWS_ARROWS = {"H": "up", "P": "down", "M": "right", "K": "left"}


@dataclass(frozen=True)
class Person:
    """One person, or nobody."""

    attended: bool

    @property
    def has_keys(self) -> bool:
        """Whether single keys can be pressed at all."""
        return sys.stdin.isatty()

    def say(self, text: str) -> None:
        """Says something, beside the result."""
        print(text, file=sys.stderr, flush=True)

    def agrees(self, question: str) -> bool:
        """Asks, and takes Enter or y for yes."""
        if not self.attended:
            return True
        self.say(f"{question} [Enter: yes, n: no]")
        answer = sys.stdin.readline()
        if not answer:
            raise BadInputError("nobody answers: the input has ended; nothing more was sent")
        return answer.strip().lower() in ("", "y", "yes")

    def wish(self) -> Wish:
        """What the last key says, without waiting."""
        if not self.attended:
            return "go on"
        pressed = key_pressed()
        if pressed == PAUSE:
            return "pause"
        return "stop" if pressed in (STOP, "escape") else "go on"


if sys.platform == "win32":
    import msvcrt

    @contextmanager
    def single_keys() -> Iterator[None]:
        """Keys arrive one by one on this system anyway."""
        yield

    def key_pressed() -> str | None:
        """The key pressed since last asked, by name; None when there is none."""
        if not msvcrt.kbhit():
            return None
        first = msvcrt.getwch()
        if first in ("\x00", "\xe0"):
            return _WINDOWS_ARROWS.get(msvcrt.getwch())
        return _named(first)

else:
    import os
    import select
    import termios
    import tty

    @contextmanager
    def single_keys() -> Iterator[None]:
        """Keys arrive without Enter and unseen, on a terminal."""
        if not sys.stdin.isatty():
            yield
            return
        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)
        try:
            tty.setcbreak(descriptor)
            yield
        finally:
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)

    def key_pressed() -> str | None:
        """The key pressed since last asked, by name; None when there is none."""
        if not sys.stdin.isatty() or not select.select([sys.stdin], [], [], 0)[0]:
            return None
        first = os.read(sys.stdin.fileno(), 1).decode("latin-1")
        if first != "\x1b":
            return _named(first)
        rest = ""
        while len(rest) < 2 and select.select([sys.stdin], [], [], 0.05)[0]:
            rest += os.read(sys.stdin.fileno(), 1).decode("latin-1")
        return ARROWS.get(rest[1:], "escape") if rest else "escape"


def _named(key: str) -> str:
    return {"\r": "enter", "\n": "enter", "\x7f": "backspace", "\x08": "backspace"}.get(
        key, key.lower()
    )
