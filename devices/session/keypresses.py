"""Single keys from the keyboard, by name: what a terminal sends for each, on every system.

It owns the terminal's mode and its escape sequences (ECMA-48; cursor keys as the DEC VT100 and
xterm send them); it must not know what a key is for.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from devices.session.piped_keys import is_piped, piped_key
from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

UNKNOWN = "unknown"
"""A key that has no name here, as a function key."""
_ARROWS = {"A": "up", "B": "down", "C": "right", "D": "left"}
_WINDOWS_ARROWS = {"H": "up", "P": "down", "M": "right", "K": "left"}
_ESCAPE = "\x1b"
_LONGEST_SEQUENCE = 32


def has_keyboard() -> bool:
    """Whether single keys can be pressed at all."""
    return is_piped() or _is_terminal()


def _is_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()


def key_of(first: str, more: Callable[[], str]) -> str:
    """The key that begins with `first`; `more` gives what follows at once, or "" for nothing.

    It takes a whole control sequence, so that the rest of a key without a name here is never
    taken for keys of their own.
    """
    if first != _ESCAPE:
        return _named(first)
    introducer = more()
    if introducer == "O":
        return _ARROWS.get(more(), UNKNOWN)
    if introducer != "[":
        # Escape itself, alone or with a key right after it.
        return "escape"
    for _ in range(_LONGEST_SEQUENCE):
        final = more()
        if not final:
            break
        if "\x40" <= final <= "\x7e":
            return _ARROWS.get(final, UNKNOWN)
    return UNKNOWN


def _named(key: str) -> str:
    return {"\r": "enter", "\n": "enter", "\x7f": "backspace", "\x08": "backspace"}.get(
        key, key.lower()
    )


if sys.platform == "win32":
    import msvcrt

    @contextmanager
    def single_keys() -> Iterator[None]:
        """Keys arrive one by one on this system anyway."""
        yield

    def key_pressed() -> str | None:
        """The key pressed since last asked, by name; None when there is none."""
        if is_piped():
            return piped_key()
        if not _is_terminal() or not msvcrt.kbhit():
            return None
        first = msvcrt.getwch()
        if first in ("\x00", "\xe0"):
            return _WINDOWS_ARROWS.get(msvcrt.getwch(), UNKNOWN)
        if first == "\x03":
            # Read this way, Ctrl-C is a key like any other.
            raise KeyboardInterrupt
        return "escape" if first == _ESCAPE else _named(first)

else:
    import os
    import select
    import termios
    import tty

    _SEQUENCE_SECONDS = 0.05
    """How far apart the bytes of one key may come."""

    @contextmanager
    def single_keys() -> Iterator[None]:
        """Keys arrive without Enter and unseen, on a terminal."""
        if not _is_terminal():
            yield
            return
        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)
        try:
            # What was typed until now stays to be read; tty's own default throws it away.
            tty.setcbreak(descriptor, termios.TCSANOW)
            yield
        finally:
            # A terminal that has gone took its mode with it.
            with suppress(termios.error):
                termios.tcsetattr(descriptor, termios.TCSADRAIN, before)

    def key_pressed() -> str | None:
        """The key pressed since last asked, by name; None when there is none.

        Raises BadInputError when the terminal has gone.
        """
        if is_piped():
            return piped_key()
        if not _is_terminal():
            return None
        descriptor = sys.stdin.fileno()
        if not _waits(descriptor, 0):
            return None
        return key_of(
            _byte(descriptor),
            lambda: _byte(descriptor) if _waits(descriptor, _SEQUENCE_SECONDS) else "",
        )

    def _waits(descriptor: int, seconds: float) -> bool:
        return bool(select.select([descriptor], [], [], seconds)[0])

    def _byte(descriptor: int) -> str:
        try:
            data = os.read(descriptor, 1)
        except OSError:
            data = b""
        if not data:
            raise BadInputError("nobody answers: the keyboard is gone; nothing more was sent")
        return data.decode("latin-1")


def forget_keys() -> None:
    """Throws away what was pressed before: it answers no question that comes after it."""
    while key_pressed() is not None:
        pass
