"""What comes from a machine, byte by byte: cut into lines, and how much of it was no answer.

It owns the line half heard and the count of noise; it must not know what a line means.
"""

from __future__ import annotations

from devices.dialects.answers import XOFF, XON

_LONGEST_REPLY = 200
_TOO_MUCH_NOISE = 4096


class Incoming:
    """The bytes of one conversation."""

    def __init__(self, ends: bytes) -> None:
        self._ends = ends
        self._line = bytearray()
        self._noise = 0

    def byte(self, byte: int) -> bytes | None:
        """Takes a byte that belongs to a line; returns the line that it ends, if it ends one."""
        if byte in self._ends:
            return bytes(self._taken().strip())
        self._line.append(byte)
        return None

    @property
    def endless(self) -> bytes:
        """Takes what has come without an end, once it is too long for any answer; else empty."""
        return bytes(self._taken()) if len(self._line) > _LONGEST_REPLY else b""

    @staticmethod
    def flow(byte: int) -> bool | None:
        """Whether the machine may be sent more, where a byte says so."""
        return byte == XON if byte in (XON, XOFF) else None

    @property
    def garbled(self) -> bool:
        """Whether anything came that was no answer, or is none yet."""
        return bool(self._noise or self._line)

    @property
    def noise(self) -> int:
        """Bytes that were no answer since the last one that was."""
        return self._noise

    @property
    def unreadable(self) -> bool:
        """Whether too much has come that was no answer."""
        return self._noise > _TOO_MUCH_NOISE

    def note(self, line: bytes) -> None:
        """Counts a line as noise."""
        self._noise += len(line)

    def understood(self) -> None:
        """An answer has come."""
        self._noise = 0

    def _taken(self) -> bytearray:
        line, self._line = self._line, bytearray()
        return line
