"""Runs `canvasrule bench` for the tests of its page."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

SMALL = 'schema = 1\ntitle = "Millrace sampler"\n[table]\nlength = "26 in"\nwidth = "17 in"\n'
"""A top that one A3 bed or two ink: what is looked at is the page, not the table."""


@dataclass(frozen=True)
class Bench:
    """A bench that is running."""

    url: str
    process: subprocess.Popen[str]


def command(*words: str | Path) -> list[str]:
    """A verb, as the terminal calls it."""
    return [sys.executable, "-m", "devices.commands", *map(str, words)]


def surroundings() -> dict[str, str]:
    """The environment in which this very tree is what runs."""
    return {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}


@contextlib.contextmanager
def bench(folder: Path, *words: str) -> Iterator[Bench]:
    """`canvasrule bench --json` over a folder, ended as by Ctrl C."""
    process = subprocess.Popen(
        command("bench", "--job", folder, "--no-open", "--json", *words),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=surroundings(),
    )
    assert process.stdout is not None
    try:
        yield Bench(json.loads(process.stdout.readline())["page"], process)
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
        process.wait(20)
        process.stdout.close()


def small_job(folder: Path, more: str = "") -> Path:
    """A small job in a folder of jobs."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(SMALL + more, "utf-8")
    return folder


def opened(browser: Browser, run: Bench, size: tuple[int, int] = (1600, 1000)) -> Page:
    """The page in a window of its own, once it is in step."""
    page = browser.new_context(viewport={"width": size[0], "height": size[1]}).new_page()
    page.goto(run.url)
    page.get_by_text("In step").wait_for()
    return page


def field(name: str) -> str:
    """Where the control of a key of job.toml is."""
    return f'[data-name="{name}"] :is(input, select, textarea)'
