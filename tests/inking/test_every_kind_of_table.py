"""A table of each kind, section by section on the simulated plotter: what lies on its cloth is the
layout of the job, stroke by stroke, each as often as its pen passes and by its own pen.

The oracle is shapely (GEOS) over `layout --json`: it knows neither sections nor routes nor what was
sent. Which lines a workroom wants where is common practice, no source.
"""

from __future__ import annotations

import json
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, STRtree, box, union_all

from devices.inking.section import ink_section
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.session.session import Workplace
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.mending.mend import MendAsked, ask, mends, set_downs
from marking.output.layout_json import layout_record
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.conftest import toml
from tests.driving.side_by_side import parallels
from tests.inking.askew import Silent, Stood

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from marking.sections.plan import Section
    from tests.sections.records import Record

INCH = 25.4
A3: Record = {"profile": "flatbed-a3"}
TRIED: Record = {"inking": {"tried": "not asked"}}
KINDS: dict[str, Record] = {
    "against a wall": {
        "table": {"length": "16 in", "width": "14 in", "against_wall": True},
        "hems": {"depth": "4 in"},
        "grid": {"lines": [{"at": "9 1/2 in", "name": "9.5"}]},
        "numerals": {"middle_every": 6},
    },
    "two scales": {
        "table": {"length": "18 in", "width": "13 in"},
        "hems": {"depth": "2 in", "folds": ["single 1 in"]},
        "numerals": {"other_unit": "far"},
    },
    "a middle zero, swag lines at 27 and 54 and a centre line": {
        "table": {"length": "13 in", "width": "58 in"},
        "hems": {"depth": "2 in", "folds": ["single 1 in"]},
        "grid": {
            "centre_line": True,
            "margin": "1 1/2 in",
            "lines": [{"at": "54 in"}, {"at": "27 in", "start": "2 in", "name": "S27"}],
        },
        "numerals": {"second_zero": "middle", "middle_every": 5},
    },
    "bands from the line with their numbers": {
        "table": {"length": "16 in", "width": "16 in"},
        "hems": {
            "from": "line",
            "depth": "5 in",
            "folds": ["double 1 1/2 in", "single 1 in"],
            "number_every": 2,
            "number_apart": "6 in",
        },
    },
    "round edges": {
        "table": {
            "length": "17 in",
            "width": "13 in",
            "measured_to": "batten",
            "edge_radius": "3/8 in",
        },
        "grid": {"margin": "1 1/2 in", "end_margin": "1 1/2 in", "half_ticks": True},
        "hems": {"depth": "3 in", "folds": ["single 2 in"]},
        "plotter": {"profile": "gantry-gcode", "x_size": "260 mm", "y_size": "360 mm"},
        "pens": {name: {"slot": 1, "width": "1 mm"} for name in ("lines", "heavy", "numerals")},
    },
    "numerals from 147 on, the second of two tables end to end": {
        "table": {"length": "17 in", "width": "12 in"},
        "grid": {"bias": [4], "heavy_every": 3},
        "hems": {"depth": "3 in", "folds": ["single 2 in"]},
        "numerals": {"first": 147},
    },
}
NEAR = 0.05
"""mm: ink is on a line within a plotter's unit of 0.025 mm and the rounding of its other end."""


class Laid(NamedTuple):
    """A straight bit of ink on the cloth."""

    pen: int
    line: LineString


class Bench:
    """A job whose sections are inked one after the other, where they are planned to be."""

    def __init__(self, folder: Path, tables: Record) -> None:
        (folder / JOB_FILE).write_text(toml({"plotter": A3, **TRIED, **tables}), "utf-8")
        self.job = load_job(folder, Job)
        self.layout = lay_out(self.job)
        self.plan = divide_into_sections(self.layout, self.job, self.job.plotter.zone)
        self.record: Record = json.loads(json.dumps(layout_record(self.layout)))

    def inked(self, workplace: Workplace, section: Section) -> list[Laid]:
        """All that the simulated plotter laid for it, on the table."""
        cloth, bed = Cloth(), bed_of(section, self.job.plotter)
        peer = simulated(self.job.plotter, bed, cloth)
        port = OnboardPort(peer, 400)
        outcome = ink_section(section, workplace, port, port.clock)
        assert outcome.ended == "done"
        peer.advance(port.clock() + 60)
        return [
            Laid(path.pen, LineString(ends))
            for path in cloth.ink
            # The machine lays a line in as many bits as it is asked about while it draws it.
            for way in [LineString(bed.table_of(np.array(path.path))).simplify(1e-6)]
            for ends in pairwise(way.coords)
        ]


