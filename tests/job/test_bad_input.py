"""A wrong job, or one that does not fit: a clear message, its exit code, nothing left behind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from marking.job.folder import JOB_FILE
from tests.job.command_cases import (
    BAD_INPUT,
    REFUSED,
    SURVEY,
    TABLE,
    assert_plain,
    assert_refused,
    contents,
    job_in,
)

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


def test_every_verb_that_reads_a_job_says_the_same(run_cli: RunCli, tmp_path: Path) -> None:
    job_in(tmp_path, TABLE.replace('"50 in"', "50"))
    before = contents(tmp_path)
    for words in (
        ["layout", "--job", tmp_path],
        ["layout", "--json", "--job", tmp_path],
        ["layout", "--picture", tmp_path / "picture.svg", "--job", tmp_path],
        ["section", "--job", tmp_path],
        ["section", "--json", "--for", "reach", "--job", tmp_path],
        ["write", "--job", tmp_path],
        ["demo", tmp_path],
    ):
        done = run_cli(*words)
        assert_plain(done, BAD_INPUT, f"{tmp_path / JOB_FILE}: table.length = 50: ", "50 in")
        assert len(done.stderr.splitlines()) == 1
        assert contents(tmp_path) == before


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ('[table]\nlength = "150 in"\nwidth = 64 in\n', "line 3, column 12"),
        ("[table\n", "line 1, column 7"),
        ('[table]\nlength = "150 in\nwidth = "64 in"\n', "line 2, column"),
        ('title = "a"\ntitle = "b"\n', "line 2, column"),
        ('[table]\nlength = "1 in"\n[table]\n', "line 3, column"),
        ("= 3\n", "line 1, column 1"),
        ('[table]\nlength = "150 in"\n[table', "line 3, column"),
        ("[numerals]\nsides = [", "line 2, column"),
        ('title = """\nno end', "line 2, column"),
    ],
)
def test_broken_toml_is_named_by_line_and_column(
    run_cli: RunCli, tmp_path: Path, text: str, place: str
) -> None:
    job_in(tmp_path, text)
    assert_refused(run_cli, tmp_path, BAD_INPUT, f"{tmp_path / JOB_FILE}: broken TOML", place)


@pytest.mark.parametrize(
    ("line", "advice"),
    [
        ("pitch = 1 in", 'straight quotes: "1 in"'),
        ("pitch = 1 1/2 in   # between lines", 'straight quotes: "1 1/2 in"'),
        ("pitch = \u201c1 in\u201d", 'type straight ones: pitch = "1 in"'),
        ("pitch = \u20181 in\u2019", "type straight ones: pitch = '1 in'"),
        ('pitch = "1 in', "a quote is missing"),
        ('pitch = 12"', 'pitch = "12\\""'),
        ('pitch = "5\' 4""', 'pitch = "5\' 4\\""'),
        ("long_lines = full", 'long_lines = "full"'),
    ],
)
def test_a_slip_of_the_quotes_is_shown_with_how_to_write_it(
    run_cli: RunCli, tmp_path: Path, line: str, advice: str
) -> None:
    job_in(tmp_path, f"{TABLE}[grid]\n{line}\n")
    assert_refused(run_cli, tmp_path, BAD_INPUT, "broken TOML at line 5, column", line, advice)
    mended = advice.partition(": ")[2]
    if "pitch =" in mended or "long_lines =" in mended:
        job_in(tmp_path, f"{TABLE}[grid]\n{mended}\n")
        assert run_cli("layout", "--job", tmp_path).returncode != BAD_INPUT, mended


