"""Jobs, names and terminals that are odd, and have to work all the same."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from tests.job.command_cases import (
    BAD_INPUT,
    REFUSED,
    TABLE,
    assert_plain,
    job_in,
    limited,
)

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


@pytest.mark.parametrize(
    "more",
    [
        f"[grid]\nbias = {list(range(48)) * 20}\n",
        "[grid]\nheavy_every = 0\n",
        "[grid]\nheavy_every = 10000\n",
        "[grid]\nhalf_ticks = true\nlong_lines = 'full'\n",
        "[numerals]\nevery = 10000\n",
        "[numerals]\nper_line = 10000\nevery = 4\n",
        "[numerals]\nsides = []\n",
        "[numerals]\nclear = '0 in'\nheight = '4 mm'\n",
        "[hems]\ndepth = '0 in'\nfolds = []\n",
        "[hems]\ndepth = '0 in'\nfolds = ['single 14 in', 'double 40 in']\ncross_folds = true\n",
        "[plotter]\nprofile = 'roll-36'\n",
        "[plotter]\nset_down = '0 mm'\n",
        "[cloth]\nstretch_length = '20 %'\nstretch_width = '-20 %'\n",
        "[pens]\nlines = { profile = 'fabric-medium' }\nnumerals = { profile = 'fabric-fine' }\n",
    ],
)
def test_an_odd_job_is_laid_out_cut_and_written(run_cli: RunCli, tmp_path: Path, more: str) -> None:
    job_in(tmp_path, TABLE + more)
    done = run_cli("write", "--svg", "--hpgl", "--report", "--json", "--job", tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Warning" not in done.stderr
    assert json.loads(done.stdout)["files"]


@pytest.mark.parametrize(
    "title",
    [
        "Näh-Tisch №2 — 布 🧵",
        "quotes \" and ' and \\\\",
        "<svg> & ]]> <!-- -- >",
        "two\\nlines",
        "# heading | `code` *x*",
        "\\u0001 and \\u001b[31m red \\u007f",
        "\\ufffe\\uffff",
        "",
    ],
)
def test_any_title_gives_files_that_open_or_is_refused_by_name(
    run_cli: RunCli, tmp_path: Path, title: str
) -> None:
    import xml.etree.ElementTree

    quoted = title.replace('"', '\\"') if "\\u" not in title and "\\n" not in title else title
    job_in(tmp_path, f'title = "{quoted}"\n{TABLE}')
    done = run_cli("write", "--job", tmp_path)
    assert "Traceback" not in done.stderr, done.stderr[-300:]
    if done.returncode != 0:
        assert_plain(done, BAD_INPUT, "title")
        return
    for path in (tmp_path / "out").rglob("*.svg"):
        xml.etree.ElementTree.parse(path)
    assert "\x1b" not in (tmp_path / "out" / "report.md").read_text("utf-8")


@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbf" + TABLE.encode(),
        TABLE.replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf" + TABLE.replace("\n", "\r\n").encode(),
        TABLE.rstrip().encode(),
        b"# " + b"x" * 900_000 + b"\n" + TABLE.encode(),
    ],
    ids=["byte order mark", "CRLF", "both", "no last line end", "long comment"],
)
def test_what_editors_do_to_a_file_changes_nothing(
    run_cli: RunCli, tmp_path: Path, data: bytes
) -> None:
    job_in(tmp_path / "plain", TABLE)
    job_in(tmp_path / "edited", data)
    plain, edited = (
        run_cli("layout", "--json", "--job", tmp_path / n) for n in ("plain", "edited")
    )
    assert edited.returncode == 0, edited.stderr
    assert edited.stdout == plain.stdout


@pytest.mark.parametrize("name", ["with spaces", "Nähstube №2", "it's", "-dash", "a&b", "x.toml"])
def test_a_jobs_folder_may_have_any_name(run_cli: RunCli, tmp_path: Path, name: str) -> None:
    folder = job_in(tmp_path / name, TABLE)
    link = tmp_path / "link"
    link.symlink_to(folder)
    for path in (folder, link):
        done = run_cli("write", "--svg", "--json", "--job", path)
        assert done.returncode == 0, done.stderr
        assert all((folder / "out" / f["path"]).is_file() for f in json.loads(done.stdout)["files"])


@pytest.mark.parametrize(
    "env",
    [
        {"PYTHONIOENCODING": "ascii"},
        {"PYTHONIOENCODING": "cp1252"},
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    ],
    ids=["ascii", "cp1252", "C locale"],
)
def test_a_terminal_without_the_titles_letters_is_no_crash(
    run_cli: RunCli, tmp_path: Path, env: dict[str, str]
) -> None:
    job_in(tmp_path, f'title = "布 №2"\n{TABLE}[grid]\nheavy_every = 1000\n')
    for words in (["layout"], ["layout", "--json"], ["section"], ["write", "--report"]):
        done = run_cli(*words, "--job", tmp_path, env=env)
        assert done.returncode == 0, done.stderr[-300:]
        if "--json" in words:
            json.loads(done.stdout)


@pytest.mark.parametrize("verb", [["layout"], ["section"], ["write"], ["write", "--for", "reach"]])
def test_json_stays_alone_on_stdout_and_notes_on_stderr(
    run_cli: RunCli, tmp_path: Path, verb: list[str]
) -> None:
    job_in(tmp_path, f"{TABLE}[grid]\nheavy_every = 1000\n[numerals]\nper_line = 3\n")
    done = run_cli(*verb, "--json", "--job", tmp_path)
    assert done.returncode == 0
    record = json.loads(done.stdout)
    assert record["schema"] == 1
    assert "note:" not in done.stdout
    assert "Traceback" not in done.stderr
    if verb[0] == "write":
        assert "heavy_every" in done.stderr


def test_a_manifest_that_makes_no_sense_is_no_obstacle(run_cli: RunCli, tmp_path: Path) -> None:
    job_in(tmp_path, TABLE)
    (tmp_path / "out").mkdir()
    for junk in (b"", b"[]", b"{}", b"\xff\xfe", b'{"files": 3}', b"[" * 100_000):
        (tmp_path / "out" / "files.json").write_bytes(junk)
        done = run_cli("write", "--svg", "--job", tmp_path)
        assert done.returncode == 0, done.stderr[-300:]


def test_a_picture_of_a_very_tall_table_is_drawn_or_refused(
    run_cli: RunCli, tmp_path: Path
) -> None:
    import resource

    def two_gibibytes() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))

    job_in(tmp_path, '[table]\nlength = "20 in"\nwidth = "60 m"\n')
    done = limited(two_gibibytes, "layout", "--job", tmp_path, "--picture", tmp_path / "p.png")
    assert done.returncode in (0, REFUSED), done.stderr[-300:]
    assert "Traceback" not in done.stderr
