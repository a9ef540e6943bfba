"""What drive says before a set-down: two people, ink to let dry by the record's times, boards."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, cast

import pytest
from msgspec.structs import replace

from devices.job import Job
from devices.session.session import Workplace
from devices.setting_down.set_down_words import question, what_to_do
from marking.begun.on_the_cover import plan_hash
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.conftest import toml

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from devices.session.person import Person
    from marking.record.rows import InkEvent

NOBODY = cast("Person", None)
AT_SIDES = [["-40 mm", "136 mm"], ["440 mm", "136 mm"], ["200 mm", "-30 mm"]]
KEYS = {"profile": "flatbed-a3", "feet": AT_SIDES, "weight_kg": 40}


@pytest.fixture
def said(tmp_path: Path) -> Callable[..., list[str]]:
    """Inks r1c1 some seconds ago; what is then said before another section is set down for."""

    def say(name: str, ago: float | None, event: InkEvent = "done") -> list[str]:
        table = {"length": "84 in", "width": "40 in"}
        tables = {"table": table, "hems": {"depth": "4 in"}, "plotter": KEYS}
        (tmp_path / JOB_FILE).write_text(toml(tables), "utf-8")
        job = load_job(tmp_path, Job)
        layout = lay_out(job)
        plan = divide_into_sections(layout, job, job.plotter.zone)
        then = datetime.now(UTC) - timedelta(seconds=ago or 0.0)
        with open_record(tmp_path, clock=lambda: then) as record:
            if ago is not None:
                record.add_ink(layout, "r1c1", event, plan_hash(plan))
            place = Workplace(job, layout, plan, record, NOBODY)
            section = next(one for one in plan.sections if one.id == name)
            return list(what_to_do(section, place))

    return say


@pytest.mark.parametrize("event", ["begun", "done"])
def test_a_wait_is_told_for_ink_that_a_foot_comes_to_stand_on(
    said: Callable[..., list[str]], event: InkEvent
) -> None:
    waits = [line for line in said("r1c2", 30, event) if "wait" in line]
    assert len(waits) == 1
    assert waits[0].startswith("r1c2: wait ")
    assert "before you set the device down: a foot comes to stand on the ink of r1c1" in waits[0]
    assert any(told in waits[0] for told in ("wait 80 s", "wait 90 s", "wait 2 min"))


def test_no_wait_is_told_once_it_has_dried_nor_where_no_foot_stands(
    said: Callable[..., list[str]], tmp_path: Path
) -> None:
    assert not [line for line in said("r1c2", 121) if "wait" in line]


def test_ink_of_a_section_that_no_foot_touches_is_not_waited_for(
    said: Callable[..., list[str]],
) -> None:
    assert not [line for line in said("r1c3", 5) if "wait" in line]


def test_a_clock_that_was_set_back_makes_ink_wet(said: Callable[..., list[str]]) -> None:
    waits = [line for line in said("r1c2", -3600) if "wait" in line]
    assert "wait 2 min" in waits[0]


def test_two_people_and_boards_come_before_the_place_and_two_people_once(
    said: Callable[..., list[str]],
) -> None:
    first = said("r1c1", None)
    assert "40 kg: two people set it down" in first[0]
    assert "local rules come first" in first[0]
    boards = [line for line in first if "put a board of the table's height under it" in line]
    assert len(boards) == 2, "one foot beyond the near edge, one beyond the zero end"
    assert "set the device down with its X towards the far end" in first[-1]
    assert not [line for line in said("r1c2", None) if "two people" in line]


def test_a_bed_of_its_own_has_the_canvas_drawn_and_nothing_set_down(tmp_path: Path) -> None:
    tables = {
        "table": {"length": "72 in", "width": "10 1/2 in"},
        "hems": {"depth": "2 in", "folds": []},
        "plotter": {"profile": "desk-a3"},
    }
    (tmp_path / JOB_FILE).write_text(toml(tables), "utf-8")
    job = load_job(tmp_path, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    assert plan.zone.own_bed
    assert len(plan.sections) > 1
    with open_record(tmp_path) as record:
        place = Workplace(job, layout, plan, record, NOBODY)
        (told,) = what_to_do(plan.sections[1], place)
        assert told.startswith("r1c2: draw the loose canvas over the bed")
        assert question(plan.sections[1], place) == "Is the canvas drawn up for r1c2?"
        roll = replace(place, plan=replace(plan, zone=replace(plan.zone, own_bed=False)))
        assert "feed the loose canvas" in next(what_to_do(plan.sections[1], roll))
