"""Hours and minutes: told where they are known, and nowhere else.

A person's own times are not known yet; setting out and reading tape marks is reckoned with
estimates of our own (a minute to set a mark, a quarter of one to read it), which are named.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

from marking.output.layout_json import plan_record
from marking.output.report import markdown, record
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone
from marking.tape_marks.time_to_set_out import SettingOut
from tests.job.command_cases import TABLE, job_in
from tests.output.printed import text_of

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from tests.conftest import RunCli

A_MACHINES = re.compile(r"holder|minutes \||\d h of drawing")


@pytest.fixture(params=["reach", "beam"])
def by_hand(request: pytest.FixtureRequest, millrace: Job, millrace_layout: Layout) -> Plan:
    from devices.projector.light.throw import beam_zone

    zone = reach_zone(millrace.reach)
    if request.param == "beam":
        zone = beam_zone(millrace.reach, millrace.projector)
    return divide_into_sections(millrace_layout, millrace, zone)


def test_a_hand_is_told_no_machines_minutes(
    millrace: Job, millrace_layout: Layout, by_hand: Plan
) -> None:
    report = markdown(millrace_layout, millrace, by_hand)
    assert A_MACHINES.search(report) is None
    assert "no times for it are known yet" in report
    told = record(millrace_layout, millrace, by_hand)
    cut = plan_record(by_hand)
    # Programs find the keys that they know, with nothing in them.
    assert told["seconds"] is None
    assert {section["seconds"] for section in told["sections"]} == {None}
    assert {section["seconds"] for section in cut["sections"]} == {None}
    json.dumps([told, cut], allow_nan=False)


def test_a_plotter_is_told_its_own_minutes(
    millrace: Job, millrace_layout: Layout, millrace_plan: Plan
) -> None:
    report = markdown(millrace_layout, millrace, millrace_plan)
    assert set(A_MACHINES.findall(report)) >= {"holder", "minutes |"}
    told = record(millrace_layout, millrace, millrace_plan)
    assert told["seconds"] == pytest.approx(sum(s["seconds"] for s in told["sections"]))
    hours = re.search(r"About ([\d.]+) h of drawing", report)
    assert hours is not None
    assert float(hours[1]) == pytest.approx(told["seconds"] / 3600, abs=0.05)


def test_setting_out_and_reading_is_told_where_all_holds_and_on_every_paper(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = job_in(tmp_path / "bench", TABLE)
    words = ("--job", folder, "--spacing", "3 in", "--seam-rows", "1", "--read-twice")
    done = run_cli("control", "--json", *words)
    answer = json.loads(done.stdout)
    assert answer["forecast"]["holds"], "the hours have to be told where nothing failed too"
    assert done.returncode == 0
    marks = len(answer["marks"])
    said = run_cli("control", *words).stdout
    found = re.search(r"About ([\d.]+) h to set out (\d+) tape marks and take (\d+) read", said)
    assert found is not None, said
    hours, set_out, readings = float(found[1]), int(found[2]), int(found[3])
    assert (set_out, readings) == (marks, answer["forecast"]["readings"])
    places = np.array([mark["at"] for mark in answer["marks"]])
    ends = np.stack([places.min(axis=0), places.max(axis=0)])
    on_edges = int((np.abs(places[:, None] - ends) < 1e-6).any(axis=(1, 2)).sum())
    # The unit times that a job begins with: 8 s along an edge, 80 s out on the cover, 30 s a
    # reading (our own assumptions).
    seconds = 8 * on_edges + 80 * (marks - on_edges) + 30 * readings
    assert hours == pytest.approx(seconds / 3600, abs=0.05)
    # From then on the list of sections and the report tell it too, each mark read once.
    once = rf"to set out {marks} tape marks and take {readings // 2} readings"
    assert run_cli("write", "--report", "--job", folder).returncode == 0
    report = (folder / "out" / "report.md").read_text("utf-8")
    assert re.search(once, report)
    assert re.search(once, run_cli("section", "--job", folder).stdout)
    # No pen is brought onto marks by hand.
    by_hand = run_cli("section", "--for", "reach", "--job", folder).stdout
    assert f"h to set out {marks} tape marks (our estimate" in by_hand


def test_the_sheet_to_carry_tells_the_hours(tmp_path: Path) -> None:
    from devices.commands import main

    folder = job_in(tmp_path, TABLE)
    main(["control", "--job", str(folder), "--spacing", "6 in"])
    printed = text_of((folder / "out" / "control.pdf").read_bytes())
    assert re.search(r"About [\d.]+ h to set out \d+ tape marks", printed)


def test_a_few_marks_are_told_in_minutes_and_not_in_no_hours() -> None:
    assert SettingOut(4, 4, 4).said.startswith("About 3 min to set out 4 tape marks and take 4")
    assert SettingOut(1, None, 1).said.startswith("About 1 min to set out 1 tape mark (")
    assert SettingOut(45, None, 45).said.startswith("About 0.1 h to set out 45 tape marks (")
