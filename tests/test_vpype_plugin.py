"""The command `canvasrule` of a real vpype, by its own counts and by hp2xx on the HP-GL it writes.

What the lines must be comes from `layout --json` and `section --json`.
"""

from __future__ import annotations

import itertools
import math
import re
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.conftest import MILLRACE
from tests.dialects.interpreters import ARITHMETIC, HALF_UNIT, differences, hp2xx_draws
from tests.driving.machines import SAME_PENS, command_json, segments
from tests.driving.side_by_side import way

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

PX = 96 / 25.4
"""vpype's unit is CSS's pixel: 96 to the inch."""
UNIT = 0.025
"""mm of an HP-GL unit, which hp2xx goes by."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return job_in(tmp_path_factory.mktemp("millrace"), MILLRACE)


def job_in(folder: Path, text: str) -> Path:
    (folder / "job.toml").write_text(text, "utf-8")
    return folder


def run_vpype(*words: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "vpype_cli", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)


def layers_counted(*words: object) -> tuple[dict[str, dict[str, str]], tuple[float, float]]:
    """What vpype's `stat` says of each layer, by the layer's name, and of the page, in its px."""
    done = run_vpype("canvasrule", *words, "stat")
    assert done.returncode == 0, done.stderr
    page = re.search(r"Current page size: \(([\d.]+), ([\d.]+)\)", done.stdout)
    assert page is not None
    layers = {}
    for part in re.split(r"^Layer ", done.stdout.partition("Totals")[0], flags=re.M)[1:]:
        facts = dict(re.findall(r"^ +([\w -]+): (.*)$", part, flags=re.M))
        layers[facts["vp_name"].strip("'")] = facts
    return layers, (float(page[1]), float(page[2]))


def length(stroke: dict[str, Any]) -> float:
    return sum(math.dist(a, b) for a, b in itertools.pairwise(stroke["points"]))


def way_length(stroke: dict[str, Any]) -> float:
    """Of all that the pen draws for a stroke, in mm."""
    _, passes, width = SAME_PENS[stroke["pen"]]
    return length({"points": way(stroke["points"], passes, width).tolist()})


@pytest.mark.parametrize("then", [(), ("linesort",)], ids=["as read", "sorted by vpype"])
def test_vpype_counts_the_same_ink_in_each_layer_as_the_layout(
    job: Path, then: Sequence[str]
) -> None:
    layout = command_json("layout", "--job", str(job))
    layers, page = layers_counted("--job", job, *then)
    by_kind: dict[str, float] = {}
    for name, facts in layers.items():
        kind, pen = name.split("-")
        strokes = [s for s in layout["strokes"] if (s["layer"], s["pen"]) == (kind, pen)]
        assert int(facts["Path count"]) == len(strokes)
        drawn = sum(way_length(stroke) for stroke in strokes)
        assert float(facts["Length"]) / PX == pytest.approx(drawn)
        assert float(facts["vp_pen_width"]) / PX == pytest.approx(0.8 if pen == "numerals" else 1)
        assert int(facts["canvasrule_passes"]) == 1
        by_kind[kind] = by_kind.get(kind, 0.0) + sum(map(length, strokes))
    assert by_kind == pytest.approx(layout["totals"]["ink_mm"])
    corners = np.array(layout["fit"]["top"]["corners"])
    assert np.array(page) / PX == pytest.approx(np.ptp(corners, axis=0))


def test_vpype_counts_a_sections_lines_on_a_page_as_large_as_its_window(job: Path) -> None:
    (section, *_) = [s for s in command_json("section", "--job", str(job))["sections"] if s["row"]]
    layers, page = layers_counted("--job", job, "--section", section["id"])
    assert set(layers) == {f"{s['layer']}-{s['pen']}" for s in section["strokes"]}
    drawn = sum(float(facts["Length"]) for facts in layers.values()) / PX
    assert drawn == pytest.approx(sum(map(way_length, section["strokes"])))
    x0, y0, x1, y1 = section["window"]
    assert np.array(page) / PX == pytest.approx([x1 - x0, y1 - y0])


def bed_of(box: Sequence[float]) -> str:
    """A device of vpype's with paper as large as `box`, its zero in the lower left corner."""
    width, height = box[2] - box[0], box[3] - box[1]
    return f"""
[device.bed]
name = "a bed as large as the page"
plotter_unit_length = "{UNIT}mm"
pen_count = 8
[[device.bed.paper]]
name = "page"
paper_size = ["{width}mm", "{height}mm"]
x_range = [0, {math.ceil(width / UNIT)}]
y_range = [0, {math.ceil(height / UNIT)}]
y_axis_up = true
origin_location = ["0mm", "{height}mm"]
"""


