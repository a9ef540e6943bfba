"""Benchmarks of `write` against vpype doing the same work: `python -m tests.benchmarks.write`.

Not part of the tests. Every figure is a ratio of two things measured in this one run, in turn,
so that it holds on a busy machine; seconds are printed beside it for scale. Needs the test
extra installed, and a package index: each side runs in an environment of its own, made anew with
the versions that are installed here, so that the peer has no plugin of ours to load and we have
none of the tests' packages beside us.
"""

from __future__ import annotations

import importlib.metadata
import itertools
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import venv
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import vpype
from msgspec import Struct
from scipy.optimize import linear_sum_assignment
from vpype_cli import execute

from devices.job import Job
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.sections.plan import Piece, Plan, divide_into_sections
from marking.shipped_files import stock

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).parents[2]
ROUNDS = 9
PEER_BED = """
[device.bench]
name = "A bed as large as the bench"
plotter_unit_length = "0.025mm"
pen_count = 8
[[device.bench.paper]]
name = "bench"
paper_size = ["3900mm", "1700mm"]
x_range = [0, 156000]
y_range = [0, 68000]
y_axis_up = true
origin_location = ["0mm", "1700mm"]
"""


def seconds(command: Command) -> float:
    """Processor time of one whole process, after what has to be done before it.

    Others on the machine make a clock's time longer, and this hardly.
    """
    command.before()
    start = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        command.words,
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=compiled(),
    )
    end = resource.getrusage(resource.RUSAGE_CHILDREN)
    return end.ru_utime + end.ru_stime - start.ru_utime - start.ru_stime


class Command(Struct, frozen=True):
    """What to run, and what to do before each run of it, untimed."""

    words: list[str]
    before: Callable[[], None] = lambda: None


def compiled() -> dict[str, str]:
    """An environment in which both sides run from kept byte code, as they do once installed.

    A developer's checkout may be told to keep none, and would then be compiled on every run.
    """
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def environment(folder: Path, package: str) -> str:
    """The Python of a new environment with `package` and what it needs, as installed here."""
    venv.create(folder, with_pip=True)
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    here = folder / "here.txt"
    held = importlib.metadata.distributions()
    here.write_text(
        "".join(
            f"{d.metadata['Name']}=={d.version}\n"
            for d in held
            if d.metadata["Name"] != "canvasrule"
        )
    )
    subprocess.run(
        [python, "-m", "pip", "install", "-q", "--constraint", here, package],
        check=True,
        env=compiled(),
    )
    return str(python)


def ratio(name: str, ours: Command, peer: Command, goal: float) -> None:
    """Medians of alternating runs, after one warm-up of each."""
    seconds(ours), seconds(peer)
    pairs = [(seconds(ours), seconds(peer)) for _ in range(ROUNDS)]
    ratios = [a / b for a, b in pairs]
    a, b = (statistics.median(times) for times in zip(*pairs, strict=True))
    print(
        f"{name}: {statistics.median(ratios):.2f} of the peer's processor time "
        f"({min(ratios):.2f} to {max(ratios):.2f}; {a:.2f} s against {b:.2f} s; goal {goal:.2f})"
    )


def whole_process(folder: Path, python: str, peer_python: str) -> None:
    canvasrule = [python, "-m", "devices.commands"]
    peer = [peer_python, "-m", "vpype_cli"]
    out = folder / "out"
    write = [*canvasrule, "write", "--svg", "--hpgl", "--job", str(folder)]
    seconds(Command(write))
    # What the peer reads stays, whatever is taken away between runs of ours.
    marking = folder / "marking.svg"
    shutil.copy(out / "marking.svg", marking)
    (folder / "peer.toml").write_text(PEER_BED)
    peer_write = [
        *peer, "-c", str(folder / "peer.toml"), "read", str(marking),
        "linesort", "write", "--absolute", "--landscape", "-d", "bench", "-p", "bench",
        "--format", "hpgl", str(folder / "peer.hpgl"),
    ]  # fmt: skip

    def fresh() -> None:
        shutil.rmtree(out)

    def other_bytes() -> None:
        for path in out.rglob("*.*"):
            if path.suffix in (".svg", ".hpgl"):
                path.write_bytes(b"an earlier one")

    theirs = Command(peer_write)
    files = "write --svg --hpgl, whole process"
    ratio(f"{files}, into a fresh folder", Command(write, fresh), theirs, 0.45)
    ratio(f"{files}, over the same files", Command(write), theirs, 0.45)
    ratio(f"{files}, over files that all differ", Command(write, other_bytes), theirs, 0.45)
    ratio(
        "--help, whole process", Command([*canvasrule, "--help"]), Command([*peer, "--help"]), 1 / 3
    )


