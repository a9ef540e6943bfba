"""What answers at a port: a machine asked for its name, and for nothing else. Nothing moves.

It knows ports and the one question of a dialect; no conversation is begun and nothing is kept.
"""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from devices.driving.port import Candidate, candidates, open_port
from devices.programs.dialect import who
from marking.errors import CanvasruleError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from devices.plotter.profile import Plotter

_ASKED_AT = (0.0, 2.2)
"""Seconds: a board that restarts when its port is opened hears nothing for the first two."""
_LISTENS, _GOES_QUIET = 4.0, 0.4
"""Seconds for which an answer is waited for, and after which one that has begun is whole."""
_LONGEST_WAIT = 8.0
"""Seconds by which each port has been asked: a system may hang over opening one."""
_LONGEST_NAME = 60
_FLOW = bytes((17, 19))
"""Xon and Xoff, which a plotter sends between its answers."""


class AtPort(Struct, frozen=True):
    """What came of asking at one port."""

    port: Candidate
    answers: str | None
    """The name that the machine gives; None where it gives none."""
    says: str
    """What came of it, in words."""

    @property
    def record(self) -> Mapping[str, Any]:
        """For a program."""
        return {
            "port": self.port.name,
            "about": self.port.description,
            "answers": self.answers,
            "says": self.says,
        }


def who_answers(names: Sequence[str], plotter: Plotter) -> tuple[AtPort, ...]:
    """What answers at each of `names`, or at every port there is, asked all at once.

    By `plotter`'s speed and dialect. A machine that restarts when its port is opened, as some
    gantries do, may lose its place by that as it does at each drive.
    """
    ports = [Candidate(name, "") for name in names] or list(candidates())
    found: dict[str, AtPort] = {}

    def ask(port: Candidate) -> None:
        found[port.name] = _asked(port, plotter)

    # No thread is waited for to its end: opening a port of a broken driver may never come back.
    asking = [threading.Thread(target=ask, args=(port,), daemon=True) for port in ports]
    for one in asking:
        one.start()
    ends = time.monotonic() + _LONGEST_WAIT
    for one in asking:
        one.join(max(ends - time.monotonic(), 0))
    hangs = f"did not open within {_LONGEST_WAIT:.0f} s: unplug it, and plug it in again"
    return tuple(found.get(port.name) or AtPort(port, None, hangs) for port in ports)


def answer_lines(asked: Sequence[AtPort]) -> Iterator[str]:
    """Port by port, in words."""
    for one in asked:
        about = f" ({one.port.description})" if one.port.description else ""
        yield f"{one.port.name}{about}: {one.says}"
    if not asked:
        yield "no serial port is there: plug in the machine or its USB adapter"


def _asked(port: Candidate, plotter: Plotter) -> AtPort:
    if plotter.handshake == "timed":
        return AtPort(
            port, None, 'not asked: by its profile (handshake = "timed") it never answers'
        )
    try:
        line = open_port(port.name, plotter)
    except CanvasruleError as fault:
        why = "; ".join(fault.messages).removeprefix(f"{port.name}: ")
        return AtPort(port, None, f"cannot be opened: {why}")
    heard, began = b"", time.monotonic()
    last = began
    due = list(_ASKED_AT)
    try:
        while (now := time.monotonic()) - began < _LISTENS:
            if heard and now - last > _GOES_QUIET and _names(heard):
                break
            if due and now - began >= due[0]:
                del due[0]
                line.write(who(plotter))
            data = line.read().translate(None, _FLOW)
            heard, last = heard + data, (time.monotonic() if data else last)
    except CanvasruleError as fault:
        return AtPort(port, None, "; ".join(fault.messages).removeprefix(f"{port.name}: "))
    finally:
        line.close()
    return _told(port, heard)


def _told(port: Candidate, heard: bytes) -> AtPort:
    names = _names(heard)
    if names:
        return AtPort(port, names[-1], f"answers as {names[-1]}")
    if heard.strip():
        return AtPort(
            port,
            None,
            "answers what cannot be read: the baud rate is most likely another, or it is a machine "
            "of another kind than plotter.profile says",
        )
    return AtPort(
        port, None, "nothing answers: look that it is switched on and not in its local mode"
    )


def _names(heard: bytes) -> list[str]:
    """Lines that may name a machine: readable, and more than a yes or a fault."""
    text = heard.decode("ascii", "replace")
    lines = [line.strip()[:_LONGEST_NAME] for line in text.splitlines()]
    return [
        line
        for line in lines
        if line.isprintable()
        and "\ufffd" not in line
        and any(letter.isalnum() for letter in line)
        and line != "ok"
        and not line.startswith(("error:", "[OPT:", "[MSG:"))
    ]
