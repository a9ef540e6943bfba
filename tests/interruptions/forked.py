"""Starts the command as a process of its own within milliseconds: a fork of one that has it ready.

Run with the Python of the checkout that is to be tried; it knows the command and no machine.
A request is a line of JSON, `{"words": [...], "out": file}` and perhaps `err`, `in`, `cwd` and
`env`; the answers are `{"pid": n}` and, when the process has ended, `{"code": n}`, negative for a
signal.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import select
import signal
import subprocess
import sys
import traceback
from pathlib import Path
from typing import Any

STARTED = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)


class Terminal:
    """Where a person types the command: one at a time."""

    def __init__(self, checkout: Path, folder: Path, python: str = sys.executable) -> None:
        self._folder, self._said = folder, folder / "said.txt"
        self._server = subprocess.Popen(
            [python, str(Path(__file__).resolve()), "--serve"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=checkout,
            # What a buffer has read ahead is nothing that select sees.
            bufsize=0,
            env={**os.environ, "PYTHONPATH": str(checkout), "OPENBLAS_NUM_THREADS": "1"},
        )
        self.pid: int | None = None

    def start(self, words: list[str]) -> None:
        """Begins a command."""
        self._ask({"words": words, "out": str(self._said)})

    def done(
        self, words: list[str], cwd: Path, stdin: str | None
    ) -> subprocess.CompletedProcess[str]:
        """A command from start to end, in `cwd` and with the environment of this process."""
        out, err, given = (self._folder / name for name in ("out.txt", "err.txt", "in.txt"))
        given.write_text(stdin or "", "utf-8")
        request = {"words": words, "out": str(out), "err": str(err), "in": str(given)}
        self._ask({**request, "cwd": str(cwd), "env": dict(os.environ)})
        code = self.ended(600.0)
        assert code is not None, (words, out.read_text("utf-8"), err.read_text("utf-8"))
        said = (path.read_text("utf-8") for path in (out, err))
        return subprocess.CompletedProcess(words, code, *said)

    def _ask(self, request: dict[str, Any]) -> None:
        assert self._server.stdin is not None
        assert self.pid is None, "one command at a time"
        self._server.stdin.write(json.dumps(request).encode() + b"\n")
        self._server.stdin.flush()
        self.pid = self._answer(300.0)["pid"]

    def ended(self, seconds: float) -> int | None:
        """Its exit code, if it ends within so many seconds."""
        answer = self._answer(seconds)
        if answer is None:
            return None
        self.pid = None
        code: int = answer["code"]
        return code

    def send(self, number: int) -> None:
        """Sends the command a signal."""
        if self.pid is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)

    @property
    def said(self) -> str:
        """All that the last command said, on both outputs."""
        return self._said.read_text("utf-8", "replace")

    def run(self, words: list[str]) -> str:
        """What a command prints that has to work."""
        self.start(words)
        code = self.ended(120.0)
        assert code == 0, (words, code, self.said)
        return self.said

    def close(self) -> None:
        """No more commands."""
        self.send(signal.SIGKILL)
        assert self._server.stdin is not None
        self._server.stdin.close()
        self._server.wait(300)

    def _answer(self, seconds: float) -> Any:
        assert self._server.stdout is not None
        if not select.select([self._server.stdout], [], [], seconds)[0]:
            return None
        return json.loads(self._server.stdout.readline())


def _import_all() -> None:
    import importlib
    import pkgutil

    import devices
    import marking

    for package in (marking, devices):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not module.name.endswith("__main__"):
                importlib.import_module(module.name)
    for name in ("scipy.linalg", "scipy.optimize", "scipy.stats", "scipy.spatial", "serial"):
        importlib.import_module(name)


def _serve() -> None:
    _import_all()
    gc.freeze()
    for line in sys.stdin:
        request = json.loads(line)
        pid = os.fork()
        if pid == 0:
            _command(**request)
        print(json.dumps({"pid": pid}), flush=True)
        _, status = os.waitpid(pid, 0)
        print(json.dumps({"code": os.waitstatus_to_exitcode(status)}), flush=True)


def _command(
    words: list[str],
    out: str,
    err: str | None = None,
    cwd: str | None = None,
    env: dict[str, str] | None = None,
    **more: str,
) -> None:
    """The child: a session of its own, as in a terminal, with nobody at its keys."""
    from devices.commands import main

    os.setsid()
    for number in STARTED:
        signal.signal(number, signal.default_int_handler if number == 2 else signal.SIG_DFL)
    anew = os.O_CREAT | os.O_TRUNC | os.O_WRONLY
    nothing, said = os.open(more.get("in", os.devnull), os.O_RDONLY), os.open(out, anew)
    os.dup2(nothing, 0)
    os.dup2(said, 1)
    os.dup2(said if err is None else os.open(err, anew), 2)
    if env is not None:
        os.environ.clear()
        os.environ.update(env)
    if cwd is not None:
        os.chdir(cwd)
    code: Any = 70
    try:
        code = main(words)
    except SystemExit as end:
        code = end.code or 0
    except KeyboardInterrupt:
        code = 130
    except BaseException:
        traceback.print_exc()
        code = 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code if isinstance(code, int) else 1)


if __name__ == "__main__":
    _serve()
