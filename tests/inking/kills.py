"""Random ends of a drive: SIGKILL of the driver, of the plotter, and the cable cut at any byte.

The driver is the real command in a process of its own, the plotter another, the cable a relay.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import multiprocessing
import os
import select
import signal
import socket
import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial import cKDTree

from devices.commands import main
from devices.driving.machine import MachineSetting, setting
from devices.job import Job
from devices.simulated.cloth import read_cloth
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import NotKeptError, open_record
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator
    from pathlib import Path

FORK = multiprocessing.get_context("fork")
SECTION = "r1c1"
PACE = 150
_PATIENCE_SECONDS = 60.0
"""By when what is waited for has come, however busy the machine is."""


def make_job(folder: Path, plotter: str, extra: str = "") -> None:
    """A small job whose ink is known to stay: `tests.fastness` is about the ink that is not."""
    folder.mkdir(parents=True)
    known = '[inking]\ntried = "not asked"\n'
    before, extra = (
        ("", extra.replace("[inking]\n", known)) if "[inking]" in extra else (known, extra)
    )
    (folder / "job.toml").write_text(
        'schema = 1\n[table]\nlength = "26 in"\nwidth = "17 in"\n'
        f'{before}[pens]\nremovable = {{ slot = 1, width = "0.5 mm" }}\n'
        f'[plotter]\nprofile = "{plotter}"\n{extra}'
    )


def made(folder: Path) -> MachineSetting:
    job = load_job(folder, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    section = next(section for section in plan.sections if section.id == SECTION)
    return setting(section, job.plotter, job.pens)


def _quiet(arguments: list[str]) -> None:
    with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        code = main(arguments)
    raise SystemExit(code)


def _serve(folder: Path, port: int, pace: float, ink: str) -> None:
    words = ["simulate", "--job", str(folder), "--listen", f"127.0.0.1:{port}"]
    _quiet([*words, "--pace", str(pace), "--ink", str(folder / ink)])


@dataclass
class Cable:
    """A relay that can be cut after so many bytes."""

    plotter: int
    cut_after: int | None = None
    port: int = 0
    _server: Any = field(default=None)

    def __post_init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        threading.Thread(target=self._relay, daemon=True).start()

    def close(self) -> None:
        self._server.close()

    def _relay(self) -> None:
        while True:
            try:
                near = self._server.accept()[0]
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self.plotter), timeout=2)
            except OSError:
                near.close()
                continue
            for end in (near, far):
                end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._pass_on(near, far)

    def _pass_on(self, near: socket.socket, far: socket.socket) -> None:
        passed = 0
        with near, far:
            while True:
                for source in select.select([near, far], [], [], 1)[0]:
                    try:
                        data = source.recv(512)
                    except OSError:
                        return
                    if not data:
                        return
                    if self.cut_after is not None and passed + len(data) >= self.cut_after:
                        data = data[: self.cut_after - passed]
                        self.cut_after = None
                        with contextlib.suppress(OSError):
                            (far if source is near else near).sendall(data)
                        return
                    passed += len(data)
                    try:
                        (far if source is near else near).sendall(data)
                    except OSError:
                        return


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
    return port


def start_plotter(folder: Path, port: int, pace: float = PACE, ink: str = "cloth.ink") -> Any:
    process = FORK.Process(target=_serve, args=(folder, port, pace, ink), daemon=True)
    process.start()
    end = time.monotonic() + _PATIENCE_SECONDS
    while True:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.2):
            return process
        assert time.monotonic() < end, "the simulated plotter did not start"
        time.sleep(0.01)


@contextlib.contextmanager
def plotter_at(folder: Path, pace: float = PACE, ink: str = "cloth.ink") -> Iterator[list[str]]:
    """The job's plotter in a process of its own; the words that name its port."""
    port = free_port()
    process = start_plotter(folder, port, pace, ink)
    try:
        yield ["--port", f"socket://127.0.0.1:{port}"]
    finally:
        process.kill()
        process.join()


