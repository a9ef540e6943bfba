"""A command in a real pseudo-terminal, with a person's fingers and eyes.

It knows bytes typed and bytes shown, and nothing of what the command does.
"""

from __future__ import annotations

import os
import pty
import select
import signal
import sys
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

COMMAND = [sys.executable, "-m", "devices.commands"]
UP, DOWN, RIGHT, LEFT = "\x1b[A", "\x1b[B", "\x1b[C", "\x1b[D"
"""Cursor keys as terminals send them: ECMA-48 CUU, CUD, CUF and CUB; xterm's normal mode."""
RIGHT_IN_APPLICATION_MODE = "\x1bOC"
"""The same key after DECCKM: DEC VT100 User Guide, cursor key codes."""
CONTROL_RIGHT = "\x1b[1;5C"
"""With Control held, as xterm's ctlseqs document lists it."""
ENTER, BACKSPACE, CONTROL_C = "\r", "\x7f", "\x03"
_PATIENCE = 120.0
"""Seconds after which a command counts as hung; no check hangs on how long it takes."""


@dataclass
class Terminal:
    """One running command; its own terminal is `master`'s other end."""

    process: int
    master: int
    shown: str = ""
    """All that it has shown so far."""
    _seen: int = field(default=0)
    _code: int | None = field(default=None)

    def type(self, keys: str) -> None:
        os.write(self.master, keys.encode())

    def until(self, text: str) -> str:
        """Reads until `text` is shown after what was waited for last; returns what came."""
        ends = time.monotonic() + _PATIENCE
        while (found := self.shown.find(text, self._seen)) < 0:
            if not self._read():
                raise AssertionError(f"ended without {text!r}; it showed:\n{self.shown}")
            assert time.monotonic() < ends, f"never showed {text!r}, but:\n{self.shown}"
        came = self.shown[self._seen : found + len(text)]
        self._seen = found + len(text)
        return came

    def ended(self) -> int:
        """Its exit code, once it has ended; -N when signal N ended it."""
        ends = time.monotonic() + _PATIENCE
        while self._read():
            assert time.monotonic() < ends, f"never ended, but showed:\n{self.shown}"
        return self._reaped()

    def hang_up(self) -> int:
        """Closes the terminal's window while the command runs; returns its exit code."""
        os.close(self.master)
        self.master = -1
        return self._reaped()

    def send_signal(self, number: int) -> None:
        os.kill(self.process, number)

    def close(self) -> None:
        if self._code is None:
            os.kill(self.process, signal.SIGKILL)
            self._reaped()
        if self.master >= 0:
            os.close(self.master)

    def _reaped(self) -> int:
        if self._code is None:
            self._code = os.waitstatus_to_exitcode(os.waitpid(self.process, 0)[1])
        return self._code

    def _read(self) -> bool:
        """Takes what is shown; False once the command has closed its side."""
        if not select.select([self.master], [], [], 0.2)[0]:
            return True
        try:
            data = os.read(self.master, 4096)
        except OSError:
            # Linux: reading a master whose other side nobody holds any more is EIO.
            return False
        self.shown += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)


def started(*words: str | Path) -> Terminal:
    """`canvasrule` with these words, in a session and a terminal of its own."""
    arguments = [*COMMAND, *map(str, words)]
    process, master = pty.fork()
    if process == 0:
        os.execve(arguments[0], arguments, {**os.environ, "TERM": "xterm"})
    return Terminal(process, master)