def test_the_file_given_for_its_folder_is_told_apart(run_cli: RunCli, tmp_path: Path) -> None:
    job_in(tmp_path, TABLE)
    done = run_cli("layout", "--job", tmp_path / JOB_FILE)
    assert_plain(done, BAD_INPUT, f'--job takes the folder of a job: --job "{tmp_path}"')
    assert "canvasrule start" not in done.stderr


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (TABLE.encode("utf-16"), "UTF-8"),
        (TABLE.encode("utf-16-le"), "line 1"),
        (b'title = "Tisch f\xfcr Stoff"\n' + TABLE.encode(), "1: not UTF-8"),
        (b"\x00" * 100, "line 1, column 1"),
        (b"#" * 2_000_000, "bytes"),
        (b"a = " + b"[" * 5000 + b"]" * 5000, "nested"),
        (b"a = " + b"{b = " * 5000 + b"1" + b"}" * 5000, "nested"),
        (b"schema = " + b"9" * 5000, ""),
        (b"", "table: missing"),
        (b"schema = 2\n" + TABLE.encode(), "schema = 2"),
        (b'schema = "1"\n' + TABLE.encode(), "schema"),
    ],
)
def test_a_file_that_is_no_job_is_refused(
    run_cli: RunCli, tmp_path: Path, data: bytes, said: str
) -> None:
    job_in(tmp_path, data)
    assert_refused(run_cli, tmp_path, BAD_INPUT, f"{tmp_path / JOB_FILE}", said)


@pytest.mark.parametrize(
    ("text", "key", "near"),
    [
        (f"gird = {{}}\n{TABLE}", "gird", "grid"),
        (f'{TABLE}[grid]\npich = "1 in"\n', "grid.pich", "pitch"),
        (f'{TABLE}lenght = "50 in"\n', "table.lenght", "length"),
        (f'{TABLE}[numerals]\nsize = "1 in"\n', "numerals.size", "sides"),
        (f"{TABLE}[pens]\nheavy = {{ passses = 2 }}\n", "pens.heavy.passses", "passes"),
        (f"{TABLE}[plotter]\norign = 'centre'\n", "plotter.orign", "origin"),
        (f'{TABLE}{SURVEY}diagonal = "1 in"\n', "table.survey.diagonal", "diagonal_from_zero"),
    ],
)
def test_an_unknown_key_is_named_with_the_nearest_known_one(
    run_cli: RunCli, tmp_path: Path, text: str, key: str, near: str
) -> None:
    job_in(tmp_path, text)
    assert_refused(run_cli, tmp_path, BAD_INPUT, f"{tmp_path / JOB_FILE}: {key}: unknown key", near)


KEYS = ["grid.pitch", "numerals.clear", "hems.depth", "reach.span", "pens.lines.width"]


def with_every_length(value: str) -> str:
    """A job in which every one of `KEYS`, and the table's length, is `value`."""
    rows = [f"[{key.rpartition('.')[0]}]\n{key.rpartition('.')[2]} = {value}\n" for key in KEYS]
    return f"[table]\nlength = {value}\nwidth = '30 in'\n{''.join(rows)}"


