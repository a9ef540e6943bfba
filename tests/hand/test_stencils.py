"""The stencils, drawn by resvg: whatever is cut out, the plate stays in one piece."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

from marking.drawing.svg import svg
from marking.errors import RefusedError
from marking.hand.stencils import stencils_of
from marking.layout.layout import lay_out
from marking.sheets.stencil_sheet import stencil_artwork
from tests.conftest import MILLRACE
from tests.hand.benches import BENCHES
from tests.output.printed import drawn_by_resvg

if TYPE_CHECKING:
    from tests.conftest import MakeJob

PER_MM = 20
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize(
    ("bench", "face"),
    [*((bench, "simplex") for bench in BENCHES), ("millrace", "rowmand"), ("odd", "gothiceng")],
)
def test_no_counter_falls_out_of_any_digit(make_job: MakeJob, bench: str, face: str) -> None:
    text = BENCHES[bench]
    job = make_job(f'{text}\n[numerals]\nface = "{face}"\n' if face != "simplex" else text)
    stencils = stencils_of(lay_out(job), job)
    assert stencils is not None
    root = ET.fromstring(svg(stencil_artwork(stencils, job.title)))
    paths = {path.get("id", ""): path.get("d", "") for path in root.iter(f"{SVG}path")}
    slots = "".join(f'<path d="{d}"/>' for name, d in paths.items() if name.startswith("digit-"))
    wide, high = map(float, root.get("viewBox", "").split()[2:])
    picture = Image.open(
        io.BytesIO(
            drawn_by_resvg(
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" '
                f'width="{wide}" height="{high}">{slots}</svg>'.encode(),
                round(wide * PER_MM),
            )
        )
    )
    film = np.array(picture)[:, :, 3] < 128
    for digit in "0123456789":
        outline = [float(n) for n in re.findall(r"[\d.]+", paths[f"plate-{digit}"])]
        xs, ys = np.array(outline[0::2]) * PER_MM, np.array(outline[1::2]) * PER_MM
        plate = film[int(ys.min()) : int(ys.max()), int(xs.min()) : int(xs.max())]
        assert 0 < (~plate).sum() < plate.size / 3
        pieces, _ = ndimage.label(plate)
        sizes = np.bincount(pieces.ravel())[1:]
        # A pixel or two may be left alone in a corner of a slot.
        assert (sizes > 3).sum() == 1, digit


def test_a_slot_follows_the_digit_that_the_cover_gets(make_job: MakeJob) -> None:
    job = make_job(MILLRACE)
    layout = lay_out(job)
    stencils = stencils_of(layout, job)
    assert stencils is not None
    heights = [
        max(s[:, 1].max() for s in one.slots) - min(s[:, 1].min() for s in one.slots)
        for one in stencils.digits
    ]
    assert layout.legibility is not None
    play = stencils.slot - stencils.line
    assert max(heights) == pytest.approx(layout.legibility.height + play, abs=0.05)
    eight = next(p.numeral for p in layout.numerals if p.numeral.text == "8")
    x0, _, x1, _ = eight.box_table
    cut = stencils.digits[8].slots
    width = max(s[:, 0].max() for s in cut) - min(s[:, 0].min() for s in cut)
    assert width == pytest.approx(x1 - x0 + play, abs=0.1)


def test_digits_too_small_to_be_bridged_are_refused(make_job: MakeJob) -> None:
    job = make_job(f'{MILLRACE}\n[numerals]\nheight = "3 mm"\n')
    with pytest.raises(RefusedError, match=r"which tear; write them freehand"):
        stencils_of(lay_out(job), job)


def test_a_cover_without_numerals_has_none(make_job: MakeJob) -> None:
    job = make_job(f"{MILLRACE}\n[numerals]\nsides = []\n")
    assert stencils_of(lay_out(job), job) is None


@pytest.mark.parametrize("height", ["9.1 mm", "9.8 mm", "10.35 mm", "10.85 mm"])
def test_a_bridge_is_cut_free_to_its_rim_at_any_height(make_job: MakeJob, height: str) -> None:
    """At these a bridge's end lies on the very edge of its slot, by arithmetic alone."""
    job = make_job(
        '[table]\nlength = "30 in"\nwidth = "20 in"\n[numerals]\n' + f'height = "{height}"\n'
    )
    stencils = stencils_of(lay_out(job), job)
    assert stencils is not None
    assert len(stencils.digits) == 10
