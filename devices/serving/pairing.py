"""Who may use the pages: a key for the stage, and a code that pairs a remote, anew each run.

It knows secrets, counts and addresses, no browser.
"""

from __future__ import annotations

import hmac
import secrets
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Callable

GUESSES = 5
"""Wrong codes that an address may send before it has to wait."""
FIRST_WAIT, LONGEST_WAIT = 30.0, 900.0
"""Seconds to wait after those; with each wrong code more the wait doubles. One address finds a
code of six figures in some 5 + 4 an hour of 1,000,000 guesses."""
_MOST_ADDRESSES = 4096
_FIGURES = 6


class _Guesses(Struct, frozen=True):
    """What one address has sent."""

    wrong: int = 0
    again_at: float = 0.0


@dataclass
class Pairing:
    """One run's secrets. Whoever guesses is slowed down by address, so that nobody else is."""

    stage_key: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    code: str = field(default_factory=lambda: f"{secrets.randbelow(10**_FIGURES):0{_FIGURES}}")
    clock: Callable[[], float] = time.monotonic
    _remotes: list[str] = field(default_factory=list)
    _guesses: dict[str, _Guesses] = field(default_factory=dict)

    @property
    def paired(self) -> bool:
        """Whether a remote has been paired in this run."""
        return bool(self._remotes)

    def wait(self, address: str) -> float:
        """Seconds until a code from `address` is looked at again."""
        return max(0.0, self._guesses.get(address, _Guesses()).again_at - self.clock())

    def pair(self, code: str, address: str) -> str | None:
        """A remote's own token for the right code from an address that need not wait, else None.

        What is no code at all, having other than six figures, counts as no guess.
        """
        code = code.strip()
        if self.wait(address) or not is_code(code):
            return None
        if hmac.compare_digest(code, self.code):
            self._guesses.pop(address, None)
            token = secrets.token_urlsafe(24)
            self._remotes.append(token)
            return token
        self._count(address)
        return None

    def _count(self, address: str) -> None:
        wrong = self._guesses.pop(address, _Guesses()).wrong + 1
        wait = min(FIRST_WAIT * 2.0 ** min(wrong - GUESSES, 10), LONGEST_WAIT)
        again_at = self.clock() + wait if wrong >= GUESSES else 0.0
        if len(self._guesses) >= _MOST_ADDRESSES:
            del self._guesses[next(iter(self._guesses))]
        self._guesses[address] = _Guesses(wrong, again_at)

    def is_stage(self, key: str | None) -> bool:
        """Whether `key` is this run's stage key."""
        return key is not None and hmac.compare_digest(key.encode(), self.stage_key.encode())

    def is_remote(self, token: str | None) -> bool:
        """Whether `token` was given to a remote in this run."""
        return token is not None and any(
            hmac.compare_digest(token.encode(), known.encode()) for known in self._remotes
        )


def is_code(text: str) -> bool:
    """Whether a text could be a code at all."""
    return len(text) == _FIGURES and text.isascii() and text.isdigit()
