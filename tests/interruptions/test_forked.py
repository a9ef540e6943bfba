"""The campaign's terminal hears how a command ended, however quickly it did."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.interruptions.forked import Terminal

if TYPE_CHECKING:
    from pathlib import Path

ENDED_AT_ONCE = """#!/bin/sh
read request
printf '{"pid": 1}\\n{"code": 3}\\n'
cat > /dev/null
"""


def test_a_command_that_ends_before_its_start_is_read_has_ended(tmp_path: Path) -> None:
    """As on a busy computer: both answers lie in the pipe when the first is read."""
    server = tmp_path / "server"
    server.write_text(ENDED_AT_ONCE)
    server.chmod(0o755)
    terminal = Terminal(tmp_path, tmp_path, str(server))
    terminal.start(["section", "--json"])
    assert terminal.ended(5.0) == 3
    terminal.close()
