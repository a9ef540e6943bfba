"""Readings as a person writes them down, and what is said of those that cannot be used."""

from __future__ import annotations

import pytest

from devices.commands import main
from marking.errors import BadInputError
from marking.record.readings import READING_SD, read_readings

TOML = """\
schema = 1
section = "r1c2"

[[reading]]
mark = "w01"
x = "12.5 mm"
y = "1/2 in"

[[reading]]
section = "r1c3"
mark = "w02"
x = "-4 1/4 in"
y = "0 mm"
sd = "0.4 mm"
"""


@pytest.fixture
def file(tmp_path):
    def write(name, text, encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return write


def test_toml_readings_carry_their_units_and_their_own_sd(file):
    first, second = read_readings(file("r.toml", TOML))
    assert (first.section, first.mark, first.at_bed) == ("r1c2", "w01", (12.5, 12.7))
    assert first.sd == READING_SD
    assert (second.section, second.at_bed, second.sd) == ("r1c3", (-107.95, 0.0), 0.4)
    assert first.where.endswith("r.toml:4")


@pytest.mark.parametrize(
    "text",
    [
        'section,mark,x,y,sd\nr1c2,w01,12.5 mm,"1/2 in",\nr1c3,w02,-4 1/4 in,0 mm,0.4 mm\n',
        "section,mark,x_mm,y_in,sd_mm\r\nr1c2,w01,12.5,0.5,\r\nr1c3,w02,-107.95,0,0.4\r\n",
        "section;mark;x_mm;y_mm;sd_mm\nr1c2;w01;12.5;12.7;\n# a note\n\nr1c3;w02;-107.95;0;.4\n",
    ],
)
def test_one_table_of_readings_may_be_written_in_many_ways(file, text):
    first, second = read_readings(file("r.csv", "\ufeff" + text))
    assert first.at_bed == pytest.approx((12.5, 12.7))
    assert second.at_bed == pytest.approx((-107.95, 0.0))
    assert (first.sd, second.sd) == (READING_SD, 0.4)


def test_the_section_may_be_given_with_the_file(file):
    rows = read_readings(file("r.csv", "mark,x_mm,y_mm\nw01,1,2\n"), section="r2c2", sd=0.3)
    assert [(row.section, row.sd) for row in rows] == [("r2c2", 0.3)]


def test_a_mark_read_twice_is_two_readings(file):
    text = "section,mark,x_mm,y_mm\nr1c2,w01,1,2\nr1c2,w01,1.1,2\n"
    assert len(read_readings(file("r.csv", text))) == 2


def test_the_help_says_where_a_second_reading_of_a_mark_is_written(capsys):
    with pytest.raises(SystemExit):
        main(["place", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert "A mark that is read a second time stands on a line of its own, below the first." in said


def test_every_fault_is_named_at_once_with_its_line_and_what_would_do(file):
    text = "section,mark,x,y,sd\nr1,w1,12.5,3 mm,\nr1,,1 mm,nan mm,\nr1,w3,1 mm,2 mm,9 cubits\n"
    with pytest.raises(BadInputError) as said:
        read_readings(file("r.csv", text))
    messages = said.value.messages
    assert [m.split("r.csv:")[1].split(":")[0] for m in messages] == ["2", "3", "3", "4"]
    assert 'no unit; write "12.5 in"' in messages[0]
    assert "mark: missing" in messages[1]
    assert "not a length" in messages[2]
    assert "'cubits' is not known" in messages[3]


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("r.csv", "section,mark,x_mm,y_mm\nr1,w1,inf,2\n", r"r\.csv:2: x = 'inf'.*finite"),
        ("r.csv", "section,mark,x_mm,y_mm\nr1,w1,nan,2\n", "finite"),
        ("r.csv", "section,mark,x_mm,y_mm\nr1,w1,twelve,2\n", "not a number"),
        ("r.csv", "section,mark,x_mm\nr1,w1,1\n", r"r\.csv:1: column 'y' missing"),
        ("r.csv", "section,mark,x_mm,y_mm,z\n", r"column 'z' not known"),
        ("r.csv", "section,mark,x_mm,y_mm,x_in\n", r"column 'x' given twice"),
        ("r.csv", "section,mark,x,y\nr1,w1,1 mm\n", "3 cells where the header has 4"),
        ("r.csv", "section,mark,x,y\n", "no reading in it"),
        ("r.csv", "", "no reading in it"),
        ("r.txt", "x", r"not a \.toml or a \.csv"),
        ("r.toml", "[[reading]]\nmark=", "broken TOML"),
        ("r.toml", '[[reading]]\nsection="a"\nmark="b"\nx=12\ny="1 mm"\n', 'write "12 in"'),
        ("r.toml", '[[reading]]\nsection="a"\nmark="b"\nx=inf\ny="1 mm"\n', "finite"),
        ("r.toml", '[[reading]]\nsection="a"\nmark="b"\nx="1 mm"\n', r"r\.toml:1: y: missing"),
        ("r.toml", '[[readings]]\nmark="b"\n', "readings: unknown key"),
        ("r.toml", "schema = 2\n", "reads schema 1"),
        (
            "r.toml",
            '[[reading]]\nsection="a"\nmark="b"\nx="1 mm"\ny="1 mm"\nsd="0 mm"\n',
            "more than 0 and at most 5 mm",
        ),
    ],
)
def test_what_cannot_be_used_is_refused_by_name(file, name, text, said):
    with pytest.raises(BadInputError, match=said):
        read_readings(file(name, text))


def test_a_file_in_another_encoding_names_the_line(file):
    path = file("r.csv", "section,mark,x_mm,y_mm\nr1,wé,1,2\n", "latin-1")
    with pytest.raises(BadInputError, match=r"r\.csv:2: not UTF-8"):
        read_readings(path)


def test_a_missing_file_is_said_to_be_missing(tmp_path):
    with pytest.raises(BadInputError, match="cannot be read"):
        read_readings(tmp_path / "none.csv")
