"""The campaign's terminal hears how a command ended, however quickly it did."""

from __future__ import annotations

import os
import signal
from typing import TYPE_CHECKING

from tests.interruptions.forked import Terminal, beside

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli

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


def test_a_command_beside_others_tells_its_first_line_and_how_it_ended(
    tmp_path: Path, run_cli: RunCli
) -> None:
    (tmp_path / "job.toml").write_text('schema = 1\n[table]\nlength = "26 in"\nwidth = "17 in"\n')
    words = ["simulate", "--job", str(tmp_path), "--listen", "127.0.0.1:0"]
    ended, killed = (beside(words, os.environ) for _ in range(2))
    assert ended.first_line().startswith("socket://127.0.0.1:")
    assert killed.first_line() not in ("", ended.first_line())
    assert run_cli("layout", "--job", tmp_path).returncode == 0
    ended.send_signal(signal.SIGINT)
    assert ended.wait(60.0) == 0
    assert killed.poll() is None
    killed.kill()
    assert killed.wait(60.0) == -signal.SIGKILL