@pytest.mark.parametrize("which", ["the whole marking", "a section"])
def test_hp2xx_reads_every_line_as_often_as_its_pen_passes_from_vpypes_hpgl(
    job: Path, tmp_path: Path, which: str
) -> None:
    if which == "a section":
        found = command_json("section", "--job", str(job))["sections"][1]
        words, strokes, box = ["--section", found["id"]], found["strokes"], found["window"]
        assert any(stroke["pen"] == "removable" for stroke in strokes)
    else:
        layout = command_json("layout", "--job", str(job))
        corners = np.array(layout["fit"]["top"]["corners"])
        words, strokes = [], layout["strokes"]
        box = [*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist()]
    (tmp_path / "bed.toml").write_text(bed_of(box), "utf-8")
    plot = tmp_path / "vpype.hpgl"
    done = run_vpype(
        *("-c", tmp_path / "bed.toml", "canvasrule", "--job", job, "--holders", *words),
        *("write", "--device", "bed", "--absolute", "--page-size", "page", "--landscape", plot),
    )
    assert done.returncode == 0, done.stderr
    far = math.ceil((box[2] - box[0]) / UNIT), math.ceil((box[3] - box[1]) / UNIT)
    drawn = hp2xx_draws(plot.read_bytes(), ((0, 0), far), tmp_path)
    wanted: dict[int, list[Any]] = {}
    for stroke in strokes:
        slot, passes, width = SAME_PENS[stroke["pen"]]
        exact = (way(stroke["points"], passes, width) - box[:2]) / UNIT
        wanted.setdefault(slot, []).append(segments(exact))
    assert set(drawn) == set(wanted)
    for slot, lines in wanted.items():
        found = differences(np.concatenate(lines), drawn[slot], HALF_UNIT + ARITHMETIC)
        assert not found, f"holder {slot}: {found[:5]}"


def test_removable_marks_and_ink_out_of_one_holder_are_never_put_into_one_layer(
    tmp_path: Path,
) -> None:
    job = job_in(tmp_path, f'{MILLRACE}\n[pens]\nremovable = {{ slot = 1, width = "0.5 mm" }}\n')
    section = command_json("section", "--job", str(job))["sections"][1]["id"]
    words = ["canvasrule", "--job", job, "--section", section]
    done = run_vpype(*words, "--holders", "write", tmp_path / "out.svg")
    assert done.returncode == 1
    assert "both come from holder 1" in done.stderr
    assert not (tmp_path / "out.svg").exists()
    layers, _ = layers_counted("--job", job, "--section", section)
    assert "witness-removable" in layers


def test_a_layer_that_a_holder_would_draw_as_well_is_refused(job: Path) -> None:
    done = run_vpype("line", 0, 0, "1cm", "1cm", "canvasrule", "--job", job, "--holders")
    assert done.returncode == 1
    assert "layer 1 holds something already" in done.stderr
    layers, _ = layers_counted("--job", job, "--holders")
    assert set(layers) == {"holder-1"}


def test_what_was_read_before_keeps_its_layers(job: Path) -> None:
    done = run_vpype("line", "-l", 3, 0, 0, "1cm", "1cm", "canvasrule", "--job", job, "stat")
    assert done.returncode == 0, done.stderr
    assert re.search(r"^Layer 3\n(?:  .*\n)*?  Path count: 1$", done.stdout, flags=re.M)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--section", "r9c9"], 2, "--section r9c9: no such section for plotter; there are r1c1,"),
        (["--for", "hand"], 2, "hand"),
        (["--job", "nowhere"], 2, "job.toml: no job here"),
    ],
    ids=lambda value: None if isinstance(value, int) else str(value),
)
def test_what_cannot_be_read_is_a_plain_error(
    job: Path, words: list[str], code: int, said: str
) -> None:
    done = run_vpype("canvasrule", "--job", job, *words, "stat")
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_vpype_starts_without_importing_anything_of_ours_but_the_plugin() -> None:
    """vpype loads every plugin at each start; only what it has not imported itself counts."""
    program = """
import sys
import vpype_cli
before = set(sys.modules)
from importlib.metadata import entry_points
(ours,) = entry_points(group="vpype.plugins", name="canvasrule")
ours.load()
print(*sorted(name for name in set(sys.modules) - before if not name.startswith("importlib")))
"""
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    imported = set(done.stdout.split())
    assert imported - {"csv", "_csv", "email", "zipfile"} == {"devices", "devices.vpype_plugin"}
