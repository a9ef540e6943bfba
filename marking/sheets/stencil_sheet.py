"""The stencils as a drawing at true size: what is cut out, what is only marked on the plate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.artwork import Artwork, Style

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.hand.stencils import Stencil, Stencils

_CUT, _MARK = "#000000", "#8a8a8a"
_ACROSS = 5
_GAP = 4.0
_ROOM = 17.0
"""mm below the plates for words."""


def stencil_artwork(stencils: Stencils, title: str) -> Artwork:
    """Ten plates in two rows, on nothing: a cutter takes layer `cut`, a pen layer `mark`."""
    wide = max(one.plate[2] - one.plate[0] for one in stencils.digits)
    high = max(one.plate[3] - one.plate[1] for one in stencils.digits)
    rows = -(-len(stencils.digits) // _ACROSS)
    box = (0.0, 0.0, _ACROSS * (wide + _GAP) + _GAP, rows * (high + _GAP) + _GAP + _ROOM)
    about = " ".join(_about(stencils))
    art = Artwork(box, f"{title}: stencils of the digits", about, paper=None)
    cut = art.layer("cut", Style(stroke=_CUT, width=0.1))
    mark = art.layer("mark", Style(stroke=_MARK, width=0.1))
    words = art.layer("words", Style(fill=_MARK))
    for place, one in enumerate(stencils.digits):
        row, column = divmod(place, _ACROSS)
        x = _GAP + column * (wide + _GAP) + wide / 2
        y = box[3] - _GAP - row * (high + _GAP) - high / 2
        x0, y0, x1, y1 = one.plate
        cut.box((x + x0, y + y0, x + x1, y + y1), f"plate-{one.digit}")
        for count, slot in enumerate(one.slots):
            cut.area(slot + (x, y), f"digit-{one.digit}-{count}")
        for line in _lines(one, stencils):
            mark.line([(x + u, y + v) for u, v in line])
        words.write(one.digit, x + x0 + 1.0, y + y0 + 1.0, 2.2)
    for count, said in enumerate(_about(stencils)):
        words.write(said, _GAP, _ROOM - 3.4 - 3.4 * count, 1.9)
    return art


def _lines(one: Stencil, stencils: Stencils) -> Iterator[list[tuple[float, float]]]:
    """The middle line, which stands on the number's own line where it has one digit; at either
    side where the next digit's ink begins; foot and top of the ink, to lay to the pencil lines."""
    x0, y0, x1, y1 = one.plate
    half = stencils.height / 2
    yield [(0.0, y0), (0.0, y0 + 2.5)]
    yield [(0.0, y1), (0.0, y1 - 2.5)]
    for x in (one.ink[0] - stencils.gap, one.ink[1] + stencils.gap):
        if x0 < x < x1:
            yield [(x, y0), (x, y0 + 1.8)]
            yield [(x, y1), (x, y1 - 1.8)]
    for y in (-half, half):
        yield [(x0, y), (x0 + 2.5, y)]
        yield [(x1, y), (x1 - 2.5, y)]


def _about(stencils: Stencils) -> tuple[str, ...]:
    return (
        f"Digits {stencils.height:.1f} mm high over ink {stencils.line:g} mm wide; slots "
        f"{stencils.slot:.1f} mm wide, bridged; fill the gaps by hand.",
        "Cut layer cut out of film, some 0.2 mm thick; layer mark is only marked on it.",
        "Outer marks at foot and top: where the next digit's ink begins.",
        "Try tip and film on a scrap first. Blades: on a board, away from the hand, not on this "
        "table.",
    )
