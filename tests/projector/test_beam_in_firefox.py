"""Stage and remote in a browser of another make, Debian's own Firefox."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from tests.firefox import firefox
from tests.projector.browsers import beam, hung_crooked, millrace
from tests.projector.test_true_up import targets_of

if TYPE_CHECKING:
    from pathlib import Path

    from tests.firefox import Firefox

PIXELS = (1280, 720)


def window(fox: Firefox, address: str, size: tuple[int, int]) -> str:
    """A window of its own whose page is of a size, pixels; its handle."""
    handle: str = fox.driver.open(type="window")["handle"]
    fox.driver.switch_to_window(handle)
    outer, inner = fox.run("return [[outerWidth, outerHeight], [innerWidth, innerHeight]]")
    width, height = (one + o - i for one, o, i in zip(size, outer, inner, strict=True))
    fox.driver.set_window_rect(width=width, height=height)
    fox.driver.navigate(address)
    return handle


def lit(fox: Firefox) -> int:
    """How many pixels of the page are lit."""
    picture = Image.open(io.BytesIO(base64.b64decode(fox.driver.screenshot(full=False))))
    return sum(picture.convert("L").histogram()[32:])


def test_a_section_is_trued_up_and_a_line_traced_in_two_windows_of_another_browser(
    tmp_path: Path,
) -> None:
    work = millrace(tmp_path / "job", PIXELS)
    real = hung_crooked(work, "r1c1")
    with beam(tmp_path / "job") as run, firefox(tmp_path) as fox:
        stage = window(fox, run.stage, PIXELS)
        fox.until(lambda: fox.text("#code") == run.code, "the code is lit")
        assert fox.text("#notice") == ""
        before = lit(fox)
        remote = window(fox, run.remote, (500, 844))
        fox.fill("#code", run.code)
        fox.click("button.main")
        fox.until(lambda: fox.text("#link") == "In step", "in step")

        fox.click("#tab-true")
        fox.click("#begin")
        # The corners, which is the least; later targets are lit where these say.
        for number, target in enumerate(targets_of(work)[:4], 1):
            fox.until(lambda at=f"Target {number}:": at in fox.text("#at"), f"target {number}")
            along, across = real.to_table(np.array([target.at_px]))[0]
            fox.fill("#along", f"{along:.3f} mm")
            fox.fill("#across", f"{across:.3f} mm")
            fox.click("#landed")
        fox.click("#finish")
        fox.until(lambda: "Land all targets" in fox.text("#verdict"), "what four are worth is told")
        fox.click("#tab-trace")
        first, count = fox.text("#line"), fox.text("#place")
        fox.click("#done")
        fox.until(lambda: fox.text("#line") != first, "the next line")
        assert fox.text("#place") != count

        fox.driver.switch_to_window(stage)
        fox.until(lambda: lit(fox) > 2 * before, "the section is lit")
        fox.driver.switch_to_window(remote)
        fox.click("#blank")
        fox.driver.switch_to_window(stage)
        fox.until(lambda: lit(fox) == 0, "blank is dark")
        assert fox.errors(run.stage.partition("/stage")[0]) == []
