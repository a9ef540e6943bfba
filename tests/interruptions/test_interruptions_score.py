"""A score of the campaign of interruptions: covers driven to their end whatever ends the runs.

The whole of it is `python -m tests.benchmarks.interruptions 500`. The machines are written from
their manuals (`devices/simulated/`), the checks hold the true cloth against what was asked for.
What leaves the command to find out by silence alone, and how long the pen rests after a stop, is
tried and measured there and not here: tests are quick, and never timed.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest

from tests.benchmarks.interruptions import HERE, Campaign
from tests.interruptions.machine_models import STOCK

if TYPE_CHECKING:
    from collections.abc import Iterator

ENDS = 6
QUICK = (
    *("kill", "terminate", "Ctrl C", "quit", "hang-up", "unplug"),
    *("bump", "bump, unsaid", "off between"),
)
TOLD = {"gantry-gcode": ("limit", "power blink")}
"""What a machine tells of at once, beside those."""


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Campaign]:
    folder = tmp_path_factory.mktemp("campaign")
    one = Campaign(folder, HERE, sys.executable, list(STOCK), seed=42)
    yield one
    one.close()


@pytest.mark.parametrize("number", range(len(STOCK)), ids=STOCK)
def test_whatever_ends_a_run_the_same_command_goes_on_or_says_what_to_read(
    campaign: Campaign, number: int
) -> None:
    campaign.kinds = [*QUICK, *TOLD.get(STOCK[number], ())]
    tried = campaign.cover(number, ENDS, times_rests=False)
    assert len(tried.outcomes) >= ENDS, "the cover was done before enough had happened to it"
    faults = [f"{one.kind} [{one.at}]: {fault}" for one in tried.outcomes for fault in one.faults]
    assert not faults, "\n".join([*faults, *tried.log])
