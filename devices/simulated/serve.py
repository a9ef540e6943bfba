"""Puts a simulated machine behind a pseudo-terminal or a TCP socket, in real or scaled time."""

from __future__ import annotations

import os
import select
import socket
import sys
import time
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable

_TURN_SECONDS = 0.002


class Peer(Protocol):
    """A simulated machine."""

    def receive(self, data: bytes, now: float) -> None:
        """Bytes arriving."""
        ...

    def advance(self, now: float) -> None:
        """Time passing."""
        ...

    def reply(self) -> bytes:
        """Bytes leaving."""
        ...


def serve_socket(
    peer: Peer, address: tuple[str, int], scale: float, ready: Callable[[str], None]
) -> None:
    """Serves one caller after another until interrupted; `ready` is told the port's URL."""
    with socket.create_server(address) as server:
        host, port = server.getsockname()[:2]
        ready(f"socket://{host}:{port}")
        clock = _Clock(scale)
        caller: socket.socket | None = None
        while True:
            watched = [server] if caller is None else [server, caller]
            for source in select.select(watched, [], [], _TURN_SECONDS)[0]:
                if source is server:
                    if caller is not None:
                        caller.close()
                    caller = server.accept()[0]
                    caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                elif caller is not None and not _received(caller, peer, clock()):
                    caller = None
            peer.advance(clock())
            data = peer.reply()
            if data and caller is not None:
                try:
                    caller.sendall(data)
                except OSError:
                    caller = None


def _received(caller: socket.socket, peer: Peer, now: float) -> bool:
    try:
        data = caller.recv(4096)
    except OSError:
        data = b""
    if data:
        peer.receive(data, now)
    else:
        caller.close()
    return bool(data)


class _Clock:
    """Seconds since the machine was switched on, `scale` times faster than real ones."""

    def __init__(self, scale: float) -> None:
        self._start = time.monotonic()
        self._scale = scale

    def __call__(self) -> float:
        return (time.monotonic() - self._start) * self._scale


if sys.platform != "win32":
    import pty
    import tty

    def serve_pty(peer: Peer, scale: float, ready: Callable[[str], None]) -> None:
        """Serves a pseudo-terminal until interrupted; `ready` is told its name."""
        ours, theirs = pty.openpty()
        tty.setraw(theirs)
        ready(os.ttyname(theirs))
        clock = _Clock(scale)
        while True:
            if select.select([ours], [], [], _TURN_SECONDS)[0]:
                peer.receive(os.read(ours, 4096), clock())
            peer.advance(clock())
            data = peer.reply()
            if data:
                os.write(ours, data)
