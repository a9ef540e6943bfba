"""Prints what marks and readings cost and hold on the Millrace bench.

    python -m tests.benchmarks.marks

Actions are marks set out and readings taken, by the errors of `marking.network.error_model`: our
own assumptions, evidence of nothing. Limits are those of `tolerance = "1/16 in"` and of `[allowed]`
with 1/8 in in total, 1/16 in square, 1/32 in between neighbours; steps of 1.1 mm. Seconds stand
beside how many times as long as `vpype read` takes for the same marking (median of three). Each
line ends with the figure to reach, and `ok` or `MISSED`.
"""

import subprocess
import tempfile
import time
from pathlib import Path

from devices.commands import main as canvasrule
from marking.job.work_keys import FenceTable
from marking.measures.tape import Tape
from marking.network.allowed_errors import Allowed
from marking.network.error_model import ErrorModel
from marking.tape_marks.choice import Task, least_work
from tests.placement.inking import millrace

INCH = 25.4
STRICT = Allowed(INCH / 16, 1.1, INCH / 16)
ALLOWED = Allowed(INCH / 8, 1.1, INCH / 16, INCH / 32)
RAIL = FenceTable(length="13 ft")
WANTED = {
    ("flatbed-a3", False): (600, 400),
    ("flatbed-a3", True): (90, 80),
    ("flatbed-24x36", False): (90, 75),
    ("flatbed-24x36", True): (40, 35),
}


def verdict(ok):
    return "ok" if ok else "MISSED"


def vpype_seconds():
    """Median of three of `vpype read` of the demo's marking as one SVG."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "job.toml").write_text(
            '[table]\nlength = "150 in"\nwidth = "64 in"\n[hems]\ndepth = "8 in"\n', "utf-8"
        )
        canvasrule(["write", "--svg", "--job", folder])
        file = next(Path(folder, "out").rglob("*.svg"))
        taken = []
        for _ in range(3):
            start = time.perf_counter()
            subprocess.run(["vpype", "read", str(file)], check=True, capture_output=True)
            taken.append(time.perf_counter() - start)
    return sorted(taken)[1]


def bench(profile, read):
    layout, plan = millrace(profile)
    for fence in (None, RAIL):
        for limits, name, wanted in zip(
            (STRICT, ALLOWED),
            ("strict", "allowed"),
            WANTED[profile, fence is not None],
            strict=True,
        ):
            start = time.perf_counter()
            task = Task(layout, plan, Tape(), "in", limits, errors=ErrorModel(), fence=fence)
            done, _ = least_work(task, 1, lambda way: None)
            seconds = time.perf_counter() - start
            out, found = done.setting_out, done.forecast
            actions = out.marks + out.readings
            what = f"{profile}{' with a fence' if fence else ''}, {name}"
            print(
                f"  {what:<38} {out.marks:3} marks {out.readings:3} readings {actions:4} actions "
                f"line {found.worst_line:.2f} square {found.figures.square:.2f} neighbours "
                f"{found.figures.neighbours:.2f} step {found.worst_step:.2f} "
                f"slip {done.slip:.1f} mm {seconds:5.1f} s ({seconds / read:.1f} of vpype)   "
                f"{wanted}   {verdict(found.holds and actions <= wanted)}"
                + (f", over: {', '.join(found.broken)}" if found.broken else "")
            )


def main():
    read = vpype_seconds()
    print(f"marks and readings; vpype read takes {read:.2f} s")
    for profile in ("flatbed-a3", "flatbed-24x36"):
        bench(profile, read)


if __name__ == "__main__":
    main()
