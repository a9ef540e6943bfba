"""Prints how long the forecast takes, and how that grows with the table.

    python -m tests.benchmarks.control [RUNS]

Not part of the tests. Each figure is a whole process's processor time, the median of RUNS (1
unless given), beside how many times as long as `vpype read` takes for the same marking, run in
turn with it. `control --only-look` tries every way there is on these benches, since none holds.
The exponent is of the time by the number of sections: 1 where each takes as long as on a shorter
table. Figures to reach stand last, with `ok` or `MISSED`.
"""

from __future__ import annotations

import json
import math
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from marking.shipped_files import stock

LENGTHS = {7.5: "24 ft 7 in", 15.0: "49 ft 2 in", 30.0: "98 ft 5 in"}
JOB = """schema = 1
[table]
length = "{}"
width = "58 1/2 in"
[plotter]
profile = "flatbed-a3"
"""
LINEAR = 1.25
WAYS = 3.0


def processor_seconds(words: list[str]) -> float:
    """Of one whole process. That a forecast does not hold is no failure here."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode in (0, 1), done.stderr
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def canvasrule(folder: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "devices.commands", *words, "--job", str(folder)]


def sections(folder: Path) -> int:
    told = subprocess.run(
        canvasrule(folder, "section", "--json"), capture_output=True, check=True, text=True
    )
    return len(json.loads(told.stdout)["sections"])


def beside_the_peer(folder: Path, verb: str, runs: int) -> tuple[float, float]:
    """Median seconds of `verb` and how many `vpype read` of the marking it is."""
    subprocess.run(canvasrule(folder, "write", "--svg"), capture_output=True, check=True)
    marking = str(folder / "out" / "marking.svg")
    pairs = []
    for _ in range(runs):
        ours = processor_seconds(canvasrule(folder, *verb.split()))
        pairs.append(
            (ours, ours / processor_seconds([sys.executable, "-m", "vpype_cli", "read", marking]))
        )
    seconds, ratio = (statistics.median(each) for each in zip(*pairs, strict=True))
    return seconds, ratio


def told(what: str, seconds: float, ratio: float, more: str = "") -> None:
    print(f"{what}: {seconds:.1f} s, {ratio:.1f} of vpype read{more}")


def verdict(ok: bool) -> str:
    return "ok" if ok else "MISSED"


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    before: tuple[int, float] | None = None
    with tempfile.TemporaryDirectory() as name:
        for metres, length in LENGTHS.items():
            folder = Path(name, str(metres))
            folder.mkdir()
            (folder / "job.toml").write_text(JOB.format(length), "utf-8")
            count = sections(folder)
            seconds, ratio = beside_the_peer(folder, "control --only-look", runs)
            more = ""
            if before is not None:
                grown = math.log(seconds / before[1]) / math.log(count / before[0])
                more = f", exponent {grown:.2f}   {LINEAR}   {verdict(grown <= LINEAR)}"
            told(f"control --only-look of {metres} m, {count} sections", seconds, ratio, more)
            before = count, seconds
        demo = Path(name, "demo")
        demo.mkdir()
        job = stock().joinpath("demo", "millrace", "job.toml")
        (demo / "job.toml").write_bytes(job.read_bytes())
        told("control --only-look of the demo", *beside_the_peer(demo, "control --only-look", runs))
        seconds, ratio = beside_the_peer(demo, "ways", runs)
        told("ways of the demo", seconds, ratio, f"   {WAYS:.0f}   {verdict(ratio <= WAYS)}")


if __name__ == "__main__":
    main()