VERBS = ("layout", "section", "control --only-look", "write --svg --hpgl")
SPENT = """
import builtins, sys, time
began = time.process_time()
imports, depth, outer = 0.0, 0, builtins.__import__
def timed(*words, **named):
    global imports, depth
    depth += 1
    start = time.process_time()
    try:
        return outer(*words, **named)
    finally:
        depth -= 1
        if depth == 0:
            imports += time.process_time() - start
builtins.__import__ = timed
from devices.commands import main
import importlib
plain = importlib.import_module
def by_name(*words, **named):
    global imports, depth
    depth += 1
    start = time.process_time()
    try:
        return plain(*words, **named)
    finally:
        depth -= 1
        if depth == 0:
            imports += time.process_time() - start
importlib.import_module = by_name
main(sys.argv[1:])
print(imports, time.process_time() - began - imports, file=sys.stderr)
"""


def imports_and_work(folder: Path, python: str) -> None:
    """Processor time of each verb on imports and on its work, medians; start-up is Python's own."""
    spent: dict[str, list[tuple[float, float]]] = {verb: [] for verb in VERBS}
    for _ in range(ROUNDS):
        for verb in VERBS:
            words = [python, "-c", SPENT, *verb.split(), "--job", str(folder)]
            done = subprocess.run(words, capture_output=True, text=True, env=compiled())
            imports, work = done.stderr.split()[-2:]
            spent[verb].append((float(imports), float(work)))
    for verb, times in spent.items():
        imports, work = (statistics.median(each) * 1000 for each in zip(*times, strict=True))
        print(f"{verb}: {imports:.0f} ms on imports, {work:.0f} ms on work")


def ten_times_the_table(folder: Path) -> None:
    """Time beyond start-up and memory of a table ten times as long, each in its own process."""
    text = (folder / "job.toml").read_text("utf-8")
    long = folder / "long"
    long.mkdir()
    survey = text.index("[table.survey]")
    plain = text[:survey] + text[text.index("[grid]") :]
    (long / "job.toml").write_text(plain.replace('"150 in"', '"1500 in"'), "utf-8")
    short = folder / "short"
    short.mkdir()
    (short / "job.toml").write_text(plain, "utf-8")
    (once, once_mib), (tenfold, tenfold_mib) = measured(short), measured(long)
    points, tenfold_points = drawn_points(short), drawn_points(long)
    print(
        f"a table ten times as long: {tenfold / once:.1f} times the time beyond start-up "
        f"({once:.2f} s to {tenfold:.2f} s; goal at most 11), peak memory {once_mib:.0f} MiB to "
        f"{tenfold_mib:.0f} MiB; its numerals are longer too, so that it has "
        f"{tenfold_points / points:.1f} times the points to draw"
    )


def drawn_points(folder: Path) -> int:
    return sum(len(stroke.points) for stroke in lay_out(load_job(folder, Job)).strokes)


