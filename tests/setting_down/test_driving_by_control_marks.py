"""Tape marks, driving and the adjustment of all readings share one record of what stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from devices.job import Job
from devices.plotter.bed import bed_of
from devices.setting_down.where_it_stands import marks_in_sight
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.conftest import MILLRACE
from tests.inking.kills import plotter_at

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


def test_sections_driven_by_control_marks_are_found_by_the_adjustment_of_all(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """Two sections, set down 1.4 mm off and read to a fifth of a millimetre, seed 3."""
    job_file = MILLRACE.replace("flatbed-a3", "flatbed-24x36")
    (tmp_path / "job.toml").write_text(f'{job_file}[inking]\ntried = "not asked"\n', "utf-8")
    done = run_cli("control", "--job", tmp_path, "--spacing", "6 in")
    assert done.returncode == 0, done.stderr

    job = load_job(tmp_path, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    rng = np.random.default_rng(3)
    rows = ["section,mark,x_mm,y_mm"]
    with open_record(tmp_path) as record:
        for section in plan.sections[:2]:
            bed = bed_of(section, job.plotter)
            for mark in marks_in_sight(section, plan, layout, job.units, record):
                read = (np.array(mark.at_table) - bed.origin_table) @ bed.to_bed.T
                x, y = read + (1.2, -0.8) + rng.normal(0, 0.2, 2)
                rows.append(f"{section.id},{mark.id},{x:.2f},{y:.2f}")
    assert any(",n" in row for row in rows), "no tape mark is in sight"
    (tmp_path / "readings.csv").write_text("\n".join(rows) + "\n", "utf-8")

    words = ["--unattended", "--most", "2", "--readings", tmp_path / "readings.csv"]
    with plotter_at(tmp_path, 2000) as port:
        done = run_cli("drive", "--job", tmp_path, *words, *port)
    assert done.returncode == 0, done.stderr
    with open_record(tmp_path) as record:
        for section in plan.sections[:2]:
            kept = record.placements(section.id)[-1]
            # The device stands opposite to what its readings are off by, as its axes lie.
            back = -np.array([1.2, -0.8]) @ bed_of(section, job.plotter).to_bed
            assert np.allclose(kept.pose["shift"], back, atol=0.5)

    done = run_cli("place", "--job", tmp_path, "--all")
    assert done.returncode == 0, done.stderr
    assert "r1c1" in done.stdout
    assert "r1c2" in done.stdout
