"""What a mend is told to lie off by, and what makes it so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.setting_down.where_it_stands import ground_of, placed_on
from marking.job.folder import JOB_FILE
from tests.inking.askew import Stood, bare_table
from tests.mending.test_mends import AGAIN, JOB, LAID, ONE, asked, really_read, to_ink

if TYPE_CHECKING:
    from pathlib import Path


def test_a_mend_is_told_to_lie_off_by_what_the_pointer_and_the_plotter_err_by(
    tmp_path: Path,
) -> None:
    """By hand: 95 in 100 two-way normal errors of 0.4 mm lie within 0.98 mm."""
    (tmp_path / JOB_FILE).write_text(JOB, "utf-8")
    with bare_table(tmp_path) as cover:
        job, at = cover.job, cover.place
        laid = Stood(cover.section(ONE), *LAID[ONE])
        assert cover.inked(laid, anyway="by tape")[0].ended == "done"
        asked(cover, lines="3")
        part = to_ink(cover)
        readings = really_read(cover, Stood(part, *AGAIN), laid)
        told = []
        for pointer, scale in ((0.05, 3e-4), (0.4, 3e-4), (0.05, 3e-3)):
            doubts = {"pointer_doubt": pointer, "scale_doubt": scale}
            other = job.model_copy(update={"plotter": job.plotter.model_copy(update=doubts)})
            ground = ground_of(part, at.plan, at.layout, other, at.record, None)
            told.append(placed_on(ground, part, readings, other, None))
    plain, by_pointer, by_scale = (one.inking.error for one in told)
    assert by_pointer > 0.98
    assert plain < by_scale < by_pointer
    assert [one.verdict for one in told][:2] == ["ink", "add a mark"]
