"""Who may use the pages: a key for the stage, and a code that pairs a remote, anew each run.

It knows secrets and counts, no browser.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field

GUESSES_PER_CODE = 5
GUESSES_PER_RUN = 20


@dataclass
class Pairing:
    """One run's secrets. A code guessed at too often is replaced; in the end no more are taken."""

    stage_key: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    code: str = field(default_factory=lambda: f"{secrets.randbelow(10**6):06}")
    _remotes: list[str] = field(default_factory=list)
    _wrong: int = 0

    @property
    def closed(self) -> bool:
        """Whether too many wrong codes came for any more to be taken."""
        return self._wrong >= GUESSES_PER_RUN

    @property
    def paired(self) -> bool:
        """Whether a remote has been paired in this run."""
        return bool(self._remotes)

    def pair(self, code: str) -> str | None:
        """A remote's own token for the right code, else None."""
        if self.closed:
            return None
        if hmac.compare_digest(code.strip().encode(), self.code.encode()):
            token = secrets.token_urlsafe(24)
            self._remotes.append(token)
            return token
        self._wrong += 1
        if self._wrong % GUESSES_PER_CODE == 0:
            self.code = f"{secrets.randbelow(10**6):06}"
        return None

    def is_stage(self, key: str | None) -> bool:
        """Whether `key` is this run's stage key."""
        return key is not None and hmac.compare_digest(key.encode(), self.stage_key.encode())

    def is_remote(self, token: str | None) -> bool:
        """Whether `token` was given to a remote in this run."""
        return token is not None and any(
            hmac.compare_digest(token.encode(), known.encode()) for known in self._remotes
        )
