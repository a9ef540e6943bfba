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
COVERS = 5
"""At most: when in a run its end comes is drawn by lot, and a cover may be done before it."""
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
    happened = 0
    for cover in range(number, COVERS * len(STOCK), len(STOCK)):
        tried = campaign.cover(cover, ENDS, times_rests=False)
        told = tried.outcomes
        faults = [f"{one.kind} [{one.at}]: {fault}" for one in told for fault in one.faults]
        assert not faults, "\n".join([*faults, *tried.log])
        happened += sum(1 for one in told if one.at)
        if happened >= ENDS:
            return
    pytest.fail(f"{COVERS} covers were done before enough had happened to them: {happened} ends")
