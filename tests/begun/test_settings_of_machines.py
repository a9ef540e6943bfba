"""What of a machine a begun division, and a begun section, are held to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from devices.machine_zones import division_settings
from devices.what_moves_ink import device_settings
from marking.job.settings import changes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    from devices.job import Job
    from tests.conftest import MakeJob

TABLE = '[table]\nlength = "40 in"\nwidth = "10 in"\n[plotter]\nprofile = "flatbed-a3"\n'
NO_FRAME = 'beyond_x = ["0 mm", "0 mm"]\nbeyond_y = ["0 mm", "0 mm"]\nfeet = []\n'
THROUGH = TABLE + NO_FRAME + 'stands = "cloth-through"\n'


def of_the_division(job: Job) -> Mapping[str, Any]:
    return division_settings("plotter", job, None)


def of_the_ink(job: Job) -> Mapping[str, Any]:
    return device_settings(job, None)


@pytest.mark.parametrize("held", [of_the_division, of_the_ink])
def test_how_a_plotter_stands_and_how_wide_a_cloth_it_takes_may_not_change(
    make_job: MakeJob, held: Callable[[Job], Mapping[str, Any]]
) -> None:
    begun = held(make_job(TABLE + NO_FRAME))
    through, narrow = (held(make_job(THROUGH + keys)) for keys in ("", 'cloth_width = "11 in"\n'))
    assert "plotter.stands" in {one.key for one in changes(begun, through)}
    assert [one.key for one in changes(through, narrow)] == ["plotter.cloth_width"]
    # What an earlier version did not keep says nothing, and saying what is so anyway is no change.
    earlier = {key: value for key, value in begun.items() if "stands" not in key}
    assert changes(earlier, begun) == ()
    said = held(make_job(TABLE + NO_FRAME + 'stands = "on-cover"\n'))
    assert changes(begun, said) == ()
