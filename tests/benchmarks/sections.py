"""Random legal jobs, each divided for every machine, against the fewest that trying all finds:
`python -m tests.benchmarks.sections 5000` (first number: how many jobs; second: the seed).

Every stock plotter, an arm and both stock projectors; tables in sixteenths of an inch and in
millimetres; pitches from 1/4 in to 5 cm. Nothing refused is left out: a refusal is held against
the trying of all like anything else. The way of the pen inside a section, which takes most of the
time and changes no division, is not worked out.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest import mock

import numpy as np

from devices.job import Job
from devices.projector.light.throw import beam_zone
from marking.errors import RefusedError
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.output.layout_json import layout_record, plan_record
from marking.sections import route
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone
from tests.conftest import toml
from tests.sections.fewest_parts import Reach, fewest
from tests.sections.random_jobs import in_mm

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

PLOTTERS = ("flatbed-a4", "flatbed-a3", "flatbed-24x36", "gantry-gcode", "roll-36")
PROJECTORS = ("ceiling-1080p", "shelf-720p")
PITCHES = {
    "in": ("1/4 in", "3/8 in", "1/2 in", "3/4 in", "1 in", "1 in", "1 1/2 in", "2 in"),
    "mm": ("10 mm", "12.5 mm", "20 mm", "25 mm", "40 mm", "50 mm"),
}
EPSILON = 1e-6


def random_job(lot: random.Random) -> dict[str, Any]:
    """The tables of a `job.toml` that any workroom might write."""
    units = lot.choice(("in", "mm"))
    length, width = lot.uniform(24, 200), lot.uniform(14, 80)
    if lot.random() < 0.15:
        width = lot.uniform(14, 34)  # What a narrow roll takes.

    def shown(inches: float) -> str:
        return f"{round(16 * inches)}/16 in" if units == "in" else f"{round(25.4 * inches)} mm"

    pitch = lot.choice(PITCHES[units])
    whole, _, part = pitch.rpartition(" ")[0].partition(" ")
    pitch_mm = in_mm(f"{part or whole} {units}") + (in_mm(f"{whole} {units}") if part else 0.0)
    least_every = max(1, round(22 / pitch_mm + 0.5))
    return {
        "title": "A table drawn by lot",
        "units": units,
        "table": {"length": shown(length), "width": shown(width)},
        "grid": {
            "pitch": pitch,
            "margin": shown(lot.uniform(0.6, 1.5)),
            "end_margin": shown(lot.uniform(0.75, 2.5)),
            "heavy_every": lot.choice((0, 5, 10, 12)),
            "half_ticks": lot.random() < 0.3,
            "long_lines": lot.choice(("bands", "bands", "bands", "full")),
        },
        "hems": {
            "depth": shown(lot.uniform(0, min(8.0, width / 2 - 1.5))),
            "folds": lot.choice(([], ["double 3 in", "single 1 in"], ["double 1 1/2 in"])),
            "cross_folds": lot.random() < 0.3,
        },
        "numerals": {
            "every": lot.randint(least_every, least_every + 4),
            "clear": lot.choice(("1/16 in", "1/8 in", "1 mm", "3 mm")),
            "sides": lot.choice((["near", "far"], ["near", "far"], ["far"], [])),
        },
        "cloth": {
            "stretch_length": lot.choice(("0 %", "0 %", "0.8 %", "1.5 %")),
            "stretch_width": lot.choice(("0 %", "0 %", "0.8 %", "1.5 %")),
        },
        "pens": {
            "lines": {"slot": 1, "width": lot.choice(("0.5 mm", "0.8 mm", "1 mm"))},
            "heavy": {"slot": 1, "width": lot.choice(("1 mm", "1.5 mm", "2 mm")), "passes": 2},
            "numerals": {"slot": 1, "width": lot.choice(("0.5 mm", "0.8 mm"))},
        },
        "plotter": {
            "profile": lot.choice(PLOTTERS),
            "axes": list(lot.choice((("+x", "+y"), ("+y", "-x"), ("-x", "-y"), ("-y", "+x")))),
        },
        "projector": {"profile": lot.choice(PROJECTORS)},
        "reach": {
            "depth": shown(lot.uniform(8, width + 4)),
            "span": shown(lot.uniform(12, 72)),
        },
    }


def faults(tables: dict[str, Any], folder: Path) -> Iterator[tuple[str, str]]:
    """For each machine, what is wrong with how the program divides the job; nothing if all is well.

    Yields the machine and the fault, or the machine and nothing for each division held to be good.
    """
    (folder / JOB_FILE).write_text(toml(tables), "utf-8")
    job = load_job(folder, Job)
    try:
        layout = lay_out(job)
    except RefusedError as refusal:
        yield "layout", f"refused: {refusal}"
        return
    marking = layout_record(layout)
    pens = {name: job.pens.named(name).width for name in ("lines", "heavy", "numerals")}
    for name, zone, reach in _machines(tables, job):
        least = fewest(marking, pens, job.grid.pitch, reach)
        try:
            record = plan_record(divide_into_sections(layout, job, zone))
        except RefusedError as refusal:
            yield name, f"refused, though {least} sections do: {refusal}" if least else ""
            continue
        sections = record["sections"]
        if not least or len(sections) > least:
            yield name, f"{len(sections)} sections where trying all finds {least or 'none'}"
        else:
            wrong = next(_wrong(sections, marking, pens, reach), "")
            yield name, wrong


def _machines(tables: dict[str, Any], job: Job) -> Iterator[tuple[str, Any, Reach]]:
    plotter = job.plotter
    along_x = plotter.axes[0][1] == "x"
    x, y = plotter.bed_size
    roll = plotter.kind == "roll"
    across_feed = (1 if along_x else 0) if roll else None
    size = (x, y) if along_x else (y, x)
    yield (
        tables["plotter"]["profile"],
        plotter.zone,
        Reach(
            size,
            plotter.set_down,
            turns=True,
            carriage=across_feed,
            widest=plotter.cloth_width or y,
        ),
    )
    arm = job.reach.depth
    yield "reach", reach_zone(job.reach), Reach((job.reach.span, arm), depth=arm)
    beam = beam_zone(job.reach, job.projector)
    yield "beam", beam, Reach(beam.size, depth=arm)


def _wrong(
    sections: Sequence[dict[str, Any]],
    marking: dict[str, Any],
    pens: dict[str, float],
    reach: Reach,
) -> Iterator[str]:
    """What breaks a rule in these sections: joins on ink, a core outside its window, no marks."""
    boxes = [(n["box"][0], n["box"][2]) for n in marking["numerals"]]
    ink: tuple[list[tuple[float, float]], list[tuple[float, float]]] = (list(boxes), [])
    for stroke in marking["strokes"]:
        if stroke["layer"] in ("cross", "long", "hem", "tick"):
            (x0, y0), (x1, y1) = stroke["points"]
            half = pens[stroke["pen"]] / 2
            if x0 == x1:
                ink[0].append((x0 - half, x0 + half))
            if y0 == y1:
                ink[1].append((y0 - half, y0 + half))
    for axis in (0, 1):
        first = min(s["core"][axis] for s in sections)
        spans = np.array(ink[axis])
        for join in {s["core"][axis] for s in sections} - {first}:
            if ((spans[:, 0] < join) & (join < spans[:, 1])).any():
                yield f"a join at {join:.3f} on axis {axis} runs along a line or through a numeral"
    for section in sections:
        low, high = np.array(section["window"][:2]), np.array(section["window"][2:])
        core, free = section["core"], reach.free - EPSILON
        if (low + free > core[:2]).any() or (high - free < core[2:]).any():
            yield f"{section['id']}: its part reaches out of its window"
        sizes = {tuple(reach.size), tuple(reach.size[::-1] if reach.turns else reach.size)}
        if not any((high - low <= np.array(size) + EPSILON).all() for size in sizes):
            yield f"{section['id']}: its window is larger than the device reaches"
        for mark in section["witness"]:
            if (mark["at"] < low + free).any() or (mark["at"] > high - free).any():
                yield f"{section['id']}: mark {mark['id']} lies out of its window"
        if section["order"] > 1 and len(section["witness"]) < 2:
            yield f"{section['id']}: sees {len(section['witness'])} marks"


def search(count: int, seed: int, folder: Path) -> tuple[Counter[str], list[str]]:
    """How many divisions were held to be good, by machine, and every fault with its job."""
    lot = random.Random(seed)
    good: Counter[str] = Counter()
    found = []
    for number in range(count):
        tables = random_job(lot)
        for machine, fault in faults(tables, folder):
            if fault:
                found.append(f"job {number} of seed {seed}, {machine}: {fault}")
            else:
                good[machine] += 1
    return good, found


def main(words: Sequence[str]) -> int:
    count, seed = (*map(int, words), *(5000, 1)[len(words) :])
    # The pen's way inside a section changes no division.
    nowhere = route.Route((), 0, 0.0, 0.0)
    unrouted = mock.patch.object(route, "shortest", return_value=nowhere)
    with unrouted, tempfile.TemporaryDirectory() as folder:
        good, found = search(count, seed, Path(folder))
    for fault in found:
        print(fault)
    print(f"{count} jobs: {sum(good.values())} divisions good, {len(found)} not")
    for machine, number in sorted(good.items()):
        print(f"  {machine}: {number}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
