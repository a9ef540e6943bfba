"""A serial port of this computer with a machine at it, which can be pulled out and put back in."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import socket
import threading
import tty
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from tests.interruptions.standing_machine import StandingMachine

_TURN = 0.2


class SerialLine:
    """A pseudo-terminal under one name, as an adapter has it wherever it is plugged in."""

    def __init__(self, machine: StandingMachine, folder: Path) -> None:
        self._machine, self._name = machine, folder / "ttyPLOTTER"
        self._ends: tuple[int, int] | None = None
        self._thread: threading.Thread | None = None
        self.plug_in()

    @property
    def port(self) -> str:
        """What a person types to name it."""
        return str(self._name)

    def plug_in(self) -> None:
        """The adapter is in: the machine is heard."""
        ours, theirs = pty.openpty()
        tty.setraw(theirs)
        self._name.symlink_to(os.ttyname(theirs))
        self._ends = ours, theirs
        host, _, port = self._machine.port.removeprefix("socket://").partition(":")
        far = socket.create_connection((host, int(port)))
        self._thread = threading.Thread(target=self._pass_on, args=(ours, far), daemon=True)
        self._thread.start()

    def pull_out(self) -> None:
        """The adapter is pulled out, whoever holds the port open; the machine goes on with what it
        has heard.
        """
        if self._ends is None or self._thread is None:
            return
        ends, self._ends = self._ends, None
        self._name.unlink()
        self._thread.join()
        for end in ends:
            os.close(end)

    def close(self) -> None:
        """Takes it away for good."""
        self.pull_out()

    def _pass_on(self, ours: int, far: socket.socket) -> None:
        with far, contextlib.suppress(OSError):
            while self._ends is not None:
                for source in select.select([ours, far], [], [], _TURN)[0]:
                    if source is far:
                        os.write(ours, far.recv(4096))
                    else:
                        far.sendall(os.read(ours, 4096))
