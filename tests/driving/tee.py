"""A cable with a tee in it: what a driver sends to a plotter, kept byte by byte as it passes."""

from __future__ import annotations

import contextlib
import select
import socket
import threading
from typing import TYPE_CHECKING

from tests.inking.kills import free_port, start_plotter

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class Tee:
    """Passes one caller's bytes on to the plotter behind, and keeps them."""

    def __init__(self, plotter: int) -> None:
        self._plotter = plotter
        self._server = socket.create_server(("127.0.0.1", 0))
        self.sent = bytearray()
        """What the driver has sent."""
        self.words = ["--port", f"socket://127.0.0.1:{self._server.getsockname()[1]}"]
        """Of a command that is to go through the tee."""
        threading.Thread(target=self._serve, daemon=True).start()

    def close(self) -> None:
        """Takes no more callers."""
        self._server.close()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near = self._server.accept()[0]
                far = socket.create_connection(("127.0.0.1", self._plotter))
                with near, far:
                    self._pass_on(near, far)

    def _pass_on(self, near: socket.socket, far: socket.socket) -> None:
        while True:
            for source in select.select([near, far], [], [])[0]:
                data = source.recv(4096)
                if not data:
                    return
                if source is near:
                    self.sent += data
                (far if source is near else near).sendall(data)


@contextlib.contextmanager
def teed_plotter(folder: Path, pace: float) -> Iterator[Tee]:
    """The job's simulated plotter in a process of its own, behind a tee."""
    port = free_port()
    process = start_plotter(folder, port, pace)
    tee = Tee(port)
    try:
        yield tee
    finally:
        tee.close()
        process.kill()
        process.join()
