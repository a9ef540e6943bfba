"""Every field of the bench page, filled in wrongly in every way, beside what a terminal says."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from devices.begun import layout_of
from devices.bench.fields.field import GROUPS, fields
from devices.bench.fields.typed_so import as_typed
from devices.bench.fields.way_and_ready import BY_HAND
from devices.commands.shared import read_job
from marking.errors import BadInputError, CanvasruleError
from tests.bench.benches import kept, small_job, unwatched
from tests.bench.fields.every_key import SIX, WRONG, keys, same_words, typed
from tests.conftest import toml

if TYPE_CHECKING:
    from devices.bench.fields.field import Field
    from devices.bench.open_job import OpenJob

PAGE = Path(__file__).resolve().parents[3] / "devices" / "bench" / "pages" / "bench.html"
SURVEYED = """
[table.survey]
near = "26 in"
far = "26 in"
zero_end = "17 in"
far_end = "17 in"
diagonal_from_zero_near = "31 1/16 in"
diagonal_from_zero_far = "31 1/16 in"
[fence]
length = "4 ft"
"""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> OpenJob:
    """A small job with every table in it; nothing that the tests here do changes it."""
    return unwatched(small_job(tmp_path_factory.mktemp("fields") / "a", SURVEYED))


def in_a_terminal(folder: Path, tables: dict[str, Any]) -> list[str]:
    """What `canvasrule layout` says is wrong with such a job.toml; nothing where it lays it out."""
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_text(toml(tables), "utf-8")
    try:
        layout_of(folder, read_job(folder))
    except CanvasruleError as fault:
        return [one.removeprefix(f"{folder / 'job.toml'}: ") for one in fault.messages]
    return []


def changed(tables: dict[str, Any], keys: tuple[str, ...], value: Any) -> dict[str, Any]:
    """The tables of a job.toml with one value put in, or taken away."""
    first, *rest = keys
    if rest:
        return {**tables, first: changed(tables.get(first, {}), tuple(rest), value)}
    return {key: one for key, one in {**tables, first: value}.items() if one is not None}


def test_every_key_of_job_toml_is_a_field_of_the_page_or_left_out_for_a_reason() -> None:
    known = set(keys())
    by_profile = {name for name in fields() if name.endswith(".profile")}
    shown = set(fields()) - by_profile
    for one in fields().values():
        if one.columns:
            shown = shown - {one.name} | {column.name for column in one.columns}
    assert shown == known - set(BY_HAND)
    assert set(BY_HAND) < known
    assert all(BY_HAND.values())
    labels = [one.label for one in fields().values()]
    assert len(set(labels)) == len(labels)


def test_every_group_of_fields_has_its_place_on_the_page() -> None:
    text = PAGE.read_text("utf-8")
    assert sorted(re.findall(r'data-group="([a-z-]+)"', text)) == sorted(GROUPS)


def test_no_text_and_no_place_of_the_page_is_there_twice() -> None:
    page = PAGE.read_text("utf-8")
    texts = PAGE.with_name("texts.js").read_text("utf-8")
    for found in (re.findall(r' id="([^"]+)"', page), re.findall(r"\b(\w+): gettext\(", texts)):
        assert len(found) > 50
        assert sorted(set(found)) == sorted(found)


@pytest.mark.parametrize("group", GROUPS)
def test_a_field_filled_in_wrongly_says_what_a_terminal_says_of_such_a_job(
    job: OpenJob, group: str, tmp_path: Path
) -> None:
    """Of each wrong value: the same words, at its field, nothing written, the picture as it was."""
    before = kept(job.folder)
    otherwise = []
    for one in fields().values():
        if one.group != group:
            continue
        refused = None
        for text in WRONG[one.kind]:
            value = typed(one, text)
            found = json.loads(job.tried(one.name, value))
            if not as_a_terminal_says(job, one, value, found, tmp_path):
                otherwise.append((one.name, text, found["fate"], found["faults"]))
            refused = (value, found) if found["fate"] == "refused" else refused
        if refused is not None:
            value, found = refused
            with pytest.raises(BadInputError) as why:
                job.act({"do": "set", "name": one.name, "value": value})
            assert "\n".join(why.value.messages) == found["refused"]
    assert otherwise == []
    assert kept(job.folder) == before
    assert job.drawn == 1


def as_a_terminal_says(
    job: OpenJob, one: Field, value: Any, found: dict[str, Any], folder: Path
) -> bool:
    """Whether the page takes a value where a terminal does, and else says what that says."""
    # Without its length there is no rail.
    keys = one.keys[:-1] if one.name == "fence.length" and value is None else one.keys
    said = in_a_terminal(folder, changed(tomllib.loads(kept(job.folder)), keys, value))
    if not said:
        return found["fate"] == "kept" and found["faults"] == {}
    told = [(at, line) for at, words in found["faults"].items() for line in words.split("\n")]
    return (
        found["fate"] == "refused"
        and len(told) == len(said)
        and all(any(same_words(line, at, words) for words in said) for at, line in told)
    )


CONTRADICTIONS: list[tuple[str, Any, str]] = [
    ("grid.end_margin", "20 in", "grid.pitch"),
    ("table.length", "100 in", "table.survey.near"),
    ("pens.lines.width", "1 in", "grid.pitch"),
    ("pens.heavy.width", "30 mm", "grid.pitch"),
    ("numerals.clear", "5 in", "numerals.every"),
    ("table.edge_radius", "8 in", "grid.margin"),
    ("plotter.dialect", "gcode", "plotter.handshake"),
    ("plotter.foot", "300 mm", "plotter.beyond_x"),
    ("plotter.pen_up", "S4", "plotter.pen_up"),
    ("plotter.speeds", [38, 1], "plotter.speeds"),
    ("plotter.cloth_width", "36 in", "plotter.cloth_width"),
    ("numerals.height", "3 in", "numerals.height"),
    ("numerals.second_zero", "50 in", "numerals.second_zero"),
    ("grid.lines", [{"at": "90 in"}], "grid.lines"),
    ("grid.bias", [500], "grid.bias"),
    ("ways.way", "no-such-way", "ways.way"),
    ("table.survey.near", "27 in", "table.survey.near"),
    ("table.survey.zero_end", "60 in", "table.survey.zero_end"),
]


@pytest.mark.parametrize(("name", "value", "at"), CONTRADICTIONS)
def test_what_contradicts_another_field_is_said_there_in_a_terminals_words_and_not_kept(
    job: OpenJob, name: str, value: Any, at: str, tmp_path: Path
) -> None:
    before = kept(job.folder)
    found = json.loads(job.tried(name, value))
    assert as_a_terminal_says(job, fields()[name], value, found, tmp_path)
    assert list(found["faults"]) == [at]
    with pytest.raises(BadInputError, match=re.escape(f"{fields()[at].label}: ")):
        job.act({"do": "set", "name": name, "value": value})
    assert kept(job.folder) == before
    assert job.drawn == 1


def test_a_slip_among_the_six_is_said_where_it_was_typed_and_all_wait_for_it(
    tmp_path: Path,
) -> None:
    job = unwatched(small_job(tmp_path / "a"))
    six = {**SIX, "near": "27 in"}
    before = kept(job.folder)
    for side, length in six.items():
        job.act({"do": "set", "name": f"table.survey.{side}", "value": length})
    assert kept(job.folder) == before
    told = job.told()
    assert {"step": "measure", "says": "They do not agree", "left": True} in told["steps"]
    assert "26 in would close the figure" in told["values"]["table.survey.near"]["fault"]
    job.act({"do": "set", "name": "table.survey.near", "value": "26 in"})
    assert tomllib.loads(kept(job.folder))["table"]["survey"] == {**six, "near": "26 in"}
    assert job.waiting == {}


def test_measurements_of_another_table_wait_until_its_size_is_mended(tmp_path: Path) -> None:
    job = unwatched(small_job(tmp_path / "a"))
    for side in ("near", "far"):
        job.act({"do": "set", "name": f"table.survey.{side}", "value": "36 in"})
    for end in ("zero_end", "far_end"):
        job.act({"do": "set", "name": f"table.survey.{end}", "value": "17 in"})
    for end in ("near", "far"):
        name = f"table.survey.diagonal_from_zero_{end}"
        job.act({"do": "set", "name": name, "value": "39 13/16 in"})
    assert "survey" not in kept(job.folder)
    assert "“Length” says 26 in" in job.told()["values"]["table.survey.near"]["fault"]
    job.act({"do": "set", "name": "table.length", "value": "36 in"})
    assert tomllib.loads(kept(job.folder))["table"]["survey"]["near"] == "36 in"


def test_a_rail_waits_for_its_length_and_goes_with_it(tmp_path: Path) -> None:
    job = unwatched(small_job(tmp_path / "a"))
    before = kept(job.folder)
    job.act({"do": "set", "name": "fence.straight", "value": "0.5 mm"})
    assert kept(job.folder) == before
    assert job.told()["values"]["fence.straight"]["written"] == "0.5 mm"
    job.act({"do": "set", "name": "fence.length", "value": "8 ft"})
    assert tomllib.loads(kept(job.folder))["fence"] == {"length": "8 ft", "straight": "0.5 mm"}
    job.act({"do": "set", "name": "fence.length", "value": None})
    assert "fence" not in tomllib.loads(kept(job.folder))


def test_marks_of_a_square_wait_for_one_another(tmp_path: Path) -> None:
    job = unwatched(small_job(tmp_path / "a", SURVEYED))
    lengths = {"along": "4 in", "across": "3 in", "between": "5 in"}
    for one, length in lengths.items():
        assert "square" not in kept(job.folder)
        job.act({"do": "set", "name": f"table.survey.square_{one}", "value": length})
    survey = tomllib.loads(kept(job.folder))["table"]["survey"]
    assert {one: survey[f"square_{one}"] for one in lengths} == lengths
    job.act({"do": "set", "name": "table.survey.square_between", "value": None})
    assert "square" not in kept(job.folder)
    assert job.waiting == {
        f"table.survey.square_{one}": lengths[one] for one in ("along", "across")
    }


def test_rows_of_a_field_are_written_as_rows_beside_its_comments(tmp_path: Path) -> None:
    text = "[grid]\nlines = []   # by hand\nheavy_every = 6\n"
    job = unwatched(small_job(tmp_path / "a", text))
    rows = [{"at": "5 in", "side": "far"}, {"at": "7 in", "name": "A"}]
    job.act({"do": "set", "name": "grid.lines", "value": rows})
    assert tomllib.loads(kept(job.folder))["grid"] == {"lines": rows, "heavy_every": 6}
    assert "# by hand" in kept(job.folder)
    wrong = json.loads(job.tried("grid.lines", [*rows, {"side": "near"}]))
    assert wrong["faults"]["grid.lines"].startswith("3: Distance: missing; ")
    job.act({"do": "set", "name": "grid.lines", "value": None})
    assert "lines" not in tomllib.loads(kept(job.folder))["grid"]


def test_a_pen_that_lasts_for_miles_is_shown_in_feet_as_a_person_writes_them() -> None:
    """A foot is 0.3048 m by the international yard and pound agreement of 1959; from memory."""
    assert as_typed(2_000_000.0, "run", "in") == "6560 ft"
    assert as_typed(300_000.0, "run", "in") == "984 ft"
    assert as_typed(100.0, "speed", "in") == "3.94 in/s"
