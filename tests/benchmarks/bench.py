"""Benchmark of the bench page: `python -m tests.benchmarks.bench`.

Not part of the tests. Times hang on the machine; what is compared is measured in one run. The job
is the demo's Millrace bench. Needs the test extra and Chromium.
"""

from __future__ import annotations

import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from marking.shipped_files import stock
from tests.bench.benches import bench, field, opened, surroundings, until
from tests.projector.browsers import chromium

STARTS = 3
KEYSTROKES = 60
FRAMES = """(count) => new Promise((done) => { const at = [];
  const canvas = document.querySelector('#marking');
  const frame = (now) => { at.push(now);
    canvas.dispatchEvent(new WheelEvent('wheel', { deltaY: at.length % 40 < 20 ? -40 : 40 }));
    if (at.length < count) requestAnimationFrame(frame);
    else done(1000 * (count - 1) / (at[count - 1] - at[0])); };
  requestAnimationFrame(frame); })"""
"""Frames a second while each frame zooms the whole marking."""
TYPED = """([name, value]) => new Promise((done, failed) => {
  setTimeout(() => failed(new Error(`${value} is not drawn`)), 20000);
  const input = document.querySelector(name), before = window.draws, from = performance.now();
  const seen = () => (window.draws === before ? requestAnimationFrame(seen)
    : done(performance.now() - from));
  input.value = value;
  input.dispatchEvent(new Event('input', { bubbles: true }));
  requestAnimationFrame(seen); })"""
"""Milliseconds from a keystroke to the frame in which the picture shows it."""
COUNT_DRAWS = """() => { window.draws = 0;
  const fill = CanvasRenderingContext2D.prototype.fillRect;
  CanvasRenderingContext2D.prototype.fillRect = function (...box) {
    window.draws += 1; return fill.apply(this, box); }; }"""


def seconds(words: list[str]) -> float:
    """How long a command takes to its end."""
    started = time.perf_counter()
    subprocess.run(words, capture_output=True, check=True, env=surroundings())
    return time.perf_counter() - started


def millrace(root: Path) -> Path:
    """The demo's job in a folder of its own."""
    folder = root / "millrace"
    folder.mkdir()
    text = stock().joinpath("demo", "millrace", "job.toml").read_text("utf-8")
    (folder / "job.toml").write_text(text, "utf-8")
    return folder


def main() -> None:
    """Prints each figure beside its goal."""
    root = Path(tempfile.mkdtemp())
    folder = millrace(root)
    starts, others = [], []
    with chromium() as browser:
        for _ in range(STARTS):
            others.append(seconds([sys.executable, "-m", "vpype_cli", "--help"]))
            began = time.perf_counter()
            with bench(folder) as run:
                page = browser.new_context().new_page()
                page.goto(run.url)
                page.get_by_text("In step").wait_for()
                page.locator("#numerals svg").first.wait_for()
                starts.append(time.perf_counter() - began)
                page.context.close()
        with bench(folder) as run:
            context = browser.new_context(viewport={"width": 1920, "height": 1080})
            page = context.new_page()
            told = context.new_cdp_session(page)
            told.send("Network.enable")
            sizes: list[int] = []
            told.on("Network.loadingFinished", lambda one: sizes.append(one["encodedDataLength"]))
            told.on(
                "Network.webSocketFrameReceived",
                lambda one: sizes.append(len(one["response"]["payloadData"])),
            )
            page.goto(run.url)
            page.locator("#numerals svg").first.wait_for()
            page.wait_for_timeout(500)
            loaded = sum(sizes)
            frames = page.evaluate(FRAMES, 120)
            page.evaluate(COUNT_DRAWS)
            taken = []
            for n in range(KEYSTROKES):
                value = f"1 {1 + n % 7}/16 in"
                taken.append(page.evaluate(TYPED, [field("grid.margin"), value]))
            page.keyboard.press("Escape")
            other = opened(browser, run)
            steps = []
            for value in ("1 1/8 in", "1 1/4 in", "1 3/8 in", "1 in"):
                page.locator(field("grid.end_margin")).fill(value)
                began = time.perf_counter()
                page.locator(field("grid.end_margin")).blur()
                until(
                    other,
                    lambda value=value: (
                        other.locator(field("grid.end_margin")).input_value() == value
                    ),
                    value,
                )
                steps.append(time.perf_counter() - began)
    begun = statistics.median(starts)
    help_of_vpype = statistics.median(others)
    taken.sort()
    print(
        json.dumps(
            {
                "first page usable, s (goal 1.5)": round(begun, 2),
                "times vpype --help (goal 3)": round(begun / help_of_vpype, 2),
                "keystroke to picture, 95 %, ms (goal 100)": round(taken[int(0.95 * len(taken))]),
                "keystroke to picture, median, ms": round(statistics.median(taken)),
                "zooming at 1080p, frames a second (goal 50)": round(frames, 1),
                "first load, kB (goal 500)": round(loaded / 1000),
                "second tab in step, s (goal 1)": round(max(steps), 2),
            },
            indent=1,
        )
    )
    shutil.rmtree(root)


if __name__ == "__main__":
    main()
