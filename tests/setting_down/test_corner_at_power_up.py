"""A flat bed that was switched off and on unseen: one without switches has lost its corner.

HP 7470A manual, page 7-8: the status tells once that the plotter was switched on. What becomes of
its coordinates is the machine's own, so the profile has to say it (`power_up`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from devices.driving.kept_places import whereabouts_in
from devices.job import Job
from devices.simulated.cloth import Cloth
from devices.simulated.hpgl import Build, SimulatedPlotter
from marking.job.folder import load_job
from marking.record.record import open_record
from marking.shipped_files import stock
from tests.driving.own_time import OwnTimePort, driven_at
from tests.inking.kills import SECTION, make_job

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

DONE, REFUSED, INTERRUPTED = 0, 1, 130
COUNTS = 'power_up = "counts from where it stands"\n'
FINDS = 'power_up = "finds its corner"\n'


class Bench(OwnTimePort):
    """A plotter that somebody may stop, or switch off and on."""

    def __init__(self, *, tells: bool = True) -> None:
        build = Build(
            1024, high=(16000, 10880), finds_its_zero=False, shows_initialized=tells, identity="A3"
        )
        self.cloth = Cloth()
        super().__init__(SimulatedPlotter(build, self.cloth))
        self.stop_after: int | None = None

    def read(self) -> bytes:
        if self.stop_after is not None and len(self.cloth.ink) > self.stop_after:
            self.stop_after = None
            raise KeyboardInterrupt
        return super().read()

    def close(self) -> None:
        pass

    def switched_off_and_on(self) -> None:
        self.machine.lose_power(self.now)
        self.machine.restore_power(self.now)
        self.now += 10.0


def begun(folder: Path, bench: Bench, drive: Callable[..., int], keys: str) -> list[str]:
    """A section of which some strokes are inked; the words that go on with it."""
    make_job(folder, "flatbed-a3", keys)
    words = ["--job", str(folder), "--section", SECTION, "--unattended", "--ink-anyway", "by tape"]
    bench.stop_after = 3
    assert drive(*words) == INTERRUPTED
    return words


@pytest.mark.parametrize("tells", [True, False])
def test_a_bed_that_counts_from_where_it_stands_inks_nothing_after_it_was_switched_on(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tells: bool,
) -> None:
    bench = Bench(tells=tells)
    with driven_at(bench, monkeypatch) as drive:
        words = begun(tmp_path / "job", bench, drive, COUNTS)
        bench.switched_off_and_on()
        laid = len(bench.cloth.ink)
        assert drive(*words) == REFUSED
        assert "may have lost its place" in capsys.readouterr().err
        assert drive(*words) == REFUSED, "the restart was forgotten"
        assert len(bench.cloth.ink) == laid
    with open_record(tmp_path / "job") as record:
        assert whereabouts_in(record)[-1].event == "lost"


@pytest.mark.parametrize(
    ("keys", "restarts"), [(COUNTS, False), (FINDS, True)], ids=["not restarted", "has switches"]
)
def test_a_bed_that_has_kept_its_corner_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keys: str, restarts: bool
) -> None:
    bench = Bench()
    with driven_at(bench, monkeypatch) as drive:
        words = begun(tmp_path / "job", bench, drive, keys)
        if restarts:
            bench.switched_off_and_on()
        assert drive(*words) == DONE


def test_every_stock_bed_says_how_it_finds_its_corner(tmp_path: Path) -> None:
    for path in stock().joinpath("plotters").iterdir():
        make_job(tmp_path / path.name, path.name.removesuffix(".toml"))
        plotter = load_job(tmp_path / path.name, Job).plotter
        says = "power_up" in path.read_text("utf-8")
        assert says is (plotter.dialect == "hpgl" and plotter.kind == "flat"), path.name
        assert plotter.finds_corner is says
