"""A wire between a browser and a run of pages that is cut as Wi-Fi is lost: silently."""

from __future__ import annotations

import socket
import threading
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from msgspec.structs import replace

if TYPE_CHECKING:
    from tests.projector.browsers import Run

_AT_ONCE = 65536


class Wire:
    """Forwards connections to a run, the port in their heads changed to the run's own.

    What stands when the wire is cut is dead from then on; once it is mended new ones get through.
    """

    def __init__(self, address: str) -> None:
        self._there = urlsplit(address)
        self._door = socket.create_server(("127.0.0.1", 0))
        self._port = self._door.getsockname()[1]
        self._up, self._down = threading.Event(), threading.Event()
        """Whether words to the run, and words from it, get through."""
        self.mend()
        self._sockets: list[socket.socket] = []
        threading.Thread(target=self._take, daemon=True).start()

    def over(self, address: str) -> str:
        """An address of the run as it is opened over this wire."""
        return address.replace(f":{self._there.port}/", f":{self._port}/")

    def run(self, run: Run) -> Run:
        """`run` as it is opened over this wire."""
        return replace(run, stage=self.over(run.stage), remote=self.over(run.remote))

    def cut(self, *, only_answers: bool = False) -> None:
        """Nothing gets through any more, or only what the browser says."""
        self._down.clear()
        if not only_answers:
            self._up.clear()

    def mend(self) -> None:
        """New connections get through again."""
        self._up.set()
        self._down.set()

    def close(self) -> None:
        """Ends all connections."""
        for one in (self._door, *self._sockets):
            one.close()

    def _take(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            try:
                far = socket.create_connection((self._there.hostname, self._there.port))
            except ConnectionRefusedError:
                near.close()
                continue
            self._sockets += [near, far]
            for way in ((near, far, self._up), (far, near, self._down)):
                threading.Thread(target=self._forward, args=way, daemon=True).start()

    def _forward(self, source: socket.socket, end: socket.socket, open_: threading.Event) -> None:
        here, there = f":{self._port}".encode(), f":{self._there.port}".encode()
        alive = True
        try:
            while words := source.recv(_AT_ONCE):
                alive = alive and open_.is_set()
                if alive:
                    end.sendall(words.replace(here, there))
            if alive and open_.is_set():
                end.shutdown(socket.SHUT_WR)
        except OSError:
            pass
