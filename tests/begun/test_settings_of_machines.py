"""What of a machine a begun division, and a begun section, are held to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from devices.machine_zones import division_settings
from devices.moves_ink import device_settings
from marking.job.settings import changes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    from devices.job import Job
    from tests.conftest import MakeJob

TABLE = '[table]\nlength = "40 in"\nwidth = "10 in"\n[plotter]\nprofile = "desk-a3"\n'
OPEN = (
    'stands = "on-cover"\nbeyond_x = ["70 mm", "70 mm"]\nbeyond_y = ["70 mm", "70 mm"]\n'
    'feet = "corners"\n'
)


def of_the_division(job: Job) -> Mapping[str, Any]:
    return division_settings("plotter", job, None)


def of_the_ink(job: Job) -> Mapping[str, Any]:
    return device_settings(job, None)


@pytest.mark.parametrize("held", [of_the_division, of_the_ink])
def test_how_a_plotter_stands_and_how_wide_a_cloth_it_takes_may_not_change(
    make_job: MakeJob, held: Callable[[Job], Mapping[str, Any]]
) -> None:
    begun = held(make_job(TABLE))
    for keys, name in (
        (OPEN, "plotter.stands"),
        ('cloth_width = "11 in"\n', "plotter.cloth_width"),
    ):
        assert name in {one.key for one in changes(begun, held(make_job(TABLE + keys)))}
    # What an earlier version did not keep says nothing, and saying what is so anyway is no change.
    earlier = {key: value for key, value in begun.items() if "stands" not in key}
    assert changes(earlier, begun) == ()
    said = held(make_job(TABLE + 'stands = "cloth-through"\n'))
    assert changes(begun, said) == ()
