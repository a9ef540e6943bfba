"""Verniers over the joins, drawn by `drive` in the same set-down as the section's own ink."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from devices.commands import main
from marking.begun.on_the_cover import plan_hash
from marking.begun.plain_data import unpacked_division
from marking.proof.drawn import with_verniers
from marking.record.record import open_record

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

SMALL = """title = "A side table"
[table]
length = "32 in"
width = "10 in"
[hems]
depth = "3 in"
folds = []
[plotter]
profile = "flatbed-a3"
"""


def test_a_section_draws_its_own_ink_first_and_then_its_halves_within_its_window(
    millrace: Job, millrace_layout: Layout, millrace_plan: Plan
) -> None:
    plan, verniers = with_verniers(millrace_plan, millrace_layout, millrace.pens)
    assert plan_hash(plan) == plan_hash(millrace_plan)
    drawn = set()
    for bare, section in zip(millrace_plan.sections, plan.sections, strict=True):
        own = len(bare.pieces)
        assert section.pieces[:own] == bare.pieces
        assert len(section.route.legs) == len(section.pieces)
        for piece in section.pieces[own:]:
            assert piece.stroke.pen == "removable"
            x0, y0, x1, y1 = section.window
            assert np.all(piece.stroke.points >= (x0, y0))
            assert np.all(piece.stroke.points <= (x1, y1))
            drawn.add(piece.stroke.id.rpartition("_")[0])
    # Each vernier twice over: the main scale by one section, its neighbour on the other.
    assert drawn == {f"{section}_{one.id}" for one in verniers for section in one.sections}


def test_drive_draws_and_keeps_them_and_the_job_is_begun_with_the_bare_sections(
    tmp_path: Path,
) -> None:
    (tmp_path / "job.toml").write_text(SMALL, "utf-8")
    words = ["--simulate", "--unattended", "--ink-anyway", "a trial", "--pace", "1000000"]
    assert main(["drive", "--job", str(tmp_path), "--verniers", *words]) == 0
    with open_record(tmp_path / "out" / "rehearsal") as record:
        (kept,) = record.divisions()
        strokes = {one.stroke for one in record.strokes() if one.event == "drawn"}
        inked = {ink.section for ink in record.ink() if ink.event == "done"}
    plan = unpacked_division(kept.data)
    assert inked == {section.id for section in plan.sections}
    assert {name for name in strokes if "_v01_" in name} >= {"r1c1_v01_00", "r1c2_v01_10"}
    assert not [p for s in plan.sections for p in s.pieces if "_v0" in p.stroke.id]
