"""A slip in one reading: how large it must be to be named, what to read, and what is told of it.

The least detectable bias of W. Baarda, "A testing procedure for use in geodetic networks" (1968),
is held against slips that are drawn, found and named; the whole score of the stock benches is
`tests.benchmarks.placement`.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.stats import chi2, norm

from marking.job.folder import JOB_FILE
from marking.least_squares.readings_test import FALSE_ALARM
from marking.network.network import KnownMark, Reading, known
from marking.network.resection import resect
from marking.placement.least_slip_named import WANTED, more_readings, slips
from marking.placement.slips import doubts
from marking.sections.locating_marks import Mark
from tests.job.command_cases import REFUSED
from tests.placement.slipping import score
from tests.setting_down.marked_table import readings_file, table_with_marks

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


ABOUT = np.array([200.0, 130.0])
INK = np.array([[0.0, 0.0], [400.0, 0.0], [400.0, 260.0], [0.0, 260.0]])


def spots(count: int) -> list[tuple[float, float]]:
    """Marks evenly round a bed of 400 by 260 mm."""
    angles = 2 * np.pi * np.arange(count) / count
    return [(200 + 190 * math.cos(a), 130 + 120 * math.sin(a)) for a in angles]


def taped(count: int, sd: float) -> list[KnownMark]:
    return [KnownMark(Mark(f"m{n}", at, "control"), None, sd) for n, at in enumerate(spots(count))]


def read(targets: list[KnownMark], sd: float = 0.25) -> list[Reading]:
    return [Reading(target.mark.id, target.mark.at_table, sd) for target in targets]


def test_a_slip_of_3_mm_is_named_once_what_is_asked_for_is_read_and_good_readings_pass() -> None:
    told = score("flatbed-a4", 76.2, 2, 25, step=9, most=4)
    assert (told.sections, told.slips) == (4, 100)
    assert told.worst_told <= WANTED
    # At least 99 in 100: fewer than 96 has odds of 1 in 290, by the binomial distribution.
    assert told.named >= 96
    # At most 1 in 100, likewise.
    assert told.doubted <= 4


def test_what_is_told_is_no_less_than_baardas_figure_for_marks_far_from_each_other() -> None:
    """With many marks each is checked almost wholly, and no other can explain its slip."""
    targets = taped(24, 0.4)
    found = slips(known(targets), read(targets), ABOUT, INK)
    critical = math.sqrt(chi2.ppf(1 - FALSE_ALARM / 24, 2))
    baarda = (critical + norm.ppf(0.99)) * math.hypot(0.4, 0.25)
    # It counts in all that another mark may be named instead, by a bound that is on the safe side.
    assert baarda < found.worst < 1.25 * baarda


def test_three_readings_name_no_slip_and_two_none_at_all() -> None:
    for count in (2, 3):
        targets = taped(count, 0.4)
        assert slips(known(targets), read(targets), ABOUT, INK).worst == math.inf


def test_two_readings_that_may_both_be_wrong_are_both_named() -> None:
    targets = taped(3, 0.1)
    network = known(targets)
    readings = read(targets)
    (x, y), (far_x, far_y) = readings[0].at, readings[2].at
    # Square to the way to m2: only the distance to m1 is wrong, and either end of it may be.
    way = np.array([y - far_y, far_x - x]) / math.hypot(far_x - x, far_y - y)
    slipped = (float(x + 4.0 * way[0]), float(y + 4.0 * way[1]))
    readings[0] = Reading("m0", slipped, 0.25)
    found = doubts(network, resect(network, readings, ABOUT), (0.0, 0.0))
    assert len(found) == 1
    assert set(found[0].marks) == {"m0", "m1"}
    assert "they do not tell which" in found[0].message
    assert "one mark more" in found[0].message


def test_the_one_reading_that_is_enough_is_asked_for() -> None:
    """Five fine marks and a coarse one: a slip at the coarse one shows least."""
    fine, coarse = taped(7, 0.2), KnownMark(Mark("far", (390.0, 250.0), "control"), None, 0.6)
    targets = [*fine, coarse]
    network = known(targets)
    now = slips(network, read(targets), ABOUT, INK)
    assert now.worst_mark == "far"
    assert now.worst > WANTED
    more = more_readings(network, read(targets), ABOUT, INK)
    assert more is not None
    assert more.marks == ("far",)
    then = slips(network, [*read(targets), *read([coarse])], ABOUT, INK)
    assert then.worst == pytest.approx(more.then)
    assert then.worst <= WANTED
    assert more_readings(network, [*read(targets), *read([coarse])], ABOUT, INK) is None


def test_a_mark_in_sight_and_not_read_yet_is_asked_for_where_it_is_enough() -> None:
    targets = taped(5, 0.05)
    network = known(targets)
    readings = read(targets[:3])
    assert slips(network, readings, ABOUT, INK).worst == math.inf
    more = more_readings(network, readings, ABOUT, INK, ["m3", "m4"])
    assert more is not None
    assert more.then <= WANTED
    assert set(more.marks) & {"m3", "m4"}


def test_what_a_slip_just_too_small_to_be_named_may_do_is_what_it_does() -> None:
    targets = taped(7, 0.4)
    network = known(targets)
    found = slips(network, read(targets), ABOUT, INK)
    still = resect(network, read(targets), ABOUT).pose
    most = 0.0
    for count, size in enumerate(found.named):
        for angle in np.linspace(0, 2 * np.pi, 24, endpoint=False):
            readings = read(targets)
            x, y = readings[count].at
            at = (x + size * math.cos(angle), y + size * math.sin(angle))
            readings[count] = Reading(readings[count].mark, at, 0.25)
            pose = resect(network, readings, ABOUT).pose
            most = max(most, float(np.linalg.norm(pose(INK) - still(INK), axis=1).max()))
    assert found.shifts == pytest.approx(most, rel=0.03)


# -- by the command ------------------------------------------------------------------------------


@pytest.fixture
def job(tmp_path: Path) -> Path:
    with table_with_marks(tmp_path / "job"):
        return tmp_path / "job"


def placed(run_cli: RunCli, job: Path, file: Path, code: int, *words: str) -> dict[str, object]:
    done = run_cli("place", "--json", "--readings", file, "--job", job, *words)
    assert done.returncode == code, (done.stdout, done.stderr)
    answer: dict[str, object] = json.loads(done.stdout)
    return answer


def test_place_says_how_large_a_slip_would_be_named_and_what_to_read(
    run_cli: RunCli, job: Path
) -> None:
    file = readings_file(job, "r.csv", (0.5, -0.3))
    answer = placed(run_cli, job, file, 0)
    slip = answer["slip"]
    assert isinstance(slip, dict)
    assert slip["named_mm"] > WANTED
    assert slip["read_also"]
    assert slip["then_mm"] <= WANTED
    assert slip["shifts_mm"] > 0
    said = run_cli("place", "--readings", file, "--job", job).stdout
    assert f"A slip of {slip['named_mm']:.1f} mm in any one reading would be named" in said
    assert f"ink up to {slip['shifts_mm']:.1f} mm further off" in said
    assert f"then one of {slip['then_mm']:.1f} mm would be named" in said
    done = run_cli("drive", "--simulate", "--unattended", "--section", "r1c1", "--job", job)
    assert done.returncode == 0, done.stderr


def test_place_ends_with_0_only_where_the_section_may_be_inked(run_cli: RunCli, job: Path) -> None:
    good = readings_file(job, "good.csv", (0.0, 0.0))
    assert placed(run_cli, job, good, 0)["verdict"] == "ink"
    lines = good.read_text("utf-8").splitlines()

    def file(name: str, *rows: str) -> Path:
        path = job / name
        path.write_text("\n".join([lines[0], *rows, ""]), "utf-8")
        return path

    section, mark, x, y = lines[1].split(",")
    slipped = file("slip.csv", f"{section},{mark},{float(x) + 8},{y}", *lines[2:])
    assert placed(run_cli, job, slipped, REFUSED)["verdict"] == "read again"
    assert placed(run_cli, job, slipped, REFUSED, "--accept")["verdict"] == "read again"

    away = readings_file(job, "away.csv", (9.0, 9.0))
    assert placed(run_cli, job, away, REFUSED)["verdict"] == "move the device"
    assert placed(run_cli, job, away, REFUSED, "--accept")["verdict"] == "move the device"

    text = (job / JOB_FILE).read_text("utf-8")
    (job / JOB_FILE).write_text(text.replace('"12 mm"', '"0.5 mm"'), "utf-8")
    assert placed(run_cli, job, good, REFUSED)["verdict"] == "add a mark"
    assert placed(run_cli, job, good, 0, "--accept")["verdict"] == "add a mark"
