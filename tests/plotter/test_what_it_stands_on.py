"""What a profile may say of how a plotter works: frame, feet, weight, or cloth drawn through it."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

import pytest

from marking.errors import BadInputError
from marking.job.folder import stock_names
from marking.shipped_files import stock

if TYPE_CHECKING:
    from pathlib import Path

    from devices.plotter.profile import Plotter
    from tests.conftest import MakeJob

TABLE = {"length": "60 in", "width": "30 in"}
THROUGH = {"desk-a3", "roll-36"}


def plotter(make_job: MakeJob, **keys: Any) -> Plotter:
    return make_job({"table": TABLE, "plotter": {"profile": "flatbed-a3", **keys}}).plotter


@pytest.mark.parametrize("name", stock_names("plotters"))
def test_every_stock_plotter_says_how_it_works(make_job: MakeJob, name: str) -> None:
    written = tomllib.loads(stock().joinpath("plotters", f"{name}.toml").read_text("utf-8"))
    assert written["stands"] == ("cloth-through" if name in THROUGH else "on-cover")
    made = plotter(make_job, profile=name)
    assert made.on_cover is (name not in THROUGH)
    assert (made.zone.feed is None) is made.on_cover
    if made.on_cover:
        assert made.footing is not None
        assert len(made.footing.feet) == 4
        assert made.footing.weight > 0
        assert "stands on the cover" in written["about"]
    else:
        assert made.footing is None
        assert "before it is stretched on" in written["about"]


def test_a_foot_in_each_corner_moves_with_the_sizes_of_the_bed(make_job: MakeJob) -> None:
    """Outer size 540 by 422 mm, feet 30 mm wide; those of a bed 100 mm shorter are nearer."""
    whole, shorter = plotter(make_job), plotter(make_job, x_size="300 mm")
    assert whole.foot_places == ((-55, -45), (455, -45), (455, 347), (-55, 347))
    assert shorter.foot_places == ((-55, -45), (355, -45), (355, 347), (-55, 347))


def test_feet_lie_about_the_windows_middle_however_the_axes_run(make_job: MakeJob) -> None:
    """X towards the near edge and Y towards the far end: the foot at the least of both, 55 beyond
    X and 45 beyond Y, stands beyond the far edge and the zero end."""
    made = plotter(make_job, axes=["-y", "+x"])
    assert made.footing is not None
    assert made.footing.feet[0] == pytest.approx((-45 - 136, 55 + 200))
    centred = plotter(make_job, axes=["-y", "+x"], origin="centre")
    assert centred.footing == made.footing


REFUSED = [
    ({"feet": "cornrs"}, 'plotter.feet = "cornrs": give "corners", or the middle of each foot'),
    ({"feet": [["1 mm", "2 mm"]]}, "feet: 1 given; an open frame stands on 3 or more"),
    (
        {"feet": [["-40 mm", "0 mm"], ["-40 mm", "200 mm"], ["500 mm", "0 mm"]]},
        "foot 3 at 500, 0 mm, 30 mm wide, stands outside its outer size, which goes from -70, -60 "
        "to 470, 362 mm",
    ),
    (
        {"feet": [["-10 mm", "0 mm"], ["-40 mm", "200 mm"], ["440 mm", "0 mm"]]},
        "foot 1 at -10, 0 mm, 30 mm wide, stands within its reach",
    ),
    ({"feet": [["-40 mm", "0"], ["-40 mm", "9 mm"], ["440 mm", "0 mm"]]}, "feet[0][1]"),
    ({"beyond_x": ["0 mm", "0 mm"], "beyond_y": ["0 mm", "0 mm"]}, "stands within its reach"),
    ({"beyond_x": ["-1 mm", "70 mm"]}, "plotter.beyond_x[0]"),
    ({"foot": "-3 mm"}, "plotter.foot"),
    ({"weight_kg": -1}, "plotter.weight_kg"),
    ({"cloth_width": "1 m"}, "cloth_width is for a machine that cloth is drawn through"),
    ({"stands": "cloth-through"}, 'feet, beyond_x and beyond_y are for stands = "on-cover"'),
    ({"stands": "beside"}, "plotter.stands"),
]


@pytest.mark.parametrize(("keys", "says"), REFUSED)
def test_what_cannot_stand_so_is_refused_with_what_would_do(
    make_job: MakeJob, keys: dict[str, Any], says: str
) -> None:
    with pytest.raises(BadInputError) as refused:
        plotter(make_job, **keys)
    assert says in str(refused.value)


def test_a_profile_of_ones_own_need_not_say(make_job: MakeJob, tmp_path: Path) -> None:
    bare = 'name = "own"\nx_size = "300 mm"\ny_size = "200 mm"\n'
    own = tmp_path / "own.toml"
    own.write_text(bare, "utf-8")
    flat = plotter(make_job, profile=str(own))
    assert flat.on_cover
    assert flat.footing is not None
    assert flat.footing.feet == ()
    own.write_text(bare + 'kind = "roll"\n', "utf-8")
    roll = plotter(make_job, profile=str(own))
    assert not roll.on_cover
    assert roll.zone.widest_cloth == 200


def test_a_roll_told_beside_a_frames_profile_is_a_roll(make_job: MakeJob) -> None:
    """So that a job.toml written before there were frames goes on as it was."""
    made = plotter(make_job, kind="roll", cloth_width="300 mm")
    assert (made.on_cover, made.footing, made.zone.feed) == (False, None, 0)
    assert not made.zone.own_bed
