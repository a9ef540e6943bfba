"""Starts the command as a process of its own within milliseconds: a fork of one that has it ready.

Run with the Python of the checkout that is to be tried; it knows the command and no machine.
A request is a line of JSON, `{"words": [...], "out": file}` and perhaps `err`, `in`, `cwd` and
`env`; the answers are `{"pid": n}` and, when the process has ended, `{"code": n}`, negative for a
signal. With `ended`, a file, the process runs beside all others, and its code is written there.
"""

from __future__ import annotations

import contextlib
import functools
import gc
import itertools
import json
import os
import select
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

STARTED = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)


_PATIENCE_SECONDS = 60.0
"""By when what is waited for has come, however busy the machine is."""


class Beside:
    """A command that runs beside others; it is spoken to as to a `subprocess.Popen`."""

    def __init__(self, words: list[str], pid: int, out: Path, ended: Path) -> None:
        self._words, self._out, self._ended = words, out, ended
        self.pid = pid

    def first_line(self) -> str:
        """What it says first; nothing where it ends without a word."""
        until = time.monotonic() + _PATIENCE_SECONDS
        while True:
            over = self.poll() is not None
            line = self._out.read_text("utf-8").partition("\n")
            if line[1] or over:
                return line[0]
            assert time.monotonic() < until, (self._words, "says nothing")
            time.sleep(0.01)

    def poll(self) -> int | None:
        """Its exit code, negative for a signal, once it has ended."""
        with contextlib.suppress(FileNotFoundError):
            return int(self._ended.read_text("ascii"))
        return None

    def wait(self, seconds: float) -> int:
        """Its exit code; TimeoutExpired where it does not end within so many seconds."""
        until = time.monotonic() + seconds
        while (code := self.poll()) is None:
            if time.monotonic() > until:
                raise subprocess.TimeoutExpired(self._words, seconds)
            time.sleep(0.01)
        return code

    def send_signal(self, number: int) -> None:
        """Sends it a signal, unless it has ended."""
        if self.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)

    def kill(self) -> None:
        """Ends it at once."""
        self.send_signal(signal.SIGKILL)


class Terminal:
    """Where a person types the command: one at a time."""

    def __init__(self, checkout: Path, folder: Path, python: str = sys.executable) -> None:
        self.folder, self._said = folder, folder / "said.txt"
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
        self._numbers = itertools.count(1)

    def start(self, words: list[str]) -> None:
        """Begins a command."""
        self._ask({"words": words, "out": str(self._said)})

    def done(
        self, words: list[str], cwd: Path, stdin: str | None
    ) -> subprocess.CompletedProcess[str]:
        """A command from start to end, in `cwd` and with the environment of this process."""
        out, err, given = (self.folder / name for name in ("out.txt", "err.txt", "in.txt"))
        given.write_text(stdin or "", "utf-8")
        request = {"words": words, "out": str(out), "err": str(err), "in": str(given)}
        self._ask({**request, "cwd": str(cwd), "env": dict(os.environ)})
        code = self.ended(600.0)
        assert code is not None, (words, out.read_text("utf-8"), err.read_text("utf-8"))
        said = (path.read_text("utf-8") for path in (out, err))
        return subprocess.CompletedProcess(words, code, *said)

    def beside(self, words: list[str], env: Mapping[str, str], err: str) -> Beside:
        """Begins a command that runs on beside all others; `err` is a file."""
        number = next(self._numbers)
        out, ended = (self.folder / f"{name} {number}" for name in ("out", "ended"))
        # There before it is looked at, however late the command gets to it.
        out.touch()
        request = {"words": words, "out": str(out), "err": err, "env": dict(env)}
        pid = self._begun({**request, "ended": str(ended)})
        return Beside(words, pid, out, ended)

    def _ask(self, request: dict[str, Any]) -> None:
        self.pid = self._begun(request)

    def _begun(self, request: dict[str, Any]) -> int:
        assert self._server.stdin is not None
        assert self.pid is None, "one command at a time"
        self._server.stdin.write(json.dumps(request).encode() + b"\n")
        self._server.stdin.flush()
        pid: int = self._answer(300.0)["pid"]
        return pid

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


@functools.cache
def at_hand() -> Terminal | None:
    """The terminal of this test process; None on a system that cannot fork."""
    if not hasattr(os, "fork"):
        return None
    return Terminal(Path(__file__).parents[2], Path(tempfile.mkdtemp(prefix="terminal-")))


def beside(words: list[str], env: Mapping[str, str], err: str = os.devnull) -> Beside:
    """Begins a command at the terminal of this test process that runs on beside all others."""
    terminal = at_hand()
    assert terminal is not None, "this is tried on systems that fork"
    return terminal.beside(words, env, err)


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
        if "ended" in request:
            print(json.dumps({"pid": _beside(**request)}), flush=True)
            continue
        pid = os.fork()
        if pid == 0:
            _command(**request)
        print(json.dumps({"pid": pid}), flush=True)
        _, status = os.waitpid(pid, 0)
        print(json.dumps({"code": os.waitstatus_to_exitcode(status)}), flush=True)


def _beside(ended: str, **request: Any) -> int:
    """Begins a command, and leaves one behind that keeps how it ended; returns its process."""
    read, write = os.pipe()
    left = os.fork()
    if left == 0:
        # Nobody waits for what this one leaves.
        if os.fork():
            os._exit(0)
        pid = os.fork()
        if pid == 0:
            os.close(read)
            os.close(write)
            _command(**request)
        os.write(write, str(pid).encode())
        os.close(write)
        _, status = os.waitpid(pid, 0)
        Path(f"{ended} as written").write_text(str(os.waitstatus_to_exitcode(status)), "ascii")
        Path(f"{ended} as written").replace(ended)
        os._exit(0)
    os.close(write)
    os.waitpid(left, 0)
    pid = int(os.read(read, 20))
    os.close(read)
    return pid


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
