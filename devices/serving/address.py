"""Where pages are served and opened: a socket, this machine's address, its browser."""

from __future__ import annotations

import contextlib
import os
import socket

LOOPBACK = "127.0.0.1"


def bound(port: int, *, lan: bool) -> socket.socket:
    """A socket at `port`; RefusedError when it is taken, BadInputError when it is none."""
    from marking.errors import BadInputError, RefusedError

    if not 0 <= port <= 65535:
        raise BadInputError(f"--port {port}: ports go from 0 to 65535")
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":
        # Lets a run follow another at once; elsewhere it would let two share a port.
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("0.0.0.0" if lan else LOOPBACK, port))
        listening.listen(64)
    except OSError as fault:
        listening.close()
        raise RefusedError(
            f"--port {port}: cannot be used ({fault.strerror}); perhaps another page is being "
            "served there. End that one, or give --port 0 for any free one"
        ) from None
    return listening


def opened(url: str) -> None:
    """Opens the browser, where there is one; BROWSER is honoured."""
    import webbrowser

    with contextlib.suppress(webbrowser.Error):
        webbrowser.open(url)