def start_driver(
    folder: Path, port: int, by: tuple[str, ...] = ("--ink-anyway", "set down by tape alone")
) -> Any:
    arguments = ["drive", "--job", str(folder), "--section", SECTION, "--unattended", *by]
    arguments += ["--port", f"socket://127.0.0.1:{port}"]
    process = FORK.Process(target=_quiet, args=(arguments,), daemon=True)
    process.start()
    return process


@dataclass
class Tally:
    kills: int = 0
    worst_retraced: int = 0
    runs: int = 0


def drive_with_kills(
    folder: Path,
    rng: random.Random,
    most_kills: int,
    kinds: tuple[str, ...] = ("driver", "plotter", "cable"),
) -> Tally:
    """Drives the section to its end, killing something at random up to so many times."""
    tally = Tally()
    plotter_port = free_port()
    plotter = start_plotter(folder, plotter_port)
    cable = Cable(plotter_port)
    try:
        for _ in range(20 * most_kills + 20):
            driver = start_driver(folder, cable.port)
            kind = rng.choice(kinds)
            if tally.kills >= most_kills:
                kind = "none"
            if kind == "cable":
                cable.cut_after = rng.randrange(40, 2500)
            elif kind != "none":
                time.sleep(rng.uniform(0.15, 0.9))
                if driver.is_alive():
                    if kind == "driver":
                        driver.kill()
                    else:
                        plotter.kill()
                        plotter.join()
                    tally.kills += 1
            driver.join(2 * _PATIENCE_SECONDS)
            assert not driver.is_alive(), "the driver neither went on nor stopped"
            if kind == "cable" and cable.cut_after is None:
                tally.kills += 1
            cable.cut_after = None
            if not plotter.is_alive():
                plotter = start_plotter(folder, plotter_port)
            tally.runs += 1
            tally.worst_retraced = max(tally.worst_retraced, unconfirmed(folder))
            if driver.exitcode == 0:
                return tally
        raise AssertionError("the section was never finished")
    finally:
        cable.close()
        time.sleep(0.2)
        plotter.kill()


def kill_in_mid_ink(driver: Any, folder: Path) -> None:
    """Kills a driver that has sent strokes of which it does not know yet whether they are drawn.

    It is held while the record is read: between a look and a kill it could hear of all of them.
    """
    assert driver.pid is not None
    while driver.is_alive():
        os.kill(driver.pid, signal.SIGSTOP)
        # Held while it writes, it keeps the record to itself: then it is let go on.
        with contextlib.suppress(NotKeptError):
            if unconfirmed(folder):
                break
        os.kill(driver.pid, signal.SIGCONT)
        driver.join(0.02)
    driver.kill()
    driver.join()
    assert driver.exitcode == -signal.SIGKILL, "it came to its own end before it was killed"
    assert unconfirmed(folder)


def unconfirmed(folder: Path) -> int:
    """Strokes that the record knows as sent and not as drawn."""
    with open_record(folder) as record:
        events = record.strokes(SECTION)
    drawn = {kept.stroke for kept in events if kept.event == "drawn"}
    return len({kept.stroke for kept in events} - drawn)


def cloth_faults(
    folder: Path, section: MachineSetting, ink: str = "cloth.ink"
) -> tuple[float, float]:
    """How far, in mm, the least inked point of a stroke and the most displaced ink lie off.

    `ink` is the cloth's file in the job's folder.
    """
    unit = section.bed.unit
    wanted = samples([np.array(stroke.path) * unit for stroke in section.strokes])
    laid = samples([np.array(line.path) for line in read_cloth(folder / ink)])
    missing = float(cKDTree(laid).query(wanted)[0].max())
    displaced = float(cKDTree(wanted).query(laid)[0].max())
    return missing, displaced


def samples(paths: Any) -> Any:
    points = []
    for path in paths:
        for start, end in itertools.pairwise(path):
            count = max(int(np.hypot(*(end - start)) / 0.05), 1)
            points.append(start + np.linspace(0, 1, count + 1)[:, None] * (end - start))
    return np.concatenate(points)
