"""The RS-232-C side of a pen plotter: its input buffer, its handshakes and what it tells of them.

HP 7470A Interfacing and Programming Manual (07470-90001), chapter 10. It knows bytes and no
instruction of HP-GL, no time and no pen.
"""

from __future__ import annotations

from collections import deque

_ESC = 27
_OVERFLOW_ERROR = 16


class Rs232:
    """Bytes that wait to be executed, and the escape sequences, which act at once."""

    def __init__(self, holds: int, says_it_holds: int | None) -> None:
        self.waiting: deque[int] = deque()
        self.lost_bytes = 0
        self._holds = holds
        self._says = says_it_holds or holds
        self._out = bytearray()
        self._error = 0
        self._escape: bytearray | None = None
        self._held = False
        self._forget_handshake()

    def _forget_handshake(self) -> None:
        self._xon: int | None = None
        self._xoff: int | None = None
        self._threshold = 80
        self._hardwire = False

    def power_up(self) -> None:
        """As it is when the power comes: no handshake, no error, nothing waiting."""
        self._forget_handshake()
        self._out = bytearray()
        self._error = 0
        self.drop()

    def drop(self) -> None:
        """What waits is thrown away."""
        self.waiting.clear()
        self._escape = None
        self._held = False

    def take(self, byte: int) -> bool:
        """A byte arrives; whether it was the last of ESC.K, which aborts an instruction too."""
        if self._escape is not None:
            self._escape.append(byte)
            return self._escape_byte(self._escape)
        if byte == _ESC:
            self._escape = bytearray()
        elif len(self.waiting) >= self._holds:
            self.lost_bytes += 1
            self._error = _OVERFLOW_ERROR
        else:
            self.waiting.append(byte)
            if self._xoff is not None and not self._held and self._room < self._threshold:
                self._out.append(self._xoff)
                self._held = True
        return False

    def next(self) -> int:
        """The byte that has waited longest."""
        byte = self.waiting.popleft()
        self._release_if_room()
        return byte

    def reply(self) -> bytes:
        """What it has sent since last asked."""
        data, self._out = bytes(self._out), bytearray()
        return data

    def answer(self, text: str) -> None:
        """Sends a line."""
        self._out += text.encode() + b"\r"

    @property
    def clear_to_send(self) -> bool:
        """The DTR line, page 10-26: low while there is less room than a block."""
        return not self._hardwire or self._room >= self._threshold

    @property
    def _room(self) -> int:
        """Bytes that it says it has room for."""
        return max(self._says - len(self.waiting), 0)

    def _release_if_room(self) -> None:
        """Page 10-20: Xon at 128 bytes of room, or at one more than Xoff's threshold."""
        enough = min(max(128, self._threshold + 1), self._says)
        if self._held and self._room >= enough:
            if self._xon is not None:
                self._out.append(self._xon)
            self._held = False

    def _escape_byte(self, sequence: bytearray) -> bool:
        if sequence[:1] != b".":
            self._error, self._escape = 11, None
            return False
        if len(sequence) < 2:
            return False
        letter = chr(sequence[1])
        if letter in "@HIMN":
            if sequence[-1] == ord(":"):
                self._configure(letter, bytes(sequence[2:-1]))
                self._escape = None
            elif len(sequence) > 60:
                self._error, self._escape = 14, None
            return False
        self._escape = None
        self._asked(letter)
        return letter == "K"

    def _asked(self, letter: str) -> None:
        if letter == "B":
            self.answer(str(self._room))
        elif letter == "E":
            self.answer(str(self._error))
            self._error = 0
        elif letter == "O":
            self.answer("8" if not self.waiting else "0")
        elif letter == "K":
            self.waiting.clear()
            self._release_if_room()
        elif letter == "R":
            self._forget_handshake()
        elif letter not in "JYZ()L":
            self._error = 11

    def _configure(self, letter: str, parameters: bytes) -> None:
        try:
            values = [int(part) if part else None for part in parameters.split(b";")]
        except ValueError:
            self._error = 12
            return
        if letter == "@":
            second = values[1] if len(values) > 1 else 0
            self._hardwire = bool((second or 0) & 1)
        elif letter in "HI":
            self._threshold = values[0] if values and values[0] is not None else 80
            enquiry = values[1] if len(values) > 1 else None
            answer = values[2] if len(values) > 2 else None
            self._xon = answer if not enquiry else None
        elif letter == "N":
            self._xoff = values[1] if len(values) > 1 else None
