"""`trial` keeps a plotter's correction only when it was meant, and leaves nothing stale to plot."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import pytest

from devices.commands import main
from marking.record.record import open_record
from tests.job.command_cases import BAD_INPUT, REFUSED, TABLE, assert_plain, contents, job_in

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli

DIAGONAL = 2**0.5


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return job_in(tmp_path / "bench", TABLE)


def side_of(run_cli: RunCli, folder: Path) -> float:
    done = run_cli("trial", "--json", "--job", folder)
    assert done.returncode == 0, done.stderr
    return float(json.loads(done.stdout)["side"])


def square(folder: Path, side: float, scale: float, name: str = "square.toml") -> Path:
    sides = dict.fromkeys(("AB", "BC", "CD", "DA"), side)
    runs = {**sides, **dict.fromkeys(("AC", "BD"), side * DIAGONAL)}
    lines = [f'{run} = "{length * scale:.2f} mm"' for run, length in runs.items()]
    path = folder / name
    path.write_text("\n".join(["[measured]", *lines, ""]), "utf-8")
    return path


def kept(run_cli: RunCli, folder: Path, scale: float, *more: str) -> Any:
    measured = square(folder, side_of(run_cli, folder), scale)
    done = run_cli("trial", "--measured", measured, "--job", folder, *more)
    assert done.returncode == 0, done.stderr
    return done


def test_measuring_the_corrected_sheet_does_not_throw_the_kept_correction_away(
    run_cli: RunCli, job: Path
) -> None:
    kept(run_cli, job, 0.9952)
    before = run_cli("section", "--json", "--job", job).stdout
    true = square(job, side_of(run_cli, job), 1.0)
    again = run_cli("trial", "--measured", true, "--job", job)
    assert_plain(again, REFUSED, "-0.48%", "--corrected", "--replace", "Nothing was kept")
    shown = run_cli("trial", "--measured", true, "--corrected", "--job", job)
    assert shown.returncode == 0
    assert run_cli("section", "--json", "--job", job).stdout == before
    replaced = run_cli("trial", "--measured", true, "--replace", "--job", job)
    assert replaced.returncode == 0
    assert "replaces the correction kept before" in replaced.stderr
    assert "-0.48%" in replaced.stderr
    assert run_cli("section", "--json", "--job", job).stdout != before


def test_the_same_figures_once_more_change_nothing(run_cli: RunCli, job: Path) -> None:
    kept(run_cli, job, 0.9952)
    assert run_cli("write", "--hpgl", "--job", job).returncode == 0
    files = {name for name in contents(job / "out") if name.startswith("sections/")}
    kept(run_cli, job, 0.9952)
    assert {name for name in contents(job / "out") if name.startswith("sections/")} == files


def test_a_new_correction_leaves_no_section_of_the_old_cut_to_plot(
    run_cli: RunCli, job: Path
) -> None:
    assert run_cli("write", "--job", job).returncode == 0
    placed = job / "out" / "placed" / "r1c1.hpgl"
    placed.parent.mkdir()
    placed.write_text("IN;")
    done = kept(run_cli, job, 0.9952)
    assert "write" in done.stderr
    assert "again" in done.stderr
    left = [name for name in contents(job) if name.endswith(".hpgl")]
    assert left == ["out/trial.hpgl"]
    assert not (job / "out" / "report.md").exists()
    assert run_cli("write", "--job", job).returncode == 0
    assert (job / "out" / "sections" / "r1c1.hpgl").exists()


def test_a_section_file_that_a_person_changed_is_left_and_named(run_cli: RunCli, job: Path) -> None:
    assert run_cli("write", "--hpgl", "--job", job).returncode == 0
    own = job / "out" / "sections" / "r1c1.hpgl"
    own.write_bytes(own.read_bytes() + b"PU;")
    done = kept(run_cli, job, 0.9952)
    assert own.exists()
    assert "r1c1.hpgl was changed since it was written" in done.stderr


@pytest.mark.parametrize("scale", [0.9615, 1.012])
def test_a_correction_that_few_plotters_need_is_asked_about_first(
    run_cli: RunCli, job: Path, scale: float
) -> None:
    measured = square(job, side_of(run_cli, job), scale)
    before = contents(job)
    done = run_cli("trial", "--measured", measured, "--job", job)
    assert_plain(done, REFUSED, f"{scale - 1:+.2%}", "`unit`", "hook", "100 %", "--confirmed")
    assert contents(job) == before
    kept(run_cli, job, scale, "--confirmed")


def test_section_and_report_say_which_correction_is_in_force(run_cli: RunCli, job: Path) -> None:
    plain = run_cli("section", "--job", job)
    assert "correction" not in plain.stdout
    kept(run_cli, job, 0.9952)
    said = "scale along X -0.48%, scale along Y -0.48%"
    assert said in run_cli("section", "--job", job).stdout
    assert run_cli("write", "--report", "--job", job).returncode == 0
    assert said in (job / "out" / "report.md").read_text("utf-8")


def test_a_file_that_lies_in_the_jobs_folder_is_named_where_it_is(
    run_cli: RunCli, job: Path
) -> None:
    square(job, side_of(run_cli, job), 1.0)
    for words in (
        ("trial", "--measured", "square.toml"),
        ("prove", "--measured", "square.toml"),
        ("place", "--readings", "square.toml"),
    ):
        done = run_cli(*words, "--job", "bench", cwd=job.parent)
        there = "bench\\square.toml" if "\\" in str(job) else "bench/square.toml"
        assert_plain(done, BAD_INPUT, f"no such file in {job.parent}", f"{there} is there")


def test_an_inch_jobs_square_is_a_whole_number_of_inches_and_fits(
    run_cli: RunCli, job: Path
) -> None:
    assert side_of(run_cli, job) == pytest.approx(10 * 25.4)
    said = run_cli("trial", "--job", job).stdout
    assert 'AB = "..."   # near 10 in' in said
    # Nobody reads a tenth of a millimetre off a tape of thirty-seconds.
    assert not re.search(r"in [+-] \d", said)
    (job / "job.toml").write_text('units = "mm"\n' + TABLE, "utf-8")
    assert side_of(run_cli, job) % 1 == 0


def test_a_corrected_sheet_that_still_shows_the_error_is_not_called_corrected(
    run_cli: RunCli, job: Path
) -> None:
    kept(run_cli, job, 0.9941)
    same = square(job, side_of(run_cli, job), 0.9941)
    done = run_cli("trial", "--measured", same, "--corrected", "--job", job)
    assert done.returncode == REFUSED
    assert "-0.59%" in done.stdout
    assert "still there on the corrected sheet" in done.stdout
    assert ": corrected." not in done.stdout
    assert "the correction does not help" in done.stderr
    assert "--replace" in done.stderr
    plain = run_cli("trial", "--measured", same, "--corrected", "--json", "--job", job)
    assert plain.returncode == REFUSED
    assert json.loads(plain.stdout)["holds"] is False
    true = square(job, side_of(run_cli, job), 1.0)
    helped = run_cli("trial", "--measured", true, "--corrected", "--job", job)
    assert helped.returncode == 0
    assert "the correction helps" in helped.stderr
    assert ": corrected." not in helped.stdout


def test_a_corrected_sheet_is_not_judged_where_no_correction_is_kept(
    run_cli: RunCli, job: Path
) -> None:
    true = square(job, side_of(run_cli, job), 1.0)
    done = run_cli("trial", "--measured", true, "--corrected", "--job", job)
    assert_plain(done, REFUSED, "no correction is kept")


def test_a_correction_that_takes_more_sections_says_how_many(
    run_cli: RunCli, tmp_path: Path
) -> None:
    # A bed that holds a column with hardly a millimetre to spare.
    bed = '[plotter]\nprofile = "flatbed-a3"\nx_size = "320 mm"\n'
    job = job_in(tmp_path / "bench", f"{TABLE}{bed}")

    def sections() -> int:
        return len(json.loads(run_cli("section", "--json", "--job", job).stdout)["sections"])

    before = sections()
    done = kept(run_cli, job, 0.9915)
    after = sections()
    assert after > before
    assert f"the cover takes {after} sections now, {before} before" in done.stderr


def test_what_the_sheets_verniers_show_is_told_and_kept_with_its_square(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The direct vernier of the textbooks: so many divisions from the middle, a tenth each."""
    assert main(["trial", "--json", "--job", str(job)]) == 0
    sheet = json.loads(capsys.readouterr().out)
    measured = square(job, sheet["side"], 1.0)
    tenth = sheet["verniers"][0]["pitch"] / 10
    lines = [f'X = "{2 * tenth:g} mm"', f'Y = "{-tenth / 4:g} mm"', f'PX = "{-3 * tenth:g} mm"']
    measured.write_text("\n".join([measured.read_text("utf-8"), *lines, ""]), "utf-8")
    assert main(["trial", "--measured", str(measured), "--job", str(job)]) == 0
    told = capsys.readouterr().out
    assert f"Play along X {2 * tenth:+.2f} mm" in told
    assert re.search(r"Play along Y -0\.\d\d mm, .*: no more than the eye tells\.", told)
    assert f"The numerals pen draws {-3 * tenth:+.2f} mm off the lines pen along X" in told
    with open_record(job) as record:
        (check,) = record.checks("device")
    assert check.result["verniers"]["PX"] == pytest.approx(-3 * tenth)
    # More than its scales tell is no reading of it.
    measured.write_text(measured.read_text("utf-8") + f'PY = "{6 * tenth:g} mm"\n', "utf-8")
    assert main(["trial", "--replace", "--measured", str(measured), "--job", str(job)]) == 2
    assert "PY = " in capsys.readouterr().err
