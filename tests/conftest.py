"""What every test may stand on: jobs, the Millrace bench laid out and cut, and the command.

All of it goes through the public doors of the program: a job is a written `job.toml` that is read
back with its profiles, and the command is a process of its own.
"""

from __future__ import annotations

import itertools
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers

from devices.job import Job
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from marking.shipped_files import stock
from tests.interruptions.forked import at_hand

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

# The same examples on every run and machine, and no verdict by the clock. Hypothesis would draw
# constants of the modules that are imported by then, which hangs on what a process has run before,
# and has no setting against it.
providers._get_local_constants = providers.Constants
settings.register_profile(
    "repeatable",
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("repeatable")

MILLRACE = stock().joinpath("demo", "millrace", JOB_FILE).read_text("utf-8")


LONGEST = (
    "test_beam_pages",
    "test_beam_connection",
    "test_whole_job",
    "test_ink_goes_on",
    "test_keeping_sections_true",
    "test_drive_resume",
    "test_interruptions_score",
    "test_proof_on_covers",
    "test_rules",
    "test_true_up",
    "test_begun_jobs",
    "test_begun_and_moved",
    "test_keys_at_the_plotter",
    "test_vpype_plugin",
    "test_lost_place",
    "test_bad_folders",
    "test_forecast",
    "test_slips_in_readings",
    "test_choosing_control_marks",
    "test_stock_plotters_to_the_end",
    "test_placement",
    "test_jobs_and_profiles",
)
"""Files of tests that take longest: begun first, so that none is left to one processor alone."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Puts the longest files first; all others stay in their order."""
    rank = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path.stem, len(LONGEST)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Processes for the tests: one more than processors, since some wait for a machine's clock."""
    mine = getattr(os, "sched_getaffinity", None)
    return 1 + (len(mine(0)) if mine is not None else os.cpu_count() or 1)


class MakeJob(Protocol):
    """Reads a job from the text of a `job.toml`, or from its tables."""

    def __call__(self, wanted: str | Mapping[str, Any]) -> Job: ...


class RunCli(Protocol):
    """Runs `canvasrule` with these words in a process of its own; `env` adds to this one's.

    Where nothing hangs on how Python starts, it is a fork of one that has imported all before.
    """

    def __call__(
        self,
        *words: str | Path,
        cwd: Path | None = None,
        env: Mapping[str, str] | None = None,
        stdin: str | None = None,
    ) -> subprocess.CompletedProcess[str]: ...


def toml(tables: Mapping[str, Any]) -> str:
    """`tables` as TOML; JSON's strings, numbers and booleans are TOML's too."""
    return "".join(f"{key} = {_toml_value(value)}\n" for key, value in tables.items())


def _toml_value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml_value(v)}" for key, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


@pytest.fixture(scope="session")
def make_job(tmp_path_factory: pytest.TempPathFactory) -> MakeJob:
    base = tmp_path_factory.mktemp("jobs")
    numbers = itertools.count(1)

    def make(wanted: str | Mapping[str, Any]) -> Job:
        folder = base / str(next(numbers))
        folder.mkdir()
        text = wanted if isinstance(wanted, str) else toml(wanted)
        (folder / JOB_FILE).write_text(text, "utf-8")
        return load_job(folder, Job)

    return make


@pytest.fixture(scope="session")
def millrace(make_job: MakeJob) -> Job:
    return make_job(MILLRACE)


@pytest.fixture(scope="session")
def millrace_layout(millrace: Job) -> Layout:
    return lay_out(millrace)


@pytest.fixture(scope="session")
def millrace_plan(millrace: Job, millrace_layout: Layout) -> Plan:
    return divide_into_sections(millrace_layout, millrace, millrace.plotter.zone)


@pytest.fixture(scope="session", autouse=True)
def terminal() -> Iterator[None]:
    """Ends the terminal at which commands are forked, where one was asked for."""
    yield
    if at_hand.cache_info().currsize and (terminal := at_hand()) is not None:
        terminal.close()
        shutil.rmtree(terminal.folder)


@pytest.fixture(scope="session")
def run_cli() -> RunCli:
    def run(
        *words: str | Path,
        cwd: Path | None = None,
        env: Mapping[str, str] | None = None,
        stdin: str | None = None,
    ) -> subprocess.CompletedProcess[str]:
        if env is None and (terminal := at_hand()) is not None:
            return terminal.done(list(map(str, words)), cwd or Path.cwd(), stdin)
        return subprocess.run(
            [sys.executable, "-m", "devices.commands", *map(str, words)],
            cwd=cwd,
            env={**os.environ, **(env or {})},
            input=stdin,
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=False,
        )

    return run


@pytest.fixture(scope="session")
def demo_folder(run_cli: RunCli, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `canvasrule demo` wrote."""
    folder = tmp_path_factory.mktemp("demo") / "millrace"
    done = run_cli("demo", folder)
    assert done.returncode == 0, done.stderr
    return folder