def passes_of(job: Job, stroke: Record) -> list[LineString]:
    """Where each pass of a stroke of `layout --json` is to lie."""
    pen = job.pens.named(stroke["pen"])
    points = np.array(stroke["points"])
    if stroke["layer"] == "numeral":
        return [LineString(points)] * pen.passes
    return [LineString(line) for line in parallels(points, pen.passes, pen.width)]


def counted(
    job: Job, strokes: Iterable[Record], laid: Iterable[Laid]
) -> tuple[dict[str, tuple[float, float]], list[Laid]]:
    """mm of ink along each stroke, or each numeral whole, at least and at most; and what else is.

    A bit of ink is along a pass that it lies within `NEAR` of, all of it. A heavy line's steps from
    pass to pass are none, though over its ends they lie on the line that it ends on: a bit as short
    of that line, as the machine lays one where it is asked just there, counts at most.
    """
    lines: list[LineString] = []
    names: list[str] = []
    ends = []
    for stroke in strokes:
        each = passes_of(job, stroke)
        lines += each
        names += [named(stroke)] * len(each)
        if stroke["pen"] == "heavy":
            ends += [Point(at).buffer(job.pens.heavy.line_width) for at in stroke["points"]]
    tree, over_ends = STRtree([line.buffer(NEAR) for line in lines]), union_all(ends)
    least, most = dict.fromkeys(names, 0.0), dict.fromkeys(names, 0.0)
    other: list[Laid] = []
    for bit in laid:
        step = bit.line.length <= job.pens.heavy.width and over_ends.covers(bit.line)
        on = tree.query(bit.line, predicate="within").tolist()
        if on:
            middle = bit.line.interpolate(0.5, normalized=True)
            best = min(on, key=lambda n: lines[n].distance(middle))
            most[names[best]] += bit.line.length
            least[names[best]] += 0.0 if step else bit.line.length
        if step or not on:
            other.append(bit)
    return {name: (least[name], most[name]) for name in most}, other


def holds(found: tuple[float, float], length: float, doubt: float) -> bool:
    """Whether ink is as long as it should be, in mm, to within `doubt`."""
    least, most = found
    return least - doubt <= length <= most + doubt


def named(stroke: Record) -> str:
    """A line by its id, a stroke of a numeral by its numeral."""
    return str(stroke["id"] if stroke["layer"] != "numeral" else stroke["id"].rpartition("-")[0])


@pytest.fixture(params=KINDS, ids=lambda name: name.replace(" ", "-").replace(",", ""))
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Bench, Workplace]]:
    made = Bench(tmp_path, KINDS[request.param])
    with open_record(tmp_path) as record:
        place = Workplace(made.job, made.layout, made.plan, record, Silent(), ink_anyway="by tape")
        yield made, place