MEASURE = """
import resource, sys, time
from pathlib import Path
import devices.programs.files, devices.dialects.hpgl.writer, marking.output.strokes_svg
from devices.commands.shared import read_job
from devices.output.files import write_files
from devices.machine_zones import divided
from marking.layout.layout import lay_out
job = read_job(Path(sys.argv[1]))
start = time.perf_counter()
layout = lay_out(job)
plan = divided("plotter", layout, job, None)
write_files(job, layout, plan, Path(sys.argv[1]) / "out", ["svg", "hpgl"])
print(time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def measured(folder: Path) -> tuple[float, float]:
    """Median seconds and peak MiB of writing a job's files."""
    runs = []
    for _ in range(5):
        done = subprocess.run(
            [sys.executable, "-c", MEASURE, str(folder)], check=True, capture_output=True, text=True
        )
        took, peak = done.stdout.split()
        runs.append((float(took), float(peak)))
    # Linux counts the peak in KiB, macOS in bytes.
    unit = 1024 if sys.platform != "darwin" else 1024**2
    return statistics.median(r[0] for r in runs), max(r[1] for r in runs) / unit


def travel(plan: Plan, job: Job) -> None:
    """Pen-up travel of every section against vpype's, and against what no route can beat."""
    laid_out = {stroke.id: n for n, stroke in enumerate(lay_out(job).strokes)}
    ours = ours_homed = peer = peer_homed = bound = 0.0
    for section in plan.sections:
        home = complex(section.window[0], section.window[1])
        lines = [line for piece in section.pieces for line in passes(piece, job)]
        ours += between(lines)
        ours_homed += between([np.array([home]), *lines, np.array([home])])
        document = vpype.Document()
        by_slot: dict[int, list[np.ndarray]] = {}
        # The peer gets the strokes as they were laid out, not as they were sorted here.
        for piece in sorted(section.pieces, key=lambda piece: laid_out.get(piece.of, -1)):
            slot = job.pens.named(piece.stroke.pen).slot
            by_slot.setdefault(slot, []).extend(passes(piece, job))
        for slot, held in by_slot.items():
            document.add(vpype.LineCollection(held), slot)
        sorted_document = execute("linesort --two-opt", document)
        theirs = [line for slot in sorted(by_slot) for line in sorted_document.layers[slot]]
        peer += between(theirs)
        peer_homed += between([np.array([home]), *theirs, np.array([home])])
        bound += least_travel(lines, home)
    print(
        f"pen-up travel between strokes: {ours / peer:.3f} of linesort --two-opt "
        f"({ours / 1000:.1f} m against {peer / 1000:.1f} m; goal at most 1)"
    )
    print(
        f"pen-up travel from the parking corner and back: {ours_homed / peer_homed:.3f} "
        f"({ours_homed / 1000:.1f} m against {peer_homed / 1000:.1f} m); "
        f"no route needs less than {bound / 1000:.1f} m"
    )


def passes(piece: Piece, job: Job) -> list[np.ndarray]:
    """What the device is sent for one piece, as complex lines: each pass by itself."""
    stroke = piece.stroke
    line = stroke.path @ (1, 1j)
    count = 1 if stroke.beside else job.pens.named(stroke.pen).passes
    return [line if n % 2 == 0 else line[::-1] for n in range(count)]


def between(lines: list[np.ndarray]) -> float:
    return float(sum(abs(b[0] - a[-1]) for a, b in itertools.pairwise(lines)))


def least_travel(lines: list[np.ndarray], home: complex) -> float:
    """Half the cheapest assignment of each stroke end to another stroke's end, or home."""
    ends = np.array([end for line in lines for end in (line[0], line[-1])] + [home, home])
    cost = np.abs(ends[:, None] - ends[None, :])
    own = np.arange(len(ends))
    cost[own, own] = cost[own, own ^ 1] = 1e9
    rows, columns = linear_sum_assignment(cost)
    return float(cost[rows, columns].sum()) / 2


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        demo = stock().joinpath("demo", "millrace", "job.toml")
        (folder / "job.toml").write_bytes(demo.read_bytes())
        ours = environment(folder / "ours", str(ROOT))
        peer = environment(folder / "peer", "vpype")
        whole_process(folder, ours, peer)
        imports_and_work(folder, ours)
        ten_times_the_table(folder)
        job = load_job(folder, Job)
        travel(divide_into_sections(lay_out(job), job, job.plotter.zone), job)


if __name__ == "__main__":
    main()