@pytest.mark.parametrize("written", ["5", "-5", "0", "0.0", "nan", "inf", "-inf", "true", "[]"])
def test_a_length_that_is_no_text_is_named_with_how_to_write_it(
    run_cli: RunCli, tmp_path: Path, written: str
) -> None:
    job_in(tmp_path, with_every_length(written))
    done = run_cli("layout", "--job", tmp_path)
    named = [f"{tmp_path / JOB_FILE}: {key} = " for key in ("table.length", *KEYS)]
    assert_plain(done, BAD_INPUT, *named)
    assert len(done.stderr.splitlines()) == len(named)
    assert all(" in" in line for line in done.stderr.splitlines())
    for impossible in ("nan in", "inf in", "-5 in", "-inf in"):
        assert f'write "{impossible}"' not in done.stderr, "advice that would not do"


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("-1 in", "negative"),
        ("0 in", "more than zero"),
        ("0.0 mm", "more than zero"),
        ("nan in", "not a length"),
        ("inf mm", "not a length"),
        ("1", "no unit"),
        ("", "not a length"),
        ("1 parsec", "unit 'parsec' is not known"),
        ("1/0 in", "0 below the line"),
        ("9" * 400 + " in", "100 m"),
    ],
)
def test_an_impossible_length_is_named_with_what_is_wrong(
    run_cli: RunCli, tmp_path: Path, written: str, said: str
) -> None:
    job_in(tmp_path, with_every_length(f'"{written}"'))
    done = run_cli("layout", "--job", tmp_path)
    may_be_zero = {"numerals.clear", "hems.depth"} if written.startswith("0") else set()
    for key in {"table.length", *KEYS} - may_be_zero:
        assert_plain(done, BAD_INPUT, f'{tmp_path / JOB_FILE}: {key} = "{written[:60]}', said)
    assert len(done.stderr.splitlines()) == len(KEYS) + 1 - len(may_be_zero)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('table = "bench-64x150"\n', "table"),
        (f'plotter = "flatbed-a3"\n{TABLE}', "plotter"),
        (f'{TABLE}[pens]\nlines = "fabric-fine"\n', "pens.lines"),
        (f"grid = [1]\n{TABLE}", "grid"),
        (f'{TABLE}[hems]\nfolds = "double 4 in"\n', "hems.folds"),
        (f"{TABLE}[grid]\nbias = 3\n", "grid.bias"),
        (f"{TABLE}[grid]\nbias = [-1]\n", "grid.bias[0]"),
        (f"{TABLE}[grid]\nheavy_every = 12.5\n", "grid.heavy_every"),
        (f"{TABLE}[grid]\nheavy_every = true\n", "grid.heavy_every"),
        (f"{TABLE}[grid]\nheavy_every = {'9' * 30}\n", "grid.heavy_every"),
        (f'{TABLE}[grid]\nhalf_ticks = "yes"\n', "grid.half_ticks"),
        (f"{TABLE}[numerals]\nevery = 0\n", "numerals.every"),
        (f"{TABLE}[numerals]\nheight = []\n", "numerals.height"),
        (f'{TABLE}[numerals]\nsides = ["near", "near"]\n', "numerals.sides"),
        (f'{TABLE}[numerals]\nsides = ["left"]\n', "numerals.sides[0]"),
        (f'{TABLE}[numerals]\nface = "../x"\n', "numerals.face"),
        (f'{TABLE}[numerals]\nface = "gothic"\n', "numerals.face"),
        (f'{TABLE}[cloth]\nstretch_length = "90 %"\n', "cloth.stretch_length"),
        (f"{TABLE}[cloth]\nstretch_length = 0.01\n", "cloth.stretch_length"),
        (f"title = 3\n{TABLE}", "title"),
        ("[table]\nlength = 1979-05-27\nwidth = '1 m'\n", "table.length"),
        (f'{TABLE}[hems]\nfolds = ["triple 1 in"]\n', "hems.folds[0]"),
        (f'{TABLE}[table.survey]\nnear = "50 in"\n', "table.survey.far"),
    ],
)
def test_a_value_of_the_wrong_kind_is_named_in_a_persons_words(
    run_cli: RunCli, tmp_path: Path, text: str, key: str
) -> None:
    job_in(tmp_path, text)
    done = run_cli("layout", "--job", tmp_path)
    assert_plain(done, BAD_INPUT, key)
    assert ": :" not in done.stderr
    for word in ("dictionary", "instance of", "tuple", "datetime", "JSON"):
        assert word not in done.stderr, done.stderr


def test_several_faults_are_all_named_at_once(run_cli: RunCli, tmp_path: Path) -> None:
    job_in(
        tmp_path,
        'units = "cm"\n[table]\nlength = 150\nwidth = "-1 in"\n[grid]\npich = "1 in"\n'
        'margin = "0 in"\n[pens]\nlines = { slot = 0 }\n[plotter]\nunit = "0 mm"\n',
    )
    done = run_cli("layout", "--job", tmp_path)
    keys = ("units", "table.length", "table.width", "grid.pich", "grid.margin", "pens.lines.slot")
    assert_plain(done, BAD_INPUT, *keys, "plotter.unit")
    assert len(done.stderr.splitlines()) == 7


