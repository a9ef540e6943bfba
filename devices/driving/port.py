"""The port to a machine: found, opened and closed, with every fault in words.

It knows pyserial and operating systems; nothing of what is said over the port.
"""

from __future__ import annotations

import errno
import os
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from marking.errors import BadInputError, CanvasruleError

if TYPE_CHECKING:
    from collections.abc import Callable

    from devices.plotter.profile import Plotter

_READ_SECONDS = 0.02
OPENS_WITHIN = 10.0
"""Seconds by which a port is open, or something is wrong with it; no source, a machine over a
network that is away takes 5."""
_SLOW = 1.0
"""Seconds after which it takes long."""
_WRITE_SECONDS = 30.0
_EXCLUSIVE = True if os.name == "posix" else None
"""Two jobs must not drive one plotter; Windows never lets two open a port."""


class DeviceError(CanvasruleError):
    """A machine or its line failed; what is recorded stays."""

    exit_code = 3


class FailedInRunError(DeviceError):
    """One while a section is driven, its message with how to go on; `what` is what failed."""

    def __init__(self, message: str, what: str) -> None:
        super().__init__(message)
        self.what = what


class Candidate(Struct, frozen=True):
    """A serial port that is there."""

    name: str
    description: str
    """Empty where nothing is known of it."""


def candidates() -> tuple[Candidate, ...]:
    """Ports that a machine may be on: those of USB adapters, else all there are."""
    from serial.tools import list_ports

    found = sorted(list_ports.comports(), key=lambda port: port.device)
    likely = [port for port in found if port.vid is not None] or found
    return tuple(Candidate(port.device, _described(port.description)) for port in likely)


def _described(description: str | None) -> str:
    """What a system says of a port; pyserial has "n/a" for one of which it says nothing."""
    return "" if description in (None, "n/a") else description


def chosen(name: str | None) -> str:
    """The port named, or the only one there is.

    Raises BadInputError, listing what there is, when that does not settle it.
    """
    if name is not None:
        if not name.strip():
            listed = ", ".join(port.name for port in candidates()) or "none"
            raise BadInputError(
                f'--port "{name}": an empty name of a port; give the one that the machine is on '
                f"(there are: {listed}), or leave --port out where there is only one"
            )
        if "://" not in name and Path(name).is_file():
            raise BadInputError(
                f'{name}: a file, not a port; "canvasrule write" writes files, drive needs the '
                "port that the machine is on"
            )
        return name
    found = candidates()
    if len(found) == 1:
        return found[0].name
    if not found:
        raise BadInputError(
            "no serial port is there: plug in the machine or its USB adapter, name one with "
            "--port (socket://host:port is one too), or use --simulate"
        )
    listed = "\n".join(f"  {port.name}   {port.description}".rstrip() for port in found)
    raise BadInputError(f"several serial ports are there; name one with --port:\n{listed}")


class Port:
    """One open port."""

    def __init__(self, name: str, serial: Any) -> None:
        self.name = name
        self._serial = serial

    def write(self, data: bytes) -> None:
        """Sends all of `data`. Raises DeviceError."""
        try:
            self._serial.write(data)
        except Exception as fault:
            raise _lost(self.name, fault) from None

    def read(self) -> bytes:
        """What has come, waiting a moment when nothing has. Raises DeviceError."""
        try:
            waiting = self._serial.in_waiting
            data: bytes = self._serial.read(max(int(waiting), 1))
        except Exception as fault:
            raise _lost(self.name, fault) from None
        return data

    def clear_to_send(self, line: str) -> bool:
        """Whether the hardware line lets through; True where the port has no such line."""
        try:
            return bool(self._serial.cts if line == "rtscts" else self._serial.dsr)
        except Exception:
            return True

    def forget_unsent(self) -> None:
        """Drops what was written and has not left yet, where the system can."""
        with suppress(Exception):
            self._serial.reset_output_buffer()

    def close(self) -> None:
        """Lets go of it; a port that is gone already is no fault."""
        try:
            self._serial.close()
        except Exception:
            return


