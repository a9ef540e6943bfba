"""The text of job.toml as the page changes it: comments and order stay, and every step goes back.

It knows TOML and files, no key and no page. The file on disk is the truth: what an editor or a
verb wrote meanwhile is one step more, and never written over unseen.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from marking.errors import BadInputError
from marking.input.text import read_text
from marking.input.toml import toml_tables
from marking.job.folder import JOB_FILE
from marking.job.written import with_changes

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from marking.job.written import Written

MOST_STEPS = 200
"""Changes that can be taken back; those made last."""


@dataclass
class JobFile:
    """One job's text, with what can be taken back and done again."""

    folder: Path
    text: str = ""
    _before: list[str] = field(default_factory=list)
    _after: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.text = self._on_disk()

    @property
    def path(self) -> Path:
        """Where it lies."""
        return self.folder / JOB_FILE

    @property
    def can_undo(self) -> bool:
        """Whether a change can be taken back."""
        return bool(self._before)

    @property
    def can_redo(self) -> bool:
        """Whether one that was taken back can be made again."""
        return bool(self._after)

    def read(self) -> bool:
        """Takes in what others wrote; whether there was anything. Raises BadInputError."""
        text = self._on_disk()
        if text == self.text:
            return False
        self._kept()
        self.text = text
        return True

    def proposed(self, changes: Mapping[Sequence[str], Written]) -> str:
        """The text with values changed; nothing is written. Raises BadInputError."""
        toml_tables(self.text, str(self.path))
        return with_changes(self.text, str(self.path), changes)

    def write(self, text: str) -> None:
        """Makes `text` the job's, as one change. Raises BadInputError where others wrote since."""
        self.read_unchanged()
        if text == self.text:
            return
        self._kept()
        self._replace(text)

    def one_step(self, *, back: bool) -> str | None:
        """What `undo` or `redo` would make the text; None where there is nothing."""
        steps = self._before if back else self._after
        return steps[-1] if steps else None

    def undo(self) -> None:
        """Takes the last change back, if there is any."""
        self.read_unchanged()
        if self._before:
            self._after.append(self.text)
            self._replace(self._before.pop())

    def redo(self) -> None:
        """Makes the change that was taken back last again, if there is any."""
        self.read_unchanged()
        if self._after:
            self._before.append(self.text)
            self._replace(self._after.pop())

    def read_unchanged(self) -> None:
        """Raises BadInputError where the file is no longer what was shown; takes it in."""
        if self.read():
            raise BadInputError(
                f"{self.path} was changed elsewhere just now; look at it, then try again"
            )

    def _kept(self) -> None:
        self._before = [*self._before, self.text][-MOST_STEPS:]
        self._after = []

    def _on_disk(self) -> str:
        return read_text(self.path, str(self.path), "job")

    def _replace(self, text: str) -> None:
        from marking.output.files import replace_file

        replace_file(self.path, text.encode())
        self.text = self._on_disk()


def stamp(path: Path) -> tuple[int, int]:
    """What tells whether a file may have changed; zeros where there is none."""
    try:
        found = os.stat(path)
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size