def test_a_missing_profile_hides_no_other_fault(run_cli: RunCli, tmp_path: Path) -> None:
    job_in(
        tmp_path,
        '[table]\nlength = "50 in"\nwidth = "30 in"\n[grid]\npitch = "0 in"\n'
        '[plotter]\nprofile = "flatbed-a5"\n[projector]\nprofile = "celing-1080p"\n',
    )
    done = run_cli("layout", "--job", tmp_path)
    assert_plain(done, BAD_INPUT, "grid.pitch", "plotter.profile", "projector.profile")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f'{TABLE}[grid]\nmargin = "15 in"\n', ["grid.margin", "15 in", "30 in wide", "at most"]),
        (f'{TABLE}[hems]\ndepth = "20 in"\n', ["hems.depth", "20 in", "at most"]),
        (
            f'{TABLE}[grid]\nend_margin = "26 in"\n',
            ["grid.end_margin", "50 in long", "26 in"],
        ),
        ('[table]\nlength = "1 in"\nwidth = "30 in"\n', ["1 in long", "no room"]),
        (f'{TABLE}[grid]\npitch = "60 in"\n', ["60 in", "grid.pitch"]),
        (
            '[table]\nlength = "40 m"\nwidth = "30 in"\n[grid]\npitch = "2 mm"\n',
            ["grid.pitch", "cross lines", "10000"],
        ),
        (f"{TABLE}[grid]\nbias = [48]\n", ["grid.bias", "48", "0 to 47"]),
        (f'{TABLE}[numerals]\nheight = "1 in"\n', ["numerals.height", "1 in", "largest that fits"]),
        (f'{TABLE}[numerals]\nclear = "1 in"\n', ["numerals", "none fit"]),
        (f'{TABLE}[grid]\nmargin = "1/16 in"\n', ["margin"]),
        (
            f'{TABLE}[pens]\nlines = {{ width = "60 mm" }}\n[numerals]\nsides = []\n',
            ["pens.lines", "60 mm"],
        ),
        (
            f'{TABLE}[grid]\npitch = "0.9 mm"\nheavy_every = 0\n[numerals]\nsides = []\n',
            ["grid.pitch", "0.9 mm", "pens.lines"],
        ),
    ],
)
def test_a_marking_that_does_not_fit_is_refused_with_what_would_do(
    run_cli: RunCli, tmp_path: Path, text: str, said: list[str]
) -> None:
    job_in(tmp_path, text)
    assert_refused(run_cli, tmp_path, REFUSED, *said)


@pytest.mark.parametrize(
    ("plotter", "said"),
    [
        ('x_size = "24 mm"', ["24 mm", "along the table", "see marks before its own"]),
        ('y_size = "24 mm"', ["24 mm", "across the table", "see marks before its own"]),
        ('x_size = "1 mm"\ny_size = "1 mm"', ["1 mm"]),
        ('set_down = "200 mm"', ["200 mm"]),
        ("coordinate_limit = 1000", ["25 mm"]),
    ],
)
def test_a_bed_too_small_for_a_pitch_and_its_marks_is_refused(
    run_cli: RunCli, tmp_path: Path, plotter: str, said: list[str]
) -> None:
    job_in(tmp_path, f'units = "mm"\n{TABLE}[plotter]\n{plotter}\n')
    before = contents(tmp_path)
    for words in (["section"], ["write", "--hpgl"]):
        assert_plain(run_cli(*words, "--job", tmp_path), REFUSED, *said)
        assert contents(tmp_path) == before


def test_numerals_that_all_but_touch_let_a_join_pass(run_cli: RunCli, tmp_path: Path) -> None:
    """250, 500 and 750 are equally wide, and as tall as fits at all; no section holds two."""
    job_in(
        tmp_path,
        '[table]\nlength = "9 in"\nwidth = "30 in"\n'
        '[grid]\npitch = "2 in"\nmargin = "4 in"\nend_margin = "1 1/2 in"\n'
        '[hems]\ndepth = "8 in"\nfolds = []\n'
        '[numerals]\nclear = "0 mm"\nper_line = 250\nheight = "20.24 mm"\n'
        '[plotter]\nx_size = "90 mm"\n',
    )
    done = run_cli("section", "--job", tmp_path)
    assert done.returncode == 0, done.stderr