def open_port(name: str, plotter: Plotter) -> Port:
    """The port open at the plotter's speed. Raises DeviceError or BadInputError with what to do."""
    import serial

    try:
        opened = serial.serial_for_url(
            name,
            baudrate=plotter.baud,
            timeout=_READ_SECONDS,
            write_timeout=_WRITE_SECONDS,
            exclusive=_EXCLUSIVE,
        )
    except (ValueError, OSError) as fault:
        # pyserial's own errors are OSErrors; a speed or URL it cannot use is a ValueError.
        raise _not_opened(name, fault) from None
    return Port(name, opened)


def open_in_time(
    name: str, plotter: Plotter, ends: Callable[[], bool], waits: Callable[[float], None]
) -> Port:
    """The same, waited for no longer than `OPENS_WITHIN` seconds, and only until `ends` says so.

    A system may hang over opening a port, and no key is heard in it: it is opened in a thread.
    `waits` is told how many seconds it is waited for yet, once it takes long, and 0 at the end.
    Raises DeviceError and BadInputError as `open_port` does, KeyboardInterrupt where it `ends`.
    """
    found: list[Port] = []
    faults: list[Exception] = []
    given_up = threading.Event()

    def opens() -> None:
        try:
            found.append(open_port(name, plotter))
        except Exception as fault:
            faults.append(fault)
            return
        if given_up.is_set():
            found[0].close()

    opening = threading.Thread(target=opens, daemon=True)
    began, told = time.monotonic(), False
    opening.start()
    try:
        while opening.is_alive() and (took := time.monotonic() - began) < OPENS_WITHIN:
            if ends():
                raise KeyboardInterrupt
            if not told and took > _SLOW:
                told = True
                waits(OPENS_WITHIN - took)
            opening.join(_READ_SECONDS)
    except BaseException:
        given_up.set()
        raise
    if told:
        waits(0.0)
    if opening.is_alive():
        given_up.set()
        raise DeviceError(
            f"{name}: did not open within {OPENS_WITHIN:.0f} s: unplug it, and plug it in again"
        )
    if faults:
        raise faults[0]
    return found[0]


def _not_opened(name: str, fault: Exception) -> CanvasruleError:
    said = str(fault)
    number = getattr(fault, "errno", None)
    if isinstance(fault, ValueError):
        return BadInputError(f"{name}: cannot be used as a port: {said}")
    if number == errno.EACCES or "PermissionError" in said or "Permission denied" in said:
        return DeviceError(f"{name}: may not be used. {permission_advice(sys.platform)}")
    if number == errno.EBUSY or "exclusively lock" in said or "busy" in said.lower():
        return DeviceError(f"{name}: in use by another program; end that one, then try again")
    if number == errno.ENOENT or "FileNotFoundError" in said or "No such file" in said:
        listed = ", ".join(port.name for port in candidates()) or "none"
        return DeviceError(
            f"{name}: not there; is the machine plugged in? Ports that are there: {listed}"
        )
    if "refused" in said.lower():
        return DeviceError(f"{name}: nothing listens there; start the machine or the simulation")
    return DeviceError(f"{name}: cannot be opened: {said}")


def permission_advice(platform: str) -> str:
    """How to get at a port that the system forbids."""
    if platform == "win32":
        return (
            "Another program has it open, or the driver is missing: close other plotter software "
            "and look in the Device Manager under Ports"
        )
    if platform == "darwin":
        return (
            "Use the port's /dev/cu.… name, close other plotter software, and allow the adapter "
            "under System Settings, Privacy & Security"
        )
    return (
        "Add yourself to the group that owns it, then log out and in: sudo usermod -aG dialout "
        "$USER (on some systems the group is uucp)"
    )


def _lost(name: str, fault: Exception) -> DeviceError:
    return FailedInRunError(
        f"{name}: the line to the machine is gone ({fault}). Look that the pen is up; everything "
        "confirmed is kept. Plug it in or switch it on, and run drive again to go on",
        what=f"{name}: the line to the machine is gone ({fault})",
    )
