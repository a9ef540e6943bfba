"""`prove` as a person meets it: the sheet, what is filled in, the verdict in words and figures."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.job.command_cases import REFUSED, job_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.conftest import RunCli

LONG_BED = (
    '[table]\nlength = "150 in"\nwidth = "64 in"\n'
    '[plotter]\nprofile = "flatbed-24x36"\nx_size = "154 in"\ny_size = "34 in"\n'
    "coordinate_limit = 8388607\n"
)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return job_in(tmp_path / "bench", LONG_BED)


def asked(run_cli: RunCli, folder: Path, *words: str) -> Any:
    done = run_cli("prove", "--json", "--job", folder, *words)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def filled_in(
    folder: Path, sheet: Any, count: int | None = None, x: Callable[[float], float] = float
) -> Path:
    """The first `count` lengths, on a cover whose cross lines lie at `x` of where they should."""
    rows = []
    for one in sheet["distances"][:count]:
        (ax, ay), (bx, by) = one["ends"]
        length = np.hypot(x(bx) - x(ax), by - ay) if one["kind"] != "thread" else 0.0
        rows.append(f"{one['id']},{length:.4f} mm")
    path = folder / "measured.csv"
    path.write_text("\n".join(["id,length", *rows, ""]), "utf-8")
    return path


def test_the_default_sheet_passes_a_true_cover_and_a_quarter_of_it_says_what_is_missing(
    run_cli: RunCli, job: Path
) -> None:
    sheet = asked(run_cli, job)
    whole = run_cli("prove", "--measured", filled_in(job, sheet), "--job", job)
    assert whole.returncode == 0, whole.stdout
    assert whole.stdout.startswith("PASS")
    # Nobody inked it, as far as the record knows.
    assert "By the record no section is inked yet" in whole.stdout.splitlines()[1]
    part = filled_in(job, sheet, 12)
    told = run_cli("prove", "--json", "--measured", part, "--job", job)
    assert told.returncode == REFUSED
    verdict = json.loads(told.stdout)
    assert verdict["outcome"] == "cannot tell"
    assert len(verdict["missing"]) == len(sheet["distances"]) - 12
    assert "untold" in verdict
    said = run_cli("prove", "--measured", part, "--job", job).stdout
    assert f"Not measured: {len(verdict['missing'])} of the sheet's" in said


def test_a_far_line_too_far_is_told_in_full(run_cli: RunCli, job: Path) -> None:
    sheet = asked(run_cli, job)
    far = max(x for one in sheet["distances"] for x, _ in one["ends"])
    near = min(x for one in sheet["distances"] for x, _ in one["ends"])

    def stretched(x: float) -> float:
        return x + 2.8 * (x - near) / (far - near)

    path = filled_in(job, sheet, None, stretched)
    done = run_cli("prove", "--json", "--measured", path, "--job", job)
    assert done.returncode == REFUSED
    line = json.loads(done.stdout)["worst_line"]
    assert line["mm"] == pytest.approx(2.8, abs=0.1)
    said = run_cli("prove", "--measured", path, "--job", job).stdout
    most = re.search(r"Total.*nowhere more than ([\d.]+) mm off", said)
    assert most is not None
    assert float(most[1]) > 25.4 / 16


def test_a_sheet_that_grows_keeps_its_names_and_none_is_asked_for_that_cannot_pass(
    run_cli: RunCli, job: Path
) -> None:
    first = asked(run_cli, job)
    assert first["fewest"] == len(first["distances"])
    assert first["chance"] >= 0.5
    longer = asked(run_cli, job, "--distances", "90")
    assert longer["distances"][: len(first["distances"])] == first["distances"]
    (job / "job.toml").write_text(LONG_BED + '[tape]\ndivision = "1/4 in"\n', "utf-8")
    done = run_cli("prove", "--job", job)
    assert done.stdout.count("No number of distances can pass") == 1
    assert "What would do: a tolerance of" in done.stdout
    assert "--distances" not in done.stdout


TRADE = (
    '[table]\nlength = "150 in"\nwidth = "64 in"\n[plotter]\nprofile = "flatbed-24x36"\n'
    '[allowed]\ntotal = "1/8 in"\nsquare = "1/16 in"\nneighbours = "1/32 in"\nstep = "1 mm"\n'
)


def test_verniers_are_files_beside_the_sections_and_their_readings_prove_the_joins(
    run_cli: RunCli, tmp_path: Path
) -> None:
    job = job_in(tmp_path / "bench", TRADE)
    assert run_cli("write", "--hpgl", "--job", job).returncode == 0
    before = {path.name: path.read_bytes() for path in (job / "out" / "sections").iterdir()}
    assert run_cli("write", "--hpgl", "--verniers", "--job", job).returncode == 0
    after = {path.name: path.read_bytes() for path in (job / "out" / "sections").iterdir()}
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {name.replace(".", "-verniers.") for name in before}

    sheet = asked(run_cli, job, "--verniers")
    assert len(sheet["distances"]) == sheet["fewest"] == 10
    assert all(distance["purpose"] for distance in sheet["distances"])
    joins = {tuple(vernier["sections"]) for vernier in sheet["verniers"]}
    assert len(sheet["verniers"]) == 3 * len(joins)
    assert {f"{one}.hpgl" for join in joins for one in join} == set(before)
    path = filled_in(job, sheet)
    with path.open("a", encoding="utf-8") as file:
        file.writelines(f"{one['id']},0.0 mm\n" for one in sheet["verniers"])
    whole = run_cli("prove", "--json", "--measured", path, "--job", job)
    assert whole.returncode == 0, whole.stdout
    limits = json.loads(whole.stdout)["limits"]
    assert {limits[name]["outcome"] for name in limits} == {"pass"}

    wide = path.read_text("utf-8").replace("v05,0.0 mm", "v05,2.0 mm")
    path.write_text(wide, "utf-8")
    refused = run_cli("prove", "--measured", path, "--job", job)
    assert refused.returncode == 2
    assert "v05" in refused.stderr
    assert "tells up to 1 mm" in refused.stderr


def test_without_verniers_it_is_said_what_no_tape_tells(run_cli: RunCli, tmp_path: Path) -> None:
    job = job_in(tmp_path / "bench", TRADE)
    sheet = asked(run_cli, job)
    assert sheet["by_vernier"] == ["neighbours", "step"]
    whole = run_cli("prove", "--measured", filled_in(job, sheet), "--job", job)
    assert "Step at a join" in whole.stdout
    said = run_cli("prove", "--job", job).stdout
    assert "Neighbours within 1/32 in cannot be told by tape" in said