def test_the_cloth_of_a_table_of_each_kind_holds_its_layout_stroke_by_stroke(
    bench: tuple[Bench, Workplace],
) -> None:
    made, place = bench
    job, strokes = made.job, made.record["strokes"]
    assert len(made.plan.sections) > 1
    slots = {name: pen.slot for name, pen in job.pens.by_name.items()}
    laid = [bit for section in made.plan.sections for bit in made.inked(place, section)]
    inking = {slots[stroke["pen"]] for stroke in strokes}
    assert (slots["removable"] in inking) == (job.plotter.slots == 1)
    removable = [bit for bit in laid if bit.pen not in inking]
    ink = [bit for bit in laid if bit.pen in inking]
    found, other = counted(job, strokes, ink)
    wanted: dict[str, float] = {}
    bits: dict[str, int] = {}
    for stroke in strokes:
        name = named(stroke)
        each = passes_of(job, stroke)
        wanted[name] = wanted.get(name, 0.0) + sum(line.length for line in each)
        bits[name] = bits.get(name, 0) + len(each) * (len(stroke["points"]) + 3)
    for name, length in wanted.items():
        # Each end of a bit is rounded to whole units of 0.025 mm; a join adds a bit or two.
        assert holds(found[name], length, 0.025 * bits[name]), (name, length, found[name])
    # What else there is steps from pass to pass of a heavy line, within its own ink.
    pens = job.pens
    heavy = union_all(
        [
            LineString(stroke["points"]).buffer(pens.heavy.line_width / 2, cap_style="square")
            for stroke in strokes
            if stroke["pen"] == "heavy"
        ]
    ).buffer(NEAR)
    assert all(heavy.covers(bit.line) for bit in other)
    assert all(bit.line.length <= pens.heavy.width for bit in other)
    # Ticks of the removable pen are none of the layout's, and touch no numeral.
    inked_numerals = union_all(
        [
            LineString(stroke["points"]).buffer(pens.numerals.width / 2)
            for stroke in strokes
            if stroke["layer"] == "numeral"
        ]
    )
    assert all(not bit.line.intersects(inked_numerals) for bit in removable)


def test_a_worn_patch_of_a_finished_cover_of_bands_is_inked_anew_and_nothing_beside_it(
    tmp_path: Path,
) -> None:
    """Lines within the patch alone, numerals that it touches whole, each once more, by the marks
    around it; over a join, in the section that each was inked in."""
    kind = KINDS["bands from the line with their numbers"]
    table = {"table": {"length": "22 in", "width": "10 1/2 in"}}
    often = {"depth": "4 in", "number_apart": "2 in"}
    made = Bench(tmp_path, {**kind, **table, "hems": {**kind["hems"], **often}})
    job, strokes = made.job, made.record["strokes"]
    pens = job.pens
    with open_record(tmp_path) as record:
        place = Workplace(job, made.layout, made.plan, record, Silent(), ink_anyway="by tape")
        for section in made.plan.sections:
            made.inked(place, section)
        join = made.plan.sections[0].core[2]
        patch = (join - 40.0, 10.0, join + 40.0, 140.0)
        ask(record, made.layout, made.plan, pens, MendAsked(why="worn", box=patch))
        parts = [
            part
            for several in set_downs(record, made.layout, made.plan, pens).values()
            for part, _ in several
        ]
        assert len(parts) > 1
        laid: list[Laid] = []
        for part in parts:
            read = Stood(part).reads(job, part.locating_marks)
            at = Workplace(job, made.layout, made.plan, record, Silent(), read)
            laid += made.inked(at, part)
        (one,) = mends(record, made.layout, made.plan)
        assert one.state == "inked"
    wanted = list(_within(made.record, box(*patch)))
    assert any(stroke["id"].startswith("num-near-4-band") for stroke in wanted)
    assert any("-d" in stroke["id"] for stroke in wanted)
    found, other = counted(job, wanted, laid)
    for name, length in found.items():
        own = [one for one in wanted if named(one) == name]
        exact = sum(line.length for one in own for line in passes_of(job, one))
        bits = sum(len(passes_of(job, one)) * (len(one["points"]) + 3) for one in own)
        # The device is placed by its readings: to 0.1 mm where each is read to 0.25 mm or better.
        assert holds(length, exact, 0.025 * bits + 0.1), (name, exact, length)
    assert all(bit.line.length <= pens.heavy.width for bit in other)
    assert len(strokes) > 3 * len(wanted)


def _within(layout: Record, patch: Polygon) -> Iterator[Record]:
    """What of each line lies in a patch, and every numeral whole whose box it touches."""
    whole = {
        stroke
        for numeral in layout["numerals"]
        if box(*numeral["box"]).intersects(patch)
        for stroke in numeral["strokes"]
    }
    for stroke in layout["strokes"]:
        if stroke["layer"] == "numeral":
            if stroke["id"] in whole:
                yield stroke
            continue
        part = LineString(stroke["points"]).intersection(patch)
        if part.length > 0:
            yield {**stroke, "points": list(part.coords)}
