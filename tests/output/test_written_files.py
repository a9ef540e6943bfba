"""What is written: whole or not at all, nothing stale, and the same to the byte as before."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from devices.job import Job
from devices.programs.files import program
from marking.errors import BadInputError
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.output.files import replace_file, write_set
from marking.output.strokes_svg import strokes_svg
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    from tests.conftest import MakeJob, RunCli

GOLDEN = Path(__file__).parents[1] / "golden"
SAMPLE = {
    "title": "A strip with ink & <edges>",
    "table": {"length": "16 in", "width": "9 in"},
    "grid": {"bias": [2], "half_ticks": True, "heavy_every": 6},
    "hems": {"depth": "3 in", "folds": ["double 1 1/2 in"]},
    "plotter": {"profile": "flatbed-a4"},
}


@pytest.fixture(scope="module")
def sample_files(make_job: MakeJob) -> dict[str, bytes]:
    return written(make_job(SAMPLE))


def written(job: Job) -> dict[str, bytes]:
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    files = {}
    for section in plan.sections:
        strokes = [piece.stroke for piece in section.pieces]
        files[f"{section.id}.hpgl"] = program(section, job.plotter, job.pens)[0]
        files[f"{section.id}.svg"] = strokes_svg(
            strokes, job.pens, section.window, job.title, "A sample."
        )
    return files


def test_a_small_job_is_written_as_it_was_before(sample_files: dict[str, bytes]):
    """Golden files: after a wanted change, write them anew and read the difference."""
    held = {path.name: path.read_bytes() for path in GOLDEN.iterdir()}
    assert sorted(held) == sorted(sample_files)
    for name, data in sample_files.items():
        assert data == held[name], f"{name} is not what it was"


def test_a_set_is_staged_whole_before_the_first_file_changes(tmp_path: Path):
    write_set(tmp_path, {"a.txt": b"old", "deep/b.txt": b"old"}, "one")
    (tmp_path / "deep" / "c.txt").mkdir()
    with pytest.raises(BadInputError, match=r"c\.txt"):
        write_set(tmp_path, {"a.txt": b"new", "deep/c.txt/d.txt": b"x", "deep/c.txt": b"x"}, "two")
    assert (tmp_path / "deep" / "b.txt").read_bytes() == b"old"
    assert not list(tmp_path.rglob("*.part"))


def test_files_of_another_layout_are_taken_away_and_changed_ones_are_kept(tmp_path: Path):
    write_set(tmp_path, {"r1c1.hpgl": b"1", "r1c2.hpgl": b"2", "r1c3.hpgl": b"3"}, "one")
    (tmp_path / "r1c3.hpgl").write_bytes(b"mine now")
    (tmp_path / "notes.txt").write_bytes(b"never ours")
    done = write_set(tmp_path, {"r1c1.hpgl": b"4"}, "two")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "files.json",
        "notes.txt",
        "r1c1.hpgl",
        "r1c3.hpgl",
    ]
    assert done.removed == ("r1c2.hpgl",)
    assert done.left == ("r1c3.hpgl",)
    assert (tmp_path / "r1c3.hpgl").read_bytes() == b"mine now"


def test_other_kinds_of_the_same_layout_stay_when_one_kind_is_written(tmp_path: Path):
    write_set(tmp_path, {"r1c1.svg": b"svg"}, "one")
    write_set(tmp_path, {"r1c1.hpgl": b"hpgl"}, "one")
    assert (tmp_path / "r1c1.svg").read_bytes() == b"svg"


BENCH = """
tolerance = "1/16 in"
[table]
length = "30 in"
width = "14 in"
[hems]
depth = "2 in"
folds = []
"""


def test_what_was_written_of_the_same_lines_and_sections_stays(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """A finer tape and a closer tolerance move no line: picture and report are still right."""
    (tmp_path / "job.toml").write_text(BENCH, "utf-8")
    assert run_cli("write", "--report", "--svg", "--job", tmp_path).returncode == 0
    closer = BENCH.replace("1/16", "1/32") + '[tape]\ndivision = "1/64 in"\n[reach]\nspan = "1 m"\n'
    (tmp_path / "job.toml").write_text(closer, "utf-8")
    done = run_cli("write", "--hpgl", "--job", tmp_path)
    assert done.returncode == 0
    assert "taken away" not in done.stderr
    kinds = {path.suffix for path in (tmp_path / "out").rglob("*") if path.is_file()}
    assert kinds == {".md", ".json", ".svg", ".hpgl"}


def test_it_is_said_which_files_of_an_earlier_layout_were_taken_away(
    run_cli: RunCli, tmp_path: Path
) -> None:
    (tmp_path / "job.toml").write_text(BENCH, "utf-8")
    assert run_cli("write", "--report", "--svg", "--job", tmp_path).returncode == 0
    (tmp_path / "job.toml").write_text(BENCH.replace("30 in", "31 in"), "utf-8")
    done = run_cli("write", "--hpgl", "--json", "--job", tmp_path)
    assert "taken away" in done.stderr
    assert "report.md" in done.stderr
    assert f'canvasrule write --job "{tmp_path}"' in done.stderr
    assert "report.md" in json.loads(done.stdout)["removed"]
    kinds = {path.suffix for path in (tmp_path / "out" / "sections").iterdir()}
    assert kinds == {".hpgl"}


def test_what_was_written_is_counted_by_folder(run_cli: RunCli, tmp_path: Path) -> None:
    """A hundred names say less than two counts; a program gets every name."""
    (tmp_path / "job.toml").write_text(BENCH, "utf-8")
    done = run_cli("write", "--job", tmp_path)
    record = json.loads(run_cli("write", "--json", "--job", tmp_path).stdout)
    sections = len({file["section"] for file in record["files"]} - {None})
    lines = done.stdout.splitlines()
    assert len(lines) <= 8
    assert f"  {sections} .hpgl and {sections} .svg in sections" in lines
    assert any("report.md" in line for line in lines)


@pytest.mark.parametrize(
    "name",
    ["../outside.txt", "deep/../../outside.txt", "{outside}"],
)
def test_a_manifest_cannot_name_files_outside_its_folder(tmp_path: Path, name: str):
    """Named with the digest of its very bytes, as a file of ours would be, and so taken away."""
    outside = tmp_path / "outside.txt"
    outside.write_bytes(b"precious")
    sha = hashlib.sha256(b"precious").hexdigest()
    folder = tmp_path / "out"
    (folder / "deep").mkdir(parents=True)
    (folder / "inside.txt").write_bytes(b"precious")
    files = {name.format(outside=outside): sha, "inside.txt": sha}
    (folder / "files.json").write_text(json.dumps({"made_from": "one", "files": files}))
    done = write_set(folder, {"a.txt": b"a"}, "two")
    assert outside.read_bytes() == b"precious"
    # It is the digest that tells: what lies inside, of the same bytes, is gone.
    assert done.removed == ("inside.txt",)
    assert not (folder / "inside.txt").exists()


def test_a_picture_replaces_an_older_one_whole(tmp_path: Path):
    replace_file(tmp_path / "picture.svg", b"old")
    replace_file(tmp_path / "picture.svg", b"new")
    assert (tmp_path / "picture.svg").read_bytes() == b"new"
    assert [path.name for path in tmp_path.iterdir()] == ["picture.svg"]


DYING = """
import resource, signal, sys
from pathlib import Path
from marking.output.files import {call}
signal.signal(signal.SIGXFSZ, getattr(signal, {fate!r}))
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
new = b"new" * 10000
{statement}
"""
"""A command whose disk takes a thousand bytes of a file and no more: POSIX, setrlimit(2). By the
signal's default the process dies in the middle of the write, else the write is refused there."""


