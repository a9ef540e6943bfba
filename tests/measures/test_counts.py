"""A person reads how many of what: one is one section, and not one sections."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from marking.measures.counts import counted

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


@pytest.mark.parametrize(
    ("count", "said"), [(0, "0 sections"), (1, "1 section"), (2, "2 sections"), (11, "11 sections")]
)
def test_a_count_is_followed_by_its_noun(count: int, said: str) -> None:
    assert counted(count, "section") == said


def test_a_table_that_one_bed_covers_is_one_section(run_cli: RunCli, tmp_path: Path) -> None:
    done = run_cli(
        *("start", tmp_path / "job", "--length", "30 in", "--width", "20 in"),
        *("--plotter", "flatbed-24x36"),
    )
    assert done.returncode == 0, done.stderr
    done = run_cli("section", "--job", tmp_path / "job")
    assert done.returncode == 0, done.stderr
    assert "1 section, 1 along by 1 across" in done.stdout
    assert "1 sections" not in done.stdout
