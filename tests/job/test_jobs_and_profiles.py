"""Jobs as `start` makes them, the profiles they stand on, and the schema that editors check by."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest

from devices.job import Job
from devices.job_text import job_schema
from marking.errors import BadInputError
from marking.job.folder import JOB_FILE, load_job
from marking.job.keys import paper_of
from marking.measures.lengths import parse_length
from marking.shipped_files import stock, stock_names

if TYPE_CHECKING:
    from tests.conftest import MakeJob, RunCli

CHECKOUT = Path(__file__).resolve().parents[2]
TABLE = {"length": "150 in", "width": "64 in"}


@pytest.mark.parametrize("name", stock_names("tables"))
def test_start_makes_a_job_of_each_stock_table(run_cli: RunCli, tmp_path: Path, name: str) -> None:
    done = run_cli("start", tmp_path / "bench", "--table", name)
    assert (done.returncode, done.stdout) == (0, f"{tmp_path / 'bench' / JOB_FILE}\n")
    profile = tomllib.loads(stock().joinpath("tables", f"{name}.toml").read_text("utf-8"))
    job = load_job(tmp_path / "bench", Job)
    assert job.table.length == parse_length(profile["length"])
    assert job.table.width == parse_length(profile["width"])
    assert job.title == "bench"
    assert job.units == ("mm" if "cm" in profile["length"] else "in")


def test_the_inch_template_states_the_defaults(run_cli: RunCli, tmp_path: Path) -> None:
    run_cli("start", tmp_path, "--length", "150 in", "--width", "64 in", "--title", "Table cover")
    written = load_job(tmp_path, Job)
    (tmp_path / JOB_FILE).write_text('table = {length = "150 in", width = "64 in"}', "utf-8")
    default = load_job(tmp_path, Job)
    # What is left out follows the unit; begun jobs keep the pens that they were laid out for.
    assert paper_of(written) == paper_of(default) == "letter"
    own = {"paper": True, "pens": {pen: {"width"} for pen in ("lines", "heavy", "numerals")}}
    assert written.model_dump(exclude=own) == default.model_dump(exclude=own)


@pytest.mark.parametrize(
    "table", [("--length", "150 in", "--width", "64 in"), ("--table", "bench-150x360cm")]
)
@pytest.mark.parametrize("plotter", ["flatbed-a3", "gantry-gcode"])
def test_one_marker_in_one_holder_inks_a_new_job_as_it_is_laid_out(
    run_cli: RunCli, tmp_path: Path, table: tuple[str, ...], plotter: str
) -> None:
    """ISO 3098: lettering is 10 pen widths high in type B, 14 in type A."""
    run_cli("start", tmp_path, *table, "--plotter", plotter)
    pens = load_job(tmp_path, Job).pens
    assert pens.lines.width == pens.heavy.width == pens.numerals.width
    assert pens.lines.slot == pens.heavy.slot == pens.numerals.slot == 1
    # A heavy line is still half as wide again.
    assert pens.heavy.line_width == pytest.approx(1.5 * pens.lines.line_width)
    found = json.loads(run_cli("layout", "--job", tmp_path, "--json").stdout)
    assert found["warnings"] == []
    assert 10 <= found["fit"]["numerals"]["height_to_stroke"] <= 14
    bought = json.loads(run_cli("cover", "--job", tmp_path, "--json").stdout)["markers"]
    assert [one["pens"] for one in bought] == [["lines", "heavy", "numerals"]]


@pytest.mark.parametrize("name", stock_names("plotters"))
def test_start_takes_any_stock_plotter(run_cli: RunCli, tmp_path: Path, name: str) -> None:
    done = run_cli("start", tmp_path, "--length", "2 m", "--width", "90 cm", "--plotter", name)
    assert done.returncode == 0, done.stderr
    profile = tomllib.loads(stock().joinpath("plotters", f"{name}.toml").read_text("utf-8"))
    assert load_job(tmp_path, Job).plotter.name == profile["name"]


@pytest.mark.parametrize(
    ("length", "width"),
    [("12' 6\"", "5' 4\""), ("3.6 m", "150 cm"), ("150 1/2 in", "64 in"), ("8½ ft", '30-1/4"')],
)
def test_start_takes_lengths_as_people_write_them(
    run_cli: RunCli, tmp_path: Path, length: str, width: str
) -> None:
    done = run_cli("start", tmp_path, "--length", length, "--width", width)
    assert done.returncode == 0, done.stderr
    job = load_job(tmp_path, Job)
    assert (job.table.length, job.table.width) == (parse_length(length), parse_length(width))
    assert job.units == ("mm" if length.endswith("m") else "in")


@pytest.mark.parametrize(
    "title", ['The "long" bench', "Tisch Nähstube №2 — 布", "a\\b", "x" * 200, "{braces}", "# no"]
)
def test_start_keeps_a_title_as_it_was_given(run_cli: RunCli, tmp_path: Path, title: str) -> None:
    done = run_cli("start", tmp_path, "--table", "bench-64x150", "--title", title)
    assert done.returncode == 0, done.stderr
    assert load_job(tmp_path, Job).title == title


@pytest.mark.parametrize("units", ["in", "mm"])
def test_a_survey_filled_in_under_the_template_is_read(
    run_cli: RunCli, tmp_path: Path, units: str
) -> None:
    """A person takes the hashes away and writes the two diagonals in."""
    run_cli("start", tmp_path, "--length", "400 cm", "--width", "300 cm", "--units", units)
    path = tmp_path / JOB_FILE
    lines = path.read_text("utf-8").splitlines()
    start = lines.index("# [table.survey]")
    end = lines.index("[grid]")
    lines[start:end] = [line.removeprefix("# ") for line in lines[start:end]]
    path.write_text("\n".join(lines).replace('= ""', '= "500 cm"'), "utf-8")
    survey = load_job(tmp_path, Job).table.survey
    assert survey is not None
    assert (survey.near, survey.far_end) == (4000.0, 3000.0)
    assert survey.diagonal_from_zero_near == survey.diagonal_from_zero_far == 5000.0


def test_start_puts_the_schema_beside_the_job(run_cli: RunCli, tmp_path: Path) -> None:
    run_cli("start", tmp_path, "--table", "bench-64x150")
    assert (tmp_path / "job.schema.json").read_text("utf-8") == job_schema()
    assert (tmp_path / JOB_FILE).read_text("utf-8").startswith("#:schema ./job.schema.json\n")


def checks(job: dict[str, Any]) -> list[str]:
    """Where the JSON Schema finds fault, by jsonschema's Draft 2020-12 validator."""
    schema = json.loads(job_schema())
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    return ["/".join(map(str, error.absolute_path)) for error in validator.iter_errors(job)]