@pytest.mark.parametrize("fate", ["SIG_DFL", "SIG_IGN"])
@pytest.mark.parametrize(
    ("call", "statement"),
    [
        ("replace_file", 'replace_file(Path("r1c1.hpgl"), new)'),
        ("write_set", 'write_set(Path(), {"r1c1.hpgl": new}, "two")'),
    ],
)
def test_a_write_that_dies_midway_leaves_the_old_file_whole(
    tmp_path: Path, call: str, statement: str, fate: str
) -> None:
    old = b"PD100,100;" * 200
    write_set(tmp_path, {"r1c1.hpgl": old}, "one")
    script = DYING.format(call=call, statement=statement, fate=fate)
    done = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True)
    assert done.returncode != 0
    assert (tmp_path / "r1c1.hpgl").read_bytes() == old
    # What the dead command left behind is in nobody's way.
    replace_file(tmp_path / "r1c1.hpgl", b"new")
    assert (tmp_path / "r1c1.hpgl").read_bytes() == b"new"


def test_the_demo_leaves_everything_it_lists(demo_folder: Path):
    out = demo_folder / "out"
    manifest = json.loads((out / "files.json").read_text())
    assert all((out / name).is_file() for name in manifest["files"])
    kinds = {Path(name).suffix for name in manifest["files"]}
    assert kinds == {".svg", ".png", ".hpgl", ".md", ".json"}
    assert (out / "picture.png").read_bytes().startswith(b"\x89PNG")


def test_the_demo_claims_no_more_than_it_does_and_says_what_to_run_next(
    run_cli: RunCli, tmp_path: Path
):
    """It lays out, cuts and writes; tape marks, placing, plotting and proving are not its."""
    (listed,) = (
        line for line in run_cli("--help").stdout.splitlines() if line.split()[:1] == ["demo"]
    )
    assert "whole job" not in listed
    done = run_cli("demo", tmp_path / "bench")
    (command,) = (line for line in done.stdout.splitlines() if "canvasrule drive" in line)
    words = [word.strip('"') for word in command.split()[1:]]
    shown = run_cli(*words, cwd=tmp_path)
    assert shown.returncode == 0, shown.stderr
    assert (tmp_path / "bench" / "out" / "cloth.png").is_file()


def test_the_demo_can_be_run_again_on_a_job_the_person_changed(
    run_cli: RunCli, tmp_path: Path, demo_folder: Path
):
    job = tmp_path / "job.toml"
    text = (
        (demo_folder / "job.toml").read_text("utf-8").replace("heavy_every = 12", "heavy_every = 6")
    )
    job.write_text(text, "utf-8")
    done = run_cli("demo", tmp_path)
    assert done.returncode == 0, done.stderr
    assert job.read_text("utf-8") == text


if __name__ == "__main__":
    # Writes the golden files anew: python tests/test_written_files.py
    import tempfile

    from tests.conftest import toml

    GOLDEN.mkdir(exist_ok=True)
    for old in GOLDEN.iterdir():
        old.unlink()
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "job.toml").write_text(toml(SAMPLE), "utf-8")
        for name, data in written(load_job(Path(folder), Job)).items():
            (GOLDEN / name).write_bytes(data)
