"""How soon the pen is up: `python -m tests.benchmarks.stops [REPEATS]`, for the bench page.

Not part of the tests. From the last heartbeat of a page that hangs, and from a press of Stop, to
the pen up on the simulated plotter, by that plotter's own log. The job is the demo's Millrace
bench, in real time, with nothing asked for in the environment. Needs the test extra and Chromium.
"""

from __future__ import annotations

import json
import shutil
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

from devices.job import Job
from devices.plotter.bed import bed_at
from devices.simulated.cloth import Cloth
from devices.simulated.hpgl import SimulatedPlotter
from devices.simulated.onboard import simulated
from devices.simulated.serve import serve_socket
from marking.job.folder import load_job
from tests.bench.benches import answered, bench, choose_port, opened, until
from tests.benchmarks.bench import millrace
from tests.projector.browsers import chromium

if TYPE_CHECKING:
    from playwright.sync_api import Page

REPEATS = 6
HALT = b"\x1b.KPU"
"""As `devices.dialects.hpgl.answers` stops a plotter."""
HANGS = """() => new Promise((done) => {
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (text) {
    send.call(this, text);
    if (!text.includes('beat')) return;
    WebSocket.prototype.send = send;
    const at = Date.now();
    done(at);
    setTimeout(() => { for (;;); }, 5);
  }; })"""
"""Hangs right behind a heartbeat; when that was, in ms."""
STOPS = "() => { const at = Date.now(); document.querySelector('#stop').click(); return at; }"


class Logged:
    """A simulated plotter, when it was last told to drop all and raise its pen, and when its pen
    last left the cloth: s as `time.time` has them.
    """

    def __init__(self, plotter: SimulatedPlotter) -> None:
        self.plotter = plotter
        self.told_up = self.up_since = time.time()
        self.down = False

    def receive(self, data: bytes, now: float) -> None:
        """Bytes arriving."""
        if HALT in data:
            self.told_up = time.time()
        self.plotter.receive(data, now)

    def reply(self) -> bytes:
        """Bytes leaving."""
        return self.plotter.reply()

    def advance(self, now: float) -> None:
        """Time passing."""
        self.plotter.advance(now)
        down = self.plotter.carriage.down
        if self.down and not down:
            self.up_since = time.time()
        self.down = down


def logged(folder: Path) -> tuple[str, Logged]:
    """The job's plotter, served in a thread; its port and its log."""
    plotter = load_job(folder, Job).plotter
    peer = simulated(plotter, bed_at(plotter, (0.0, 0.0, *plotter.window_size)), Cloth(None))
    assert isinstance(peer, SimulatedPlotter)
    log, ready = Logged(peer), threading.Event()
    port: list[str] = []

    def told(name: str) -> None:
        port.append(name)
        ready.set()

    serve = threading.Thread(
        target=serve_socket, args=(log, ("127.0.0.1", 0), 1.0, told), daemon=True
    )
    serve.start()
    ready.wait()
    return port[0], log


def inking(page: Page, port: str, log: Logged) -> None:
    """Has the next section inked; returns in mid-stroke."""
    choose_port(page, port)
    page.locator("#ink:enabled").click()
    until(page, lambda: not answered(page) and log.down and _inked(page), "strokes are drawn")
    time.sleep(1.0)
    while not log.down:
        time.sleep(0.001)


def _inked(page: Page) -> bool:
    shown: bool = page.locator("#card-inking").is_visible()
    return shown


def seconds_to_pen_up(log: Logged, since: float) -> tuple[float, float]:
    """From `since` to when PU came, and to when the pen was off the cloth for good."""
    quiet = time.monotonic()
    while time.monotonic() - quiet < 3.0:
        if log.down:
            quiet = time.monotonic()
        time.sleep(0.005)
    return log.told_up - since, log.up_since - since


def main() -> None:
    """Prints each figure beside its goal."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else REPEATS
    root = Path(tempfile.mkdtemp())
    folder = millrace(root)
    toml = folder / "job.toml"
    toml.write_text(toml.read_text("utf-8") + '\n[inking]\ntried = "not asked"\n', "utf-8")
    port, log = logged(folder)
    found: dict[str, list[tuple[float, float]]] = {"hangs": [], "stop": []}
    with bench(folder, lost_after=None) as run:
        for _ in range(repeats):
            for what, script in (("hangs", HANGS), ("stop", STOPS)):
                # A page that hangs holds up all of its browser.
                with chromium() as browser:
                    page = opened(browser, run)
                    inking(page, port, log)
                    since = page.evaluate(script) / 1000
                    found[what].append(seconds_to_pen_up(log, since))
                    if what == "stop":
                        page.locator("#card-ended").wait_for()
    print(
        json.dumps(
            {
                "last heartbeat of a page that hangs to pen up, s (goal 1)": _told(found["hangs"]),
                "Stop pressed to pen up, s": _told(found["stop"]),
            },
            indent=1,
        )
    )
    shutil.rmtree(root)


def _told(taken: list[tuple[float, float]]) -> dict[str, float]:
    came, off = zip(*taken, strict=True)
    return {
        "PU came, median": round(statistics.median(came), 3),
        "PU came, worst": round(max(came), 3),
        "off the cloth, median": round(statistics.median(off), 3),
        "off the cloth, worst": round(max(off), 3),
        "of": len(taken),
    }


if __name__ == "__main__":
    main()