def test_the_schema_passes_the_shipped_job_and_those_of_start(
    run_cli: RunCli, tmp_path: Path
) -> None:
    demo = stock().joinpath("demo", "millrace", JOB_FILE).read_text("utf-8")
    assert checks(tomllib.loads(demo)) == []
    for name in stock_names("tables"):
        run_cli("start", tmp_path / name, "--table", name)
        assert checks(tomllib.loads((tmp_path / name / JOB_FILE).read_text("utf-8"))) == []


@pytest.mark.parametrize("kind", ["tables", "plotters", "projectors", "pens"])
def test_the_schema_passes_every_stock_profile_in_its_place(kind: str) -> None:
    for name in stock_names(kind):
        own = tomllib.loads(stock().joinpath(kind, f"{name}.toml").read_text("utf-8"))
        own.pop("about")
        place = {"pens": {"pens": {"lines": own}}}.get(kind, {kind.removesuffix("s"): own})
        assert checks({"table": TABLE, **place}) == [], name


@pytest.mark.parametrize(
    ("wrong", "where"),
    [
        ({}, ""),
        ({"table": {"length": 150, "width": "64 in"}}, "table/length"),
        ({"table": TABLE, "gird": {}}, ""),
        ({"table": TABLE, "grid": {"pitsch": "1 in"}}, "grid"),
        ({"table": TABLE, "grid": {"heavy_every": -1}}, "grid/heavy_every"),
        ({"table": TABLE, "grid": {"long_lines": "all"}}, "grid/long_lines"),
        ({"table": TABLE, "numerals": {"sides": ["left"]}}, "numerals/sides/0"),
        ({"table": TABLE, "units": "cm"}, "units"),
        ({"table": TABLE, "schema": 2}, "schema"),
        ({"table": TABLE, "plotter": {"profile": 3}}, "plotter/profile"),
        ({"table": TABLE, "pens": {"lines": {"slot": 0}}}, "pens/lines/slot"),
    ],
)
def test_the_schema_finds_the_fault_where_it_is(wrong: dict[str, Any], where: str) -> None:
    assert where in checks(wrong)


def test_a_roll_may_be_unlimited_by_the_schema_as_well() -> None:
    roll = {"profile": "roll-36", "x_size": "unlimited"}
    assert checks({"table": TABLE, "plotter": roll}) == []


def test_keys_beside_a_profile_win_over_it(make_job: MakeJob) -> None:
    job = make_job(
        {
            "table": {"profile": "bench-64x150", "width": "60 in"},
            "plotter": {"profile": "flatbed-a4", "x_size": "250 mm"},
            "pens": {"lines": {"profile": "fabric-broad", "slot": 3}},
        }
    )
    assert (job.table.length, job.table.width) == (150 * 25.4, 60 * 25.4)
    assert (job.plotter.x_size, job.plotter.y_size) == (250.0, 190.0)
    assert (job.pens.lines.slot, job.pens.lines.width) == (3, 2.0)
    assert job.pens.heavy == make_job({"table": TABLE}).pens.heavy


