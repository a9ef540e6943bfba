"""Where to put the targets of a true-up, and where to light them.

It knows mappings and points, not how a target is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from devices.projector.trueup.points import nearest

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from devices.projector.light.mapping import LightMapping
    from devices.projector.trueup.points import KnownPoint
    from marking.arrays import Box

NINE = 9
INSET = 0.04
"""Of the window's width: targets stand this far inside it, so that all of each is lit."""
_NEAR = 0.15
"""Of the window's sides: how far from its best place a target may go to a point that is there."""
ASIDE_PX = 12.0
"""Pixels beside its point at which a target is lit when that is known already, so that it is
brought there by eye and not found there."""


class LightTarget(Struct, frozen=True):
    """A target to land: where it is lit first, and the point it is to be brought onto."""

    name: str
    at_px: tuple[float, float]
    at_table: tuple[float, float]
    sd: float = 0.0
    """How exactly the point is known, in mm per axis."""
    what: str = ""
    """What stands on the point; empty for one to be found by tape."""
    touched: bool = False
    """Whether its light has been nudged, or where it fell been typed."""
    again: str = ""
    """Name of the target whose point this lands a second time; empty for a first landing."""


def on_top(window: Box, length: float, width: float) -> Box:
    """What of a window lies on a top of that size: a small one has no cloth under all the light."""
    x0, y0, x1, y1 = window
    return max(x0, 0.0), max(y0, 0.0), min(x1, length), min(y1, width)


def suggest(
    window: Box,
    expected: LightMapping,
    by_tape: Callable[[float, float], KnownPoint],
    known: Sequence[KnownPoint] = (),
) -> tuple[LightTarget, ...]:
    """Nine targets over a window, corners first, and the corners once more.

    Three by three out to the edge: errors grow outwards from the targets, and the corners and
    middles together tell keystone, lens and blunders apart best. Little but a second landing
    checks a corner. `by_tape` gives the point to use near a place; points `known` to be there
    are used before it.
    """
    x0, y0, x1, y1 = window
    inset = INSET * (x1 - x0)
    xs, ys = (x0 + inset, (x0 + x1) / 2, x1 - inset), (y1 - inset, (y0 + y1) / 2, y0 + inset)
    corners = [(x, y) for y in ys[::2] for x in xs[::2]]
    between = [(xs[1], ys[0]), (xs[0], ys[1]), (xs[1], ys[1]), (xs[2], ys[1]), (xs[1], ys[2])]
    within = _NEAR * min(x1 - x0, y1 - y0)
    points = [nearest(known, place, within) or by_tape(*place) for place in corners + between]
    points += points[: len(corners)]
    lit = np.round(expected.to_px(np.array([point.at for point in points])))
    middle = lit.mean(axis=0)
    lit[NINE:] += ASIDE_PX * np.sign(middle - lit[NINE:])
    return tuple(
        LightTarget(
            str(number),
            (float(px[0]), float(px[1])),
            point.at,
            point.sd,
            point.what,
            again=str(number - NINE) if number > NINE else "",
        )
        for number, (px, point) in enumerate(zip(lit, points, strict=True), 1)
    )


def relit(
    targets: Sequence[LightTarget], mapping: LightMapping, aside_px: float = 0.0
) -> tuple[LightTarget, ...]:
    """The targets lit where `mapping` now puts their points, or that far beside them."""
    lit = mapping.to_px(np.array([target.at_table for target in targets])).round() + aside_px
    return tuple(
        replace(target, at_px=(float(px[0]), float(px[1])))
        for target, px in zip(targets, lit, strict=True)
    )