def test_a_join_passes_between_numerals_that_hardly_stand_apart(
    run_cli: RunCli, tmp_path: Path
) -> None:
    job_in(tmp_path, f'{TABLE}[numerals]\nclear = "0.6 mm"\n')
    done = run_cli("section", "--job", tmp_path)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("pen", "said"),
    [("slot = 9", ["slot = 9", "A3 flat bed", "8 pen"]), ("force = 50", ["force = 50", "1 to 8"])],
)
def test_a_pen_the_plotter_lacks_is_refused_before_the_first_byte(
    run_cli: RunCli, tmp_path: Path, pen: str, said: list[str]
) -> None:
    pens = "".join(
        f"{name} = {{ {pen} }}\n" for name in ("lines", "heavy", "numerals", "removable")
    )
    job_in(tmp_path, f"{TABLE}[pens]\n{pens}")
    before = contents(tmp_path)
    assert_plain(run_cli("write", "--job", tmp_path), REFUSED, "pens.", *said)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("length", ["10000 m", "32809 ft", "393701 in", "1000000 cm"])
def test_a_ten_kilometre_table_is_refused_with_the_limit_and_why(
    run_cli: RunCli, tmp_path: Path, length: str
) -> None:
    job_in(tmp_path, TABLE.replace("50 in", length))
    assert_refused(run_cli, tmp_path, BAD_INPUT, "table.length", length, "any tape", "100 m")


def test_a_triangle_that_cannot_close_is_refused_by_its_sides(
    run_cli: RunCli, tmp_path: Path
) -> None:
    job_in(tmp_path, TABLE + SURVEY.replace("58 5/16", "85 5/16", 1))
    assert_refused(
        run_cli, tmp_path, BAD_INPUT, "table.survey", "diagonal_from_zero_near", "no triangle"
    )


def test_six_equal_lengths_are_no_table_top(run_cli: RunCli, tmp_path: Path) -> None:
    alike = "".join(f'{line.split(" = ")[0]} = "50 in"\n' for line in SURVEY.splitlines()[1:])
    job_in(tmp_path, f"{TABLE}[table.survey]\n{alike}")
    done = run_cli("layout", "--job", tmp_path)
    assert "Traceback" not in done.stderr
    assert done.returncode in (REFUSED, BAD_INPUT)
    assert done.stderr.startswith("canvasrule: table.survey")
    assert "nan" not in done.stderr


@pytest.mark.parametrize(
    ("key", "was", "now"),
    [
        ("far", 'far = "50 in"', 'far = "49 in"'),
        ("zero_end", 'zero_end = "30 in"', 'zero_end = "31 in"'),
        (
            "diagonal_from_zero_far",
            'diagonal_from_zero_far = "58 5/16 in"',
            'diagonal_from_zero_far = "57 5/16 in"',
        ),
    ],
)
def test_a_survey_with_a_blunder_names_the_measurement_to_take_again(
    run_cli: RunCli, tmp_path: Path, key: str, was: str, now: str
) -> None:
    job_in(tmp_path, TABLE + SURVEY.replace(was, now))
    assert_refused(run_cli, tmp_path, REFUSED, "table.survey", f"Measure {key} again")


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["frobnicate"],
        ["layout", "--jbo", "x"],
        ["layout", "--job"],
        ["section", "--for", "moon"],
        ["write", "--for", "reach", "--hpgl"],
        ["layout", "--picture", "x.gif"],
        ["layout", "--job", "nowhere"],
        ["write", "--job", JOB_FILE],
    ],
)
def test_wrong_usage_is_exit_code_two(run_cli: RunCli, tmp_path: Path, words: list[str]) -> None:
    job_in(tmp_path, TABLE)
    before = contents(tmp_path)
    done = run_cli(*words, cwd=tmp_path)
    assert "Traceback" not in done.stderr
    assert (done.returncode, done.stdout) == (BAD_INPUT, "")
    assert "canvasrule" in done.stderr
    assert contents(tmp_path) == before