def test_a_job_without_a_plotter_stands_on_the_stock_one(make_job: MakeJob) -> None:
    assert (
        make_job({"table": TABLE}).plotter
        == make_job({"table": TABLE, "plotter": {"profile": "flatbed-a3"}}).plotter
    )


def with_profile(folder: Path, profile: str, own: str = "") -> Path:
    """A job in `folder` whose plotter stands on the file `mine.toml` beside it."""
    (folder / "mine.toml").write_text(profile, "utf-8")
    (folder / JOB_FILE).write_text(
        f'[table]\nlength = "150 in"\nwidth = "64 in"\n[plotter]\nprofile = "mine.toml"\n{own}',
        "utf-8",
    )
    return folder


def test_a_profile_may_be_a_file_in_the_jobs_folder(tmp_path: Path) -> None:
    folder = with_profile(
        tmp_path, 'about = "Ours."\nname = "Ours"\nx_size = "500 mm"\ny_size = "300 mm"\n'
    )
    plotter = load_job(folder, Job).plotter
    assert (plotter.name, plotter.x_size, plotter.y_size) == ("Ours", 500.0, 300.0)


@pytest.mark.parametrize(
    ("profile", "key"),
    [
        ('name = "Ours"\nx_size = "500"\ny_size = "300 mm"\n', "plotter.x_size"),
        ('name = "Ours"\nx_size = "500 mm"\ny_size = "300 mm"\nbuad = 9600\n', "plotter.buad"),
        ('name = "Ours"\nx_size = "500 mm"\ny_size = "300 mm"\nspeeds = [0, 3]\n', "plotter"),
        ('name = "Ours"\nx_size = "500 mm"\ny_size = "300 mm"\naxes = ["+x", "-x"]\n', "axes"),
    ],
)
def test_a_fault_in_a_profile_is_named_in_the_profile(
    tmp_path: Path, profile: str, key: str
) -> None:
    with pytest.raises(BadInputError) as fault:
        load_job(with_profile(tmp_path, profile), Job)
    (message,) = fault.value.messages
    assert message.startswith(str(tmp_path / "mine.toml"))
    assert key in message


@pytest.mark.parametrize("own", ["x_size = 500", 'axes = ["+x", "-x"]', "speeds = [0, 3]"])
def test_a_fault_beside_a_profile_is_named_in_the_job(tmp_path: Path, own: str) -> None:
    good = 'name = "Ours"\nx_size = "500 mm"\ny_size = "300 mm"\n'
    with pytest.raises(BadInputError) as fault:
        load_job(with_profile(tmp_path, good, own), Job)
    (message,) = fault.value.messages
    assert message.startswith(str(tmp_path / JOB_FILE))
    assert own.split()[0] in message


def test_a_profile_that_lacks_a_key_is_named_with_what_it_lacks(tmp_path: Path) -> None:
    with pytest.raises(BadInputError) as fault:
        load_job(with_profile(tmp_path, 'y_size = "300 mm"\n'), Job)
    said = "\n".join(fault.value.messages)
    assert "plotter.name" in said
    assert "plotter.x_size" in said
    assert "mine.toml" in said


def test_a_wheel_installed_elsewhere_carries_its_profiles(tmp_path: Path) -> None:
    """Built by pip from this checkout, unpacked into a folder of its own, and run from there."""
    pip = [sys.executable, "-m", "pip", "-q", "--disable-pip-version-check"]
    wheels = tmp_path / "wheels"
    subprocess.run([*pip, "wheel", str(CHECKOUT), "--no-deps", "-w", str(wheels)], check=True)
    (wheel,) = wheels.glob("canvasrule-*.whl")
    site = tmp_path / "site"
    subprocess.run(
        [*pip, "install", "--no-deps", "--no-index", "--target", str(site), str(wheel)], check=True
    )
    packed = site / "marking" / "profiles"
    shipped = CHECKOUT / "profiles"
    names = {path.relative_to(shipped) for path in shipped.rglob("*") if path.is_file()}
    assert {path.relative_to(packed) for path in packed.rglob("*") if path.is_file()} == names
    pages = [p for p in (CHECKOUT / "devices").rglob("*") if p.suffix in (".html", ".css", ".js")]
    assert len(pages) > 10
    assert [p for p in pages if not (site / p.relative_to(CHECKOUT)).is_file()] == []
    program = (
        "import sys; sys.path.insert(0, sys.argv.pop(1)); import marking, devices\n"
        "print(marking.__file__, devices.__file__, file=sys.stderr)\n"
        "from devices.commands import main; sys.exit(main())"
    )
    for words in (
        ["start", "bench", "--table", "folding-30x72", "--plotter", "flatbed-a4"],
        ["write", "--job", "bench", "--hpgl", "--json"],
    ):
        done = subprocess.run(
            [sys.executable, "-c", program, str(site), *words],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert done.stderr.startswith(f"{site / 'marking'}")
        assert f" {site / 'devices'}" in done.stderr
    assert json.loads(done.stdout)["files"]
