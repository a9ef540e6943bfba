"""Runs `canvasrule beam` and Chromium for the tests of the projector's pages."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from playwright.sync_api import sync_playwright

from devices.job import Job
from devices.projector.desk.beam_work import BeamWork, work_for
from devices.projector.light.mapping import LightMapping
from devices.projector.light.throw import lens_axis
from marking.job.folder import load_job
from marking.shipped_files import stock
from tests.interruptions.forked import beside

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

    from tests.interruptions.forked import Beside

_CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome")
     if (path := shutil.which(name))),
    "chromium",
)  # fmt: skip
_AROUND_THE_PAGE = (
    # The list under the address bar: two more pages in each window, which cost more than ours.
    "WebUIOmniboxPopup",
    "WebUIOmniboxAimPopup",
    "WebUIOmniboxFullPopup",
    # As Playwright has it, whose own switch of this name counts no more beside ours.
    "AimEnabled",
    "AvoidCorsURLLoaderRestartOnRedirect",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsFirstBalancedModeAutoEnable",
    "HttpsUpgrades",
    "LensOverlay",
    "MediaRouter",
    "NetworkTimeServiceQuerying",
    "OptimizationHints",
    "PaintHolding",
    "PreconnectToSearch",
    "TcpPortRandomizationWin",
    "ThirdPartyStoragePartitioning",
)
"""What Chromium does around a page and no test looks at."""
_ARGUMENTS = (
    f"--disable-features={','.join(_AROUND_THE_PAGE)}",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PIXELS = (1920, 1080)
"""The projector's, where a test has no other."""
_PATIENCE_SECONDS = 60.0
"""By when what is waited for has come, however busy the machine is."""


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """The system's Chromium, without a window of its own."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=_CHROMIUM, args=_ARGUMENTS, timeout=1000 * _PATIENCE_SECONDS
        )
        browser.on("context", lambda one: one.set_default_timeout(1000 * _PATIENCE_SECONDS))
        yield browser
        browser.close()


def millrace(folder: Path, pixels: tuple[int, int] = PIXELS) -> BeamWork:
    """The Millrace job in `folder`, its projector of `pixels`."""
    text = stock().joinpath("demo", "millrace", "job.toml").read_text("utf-8")
    text += f"\n[projector]\npixels = [{pixels[0]}, {pixels[1]}]\n"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(text, "utf-8")
    return work_for(load_job(folder, Job))


def hung_crooked(work: BeamWork, section: str, share: float = 1.0) -> LightMapping:
    """The mapping of a projector hung a little crooked over a section: what a simulated person
    lands targets by. On a small table only a `share` of it keeps them on the cloth."""
    expected = work.expected(section)
    turn = share * np.radians(0.8)
    about = np.eye(3) + share * np.array([[0, 0, 4.0], [0, 0, -9.0], [1e-5, -2e-5, 0]])
    about[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    axis, radius = lens_axis(work.job.projector)
    matrix = expected.matrix @ about
    return LightMapping(matrix / np.linalg.norm(matrix), axis, radius, -0.004)


class Run(Struct, frozen=True):
    """A `canvasrule beam` that is running."""

    stage: str
    remote: str
    code: str
    process: Beside


@contextlib.contextmanager
def beam(folder: Path, port: int = 0, errors: IO[str] | None = None) -> Iterator[Run]:
    """`canvasrule beam --json` on a free port, ended as by Ctrl C; `errors` takes its stderr."""
    words = ["beam", "--job", str(folder), "--port", str(port), "--no-open", "--json"]
    process = beside(words, dict(os.environ), errors.name if errors else os.devnull)
    try:
        said: dict[str, Any] = json.loads(process.first_line())
        yield Run(said["stage"], said["remote"], said["code"], process)
    finally:
        process.send_signal(signal.SIGCONT)
        process.send_signal(signal.SIGINT)
        process.wait(_PATIENCE_SECONDS)


@contextlib.contextmanager
def told_by_beam(folder: Path) -> Iterator[str]:
    """What `canvasrule beam` prints for a person before it serves."""
    command = [sys.executable, "-m", "devices.commands", "beam", "--job", str(folder)]
    process = subprocess.Popen(
        [*command, "--port", "0", "--no-open"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])},
    )
    assert process.stderr is not None
    # The last thing that it says; everything before has been printed by then.
    for line in process.stderr:
        if line.startswith("Ctrl C"):
            break
    process.send_signal(signal.SIGINT)
    yield process.communicate(timeout=_PATIENCE_SECONDS)[0]


def stage_page(browser: Browser, run: Run, pixels: tuple[int, int] = PIXELS) -> Page:
    """The stage in a window of the projector's own size."""
    context = browser.new_context(
        viewport={"width": pixels[0], "height": pixels[1]}, device_scale_factor=1
    )
    page = context.new_page()
    page.goto(run.stage)
    return page


def when(page: Page, true: str) -> None:
    """Waits for an expression of the page's own to be true.

    The page's content policy, which stays in force, forbids waiting for one from inside.
    """
    end = time.monotonic() + _PATIENCE_SECONDS
    while not page.evaluate(true):
        assert time.monotonic() < end, f"never came true: {true}"
        page.wait_for_timeout(25)


def remote_page(browser: Browser, run: Run, size: tuple[int, int] = (390, 844)) -> Page:
    """A remote the size of a phone, paired by its code."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, has_touch=True)
    page = context.new_page()
    page.goto(run.remote)
    page.get_by_label("Code").fill(run.code)
    page.get_by_role("button", name="Pair").click()
    page.get_by_text("In step").wait_for()
    return page


def true_up(remote: Page, work: BeamWork, section: str, real: LightMapping) -> None:
    """Trues up as a person does who leaves the light and types where it fell."""
    remote.get_by_role("tab", name="True up").click()
    remote.get_by_role("button", name="True up this section").click()
    when(remote, "desk.true_up !== null")
    for number in range(1, remote.evaluate("desk.true_up.targets.length") + 1):
        remote.locator("#at").get_by_text(f"Target {number}:").wait_for()
        lit = remote.evaluate(f"desk.true_up.targets[{number - 1}].lit")
        along, across = real.to_table(np.array([lit]))[0]
        remote.get_by_label("Along").fill(f"{along:.3f} mm")
        remote.get_by_label("Across").fill(f"{across:.3f} mm")
        remote.get_by_role("button", name="Landed", exact=True).click()
        remote.get_by_role("button", name=f"Target {number}, landed").wait_for()
    remote.get_by_role("button", name="Work it out").click()
    remote.get_by_text("What the true-up is worth").wait_for()
