"""What is wrong with landings that no projector could make, said before or beside a true-up.

It names what, where and what would do; it changes nothing.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from devices.projector.light.mapping import apply
from devices.projector.trueup.calibration import LEAST_TARGETS, calibrate, direct_linear_transform
from marking.errors import BadInputError, RefusedError
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.projector.light.mapping import LightMapping
    from devices.projector.trueup.calibration import Calibration, Landing, LandingErrors
    from marking.arrays import FloatArray
    from marking.measures.lengths import Units

_FLAT = 0.02
"""Spread across over spread along, under which targets are as good as on one line."""
_SAME_TARGET = 0.06
"""Of the picture's half diagonal: how far apart one target may be lit for its two landings."""
_TRIED = 3
"""Exchanges of two points that are worked out in full: those that fit best at a quick look."""
_UNIT_RATIOS = {
    25.4: "inches where it should be millimetres",
    2.54: "inches where it should be centimetres",
    10.0: "centimetres where it should be millimetres",
}


def solve(
    landings: Sequence[Landing],
    expected: LightMapping,
    pixels: tuple[int, int],
    corners_table: FloatArray,
    setting: LandingErrors,
) -> Calibration:
    """The true-up of `landings`, after every fault that can be told apart is ruled out.

    `expected` is the profile's mapping, wherever its lens; `corners_table` (4, 2) the top.
    Raises BadInputError for landings that cannot be right, RefusedError for a picture that
    cannot be used.
    """
    table = np.array([landing.at_table for landing in landings], dtype=float)
    px = np.array([landing.at_px for landing in landings], dtype=float)
    _check_enough(landings, table, px, expected.radius_px)
    _check_orientation(landings, table, px, expected.radius_px)
    _check_unit(table, px, expected)
    try:
        solved = calibrate(landings, expected.axis_px, expected.radius_px, setting)
        _check_swapped(solved, expected, setting)
    except np.linalg.LinAlgError:
        raise BadInputError(
            "no picture at all fits these landings: some readings are far out. Check them target "
            "by target against the tape, or land them again"
        ) from None
    _check_picture(solved.mapping, pixels, corners_table)
    return solved


def _check_enough(
    landings: Sequence[Landing], table: FloatArray, px: FloatArray, radius_px: float
) -> None:
    if len(landings) < LEAST_TARGETS:
        raise BadInputError(
            f"{len(landings)} target{'s' if len(landings) != 1 else ''} landed; a true-up needs "
            f"{LEAST_TARGETS}, and with all of them a slip can be found. Land more"
        )
    for points, what in ((table, "points on the table"), (px, "lit targets")):
        if not np.isfinite(points).all():
            raise BadInputError(f"the {what} are not all numbers; type the readings again")
        spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
        if spread[1] < _FLAT * spread[0]:
            raise BadInputError(
                f"the {what} all lie on one line, so nothing says how the picture lies beside "
                "it; land targets towards all four corners"
            )
    for left, right in itertools.combinations(range(len(landings)), 2):
        # A target landed a second time is lit close by.
        apart = float(np.hypot(*(px[left] - px[right])))
        if np.hypot(*(table[left] - table[right])) < 1.0 and apart > _SAME_TARGET * radius_px:
            raise BadInputError(
                f"targets {landings[left].name} and {landings[right].name} were landed on the "
                "same point; land one of them on its own"
            )
    if len(landings) == LEAST_TARGETS:
        for three in itertools.combinations(range(LEAST_TARGETS), 3):
            corner = table[list(three)]
            spread = np.linalg.svd(corner - corner.mean(axis=0), compute_uv=False)
            if spread[1] < _FLAT * spread[0]:
                names = ", ".join(landings[index].name for index in three)
                raise BadInputError(
                    f"targets {names} lie on one line; with only four targets no three may. "
                    "Land a fifth, away from that line"
                )


def _turns(points: FloatArray) -> FloatArray:
    """Signs of the areas of all triangles of `points`, 0 for the flattest."""
    triples = np.array(list(itertools.combinations(range(len(points)), 3)))
    a, b, c = points[triples[:, 0]], points[triples[:, 1]], points[triples[:, 2]]
    ab, ac = b - a, c - a
    areas = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    flat = np.abs(areas) < 0.02 * np.abs(areas).max()
    return np.where(flat, 0.0, np.sign(areas))


def _exchanges(px: FloatArray, radius_px: float) -> Iterator[tuple[int, int, list[int]]]:
    """Two targets, and the order of points with theirs exchanged.

    In one landing of each; then, where both were landed as often, in all of them.
    """
    apart = np.linalg.norm(px[:, None] - px[None], axis=2)
    same = [np.flatnonzero(row < _SAME_TARGET * radius_px).tolist() for row in apart]
    for left, right in itertools.combinations(range(len(px)), 2):
        order = list(range(len(px)))
        order[left], order[right] = right, left
        yield left, right, order
        both = list(zip(same[left], same[right], strict=False))
        if len(same[left]) == len(same[right]) > 1 and both[0] == (left, right):
            order = list(range(len(px)))
            for one, other in both:
                order[one], order[other] = other, one
            yield left, right, order


def _swapped(left: Landing, right: Landing) -> BadInputError:
    return BadInputError(
        f"the points of targets {left.name} and {right.name} look swapped: exchanged, all "
        "landings agree. Land these two again, or exchange them"
    )


def _check_orientation(
    landings: Sequence[Landing], table: FloatArray, px: FloatArray, radius_px: float
) -> None:
    """A picture in front of the lens keeps the turn of every triangle, or reverses them all."""
    kept = _turns(table) * _turns(px)
    if (kept <= 0).all():  # pixel rows count downwards, so an honest picture reverses them
        return
    if (kept >= 0).all():
        raise BadInputError(
            "the picture is mirrored: left and right are exchanged between picture and table. "
            "Set the projector's menu from rear to front projection (or the other way round), or "
            "measure along from the zero end, and land the targets again"
        )
    for left, right, order in _exchanges(px, radius_px):
        if (_turns(table[order]) * _turns(px) <= 0).all():
            raise _swapped(landings[left], landings[right])
    raise BadInputError(
        "these landings fold the picture over itself, which no light does: some targets were "
        "landed on each other's points, or a reading is far out. Check the readings target by "
        "target, or land them again"
    )


def _check_unit(table: FloatArray, px: FloatArray, expected: LightMapping) -> None:
    """All readings in a wrong unit: the picture's size gives it away."""
    looked_for = expected.to_table(px)
    size = float(np.linalg.norm(table - table.mean(axis=0)))
    ratio = size / float(np.linalg.norm(looked_for - looked_for.mean(axis=0)))
    for factor, mistake in _UNIT_RATIOS.items():
        for measured in (ratio, 1 / ratio):
            if abs(measured / factor - 1) < 0.2:
                raise BadInputError(
                    f"the landings lie {ratio:.3g} times as far apart as this projector's profile "
                    f"says, as if typed in {mistake} or the other way round. Check the unit of "
                    "the readings; if they are right, correct the projector's distance in job.toml"
                )
    if not 1 / 3 < ratio < 3:
        raise BadInputError(
            f"the landings lie {ratio:.3g} times as far apart as this projector's profile says. "
            "Check the readings; if they are right, correct the projector's distance or throw "
            "ratio in job.toml"
        )


def _check_swapped(solved: Calibration, expected: LightMapping, setting: LandingErrors) -> None:
    """Two points exchanged that keep every turn: the exchange that makes all of them fit."""
    if not solved.blunders:
        return
    landings = solved.landings
    px = np.array([landing.at_px for landing in landings])
    table = np.array([landing.at_table for landing in landings])
    likely = sorted(
        _exchanges(px, expected.radius_px), key=lambda exchange: _off(table[exchange[2]], px)
    )
    for left, right, order in likely[:_TRIED]:
        exchanged = [
            replace(landing, at_table=landings[place].at_table)
            for landing, place in zip(landings, order, strict=True)
        ]
        again = calibrate(exchanged, expected.axis_px, expected.radius_px, setting)
        if again.spare and not again.blunders and again.misfit < solved.misfit / 20:
            raise _swapped(landings[left], landings[right])


def _off(table: FloatArray, px: FloatArray) -> float:
    """How badly points and pixels fit one homography: quick, and enough to put them in order."""
    found = apply(direct_linear_transform(table, px), table)
    return float(((found - px) ** 2).sum())


def _check_picture(
    mapping: LightMapping, pixels: tuple[int, int], corners_table: FloatArray
) -> None:
    width, height = pixels
    edge = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    corners = mapping.to_table(edge)
    depths = mapping.depth(np.vstack([corners, corners.mean(axis=0)]))
    # The corners of an honest picture stay in front of the lens and go round one way.
    runs = np.roll(corners, -1, axis=0) - corners
    after = np.roll(runs, -1, axis=0)
    turns = runs[:, 0] * after[:, 1] - runs[:, 1] * after[:, 0]
    if not ((depths > 0).all() or (depths < 0).all()) or not (turns < 0).all():
        raise BadInputError(
            "this true-up would fold the picture's edge over itself, so it is wrong away from "
            "the targets; land targets farther apart, towards the picture's corners, and check "
            "the readings"
        )
    low, high = corners_table.min(axis=0), corners_table.max(axis=0)
    if (corners.max(axis=0) < low).any() or (corners.min(axis=0) > high).any():
        raise RefusedError(
            "the picture misses the table: by these readings all of it falls beside the top. "
            "Check where along and across were measured from (the zero corner), or move the "
            "projector"
        )


def blunder_lines(solved: Calibration, units: Units) -> list[str]:
    """What landings the others contradict: those that explain it alone, the likeliest first.

    A slip shows in its neighbours too, so a landing that fits badly is named only where all
    others agree without it; where none explains it alone, the two worst are.
    """
    suspects = [index for index in solved.blunders if len(solved.landings) > LEAST_TARGETS]
    alone = [index for index in suspects if solved.agree_without(index)]
    if not alone:
        return [
            f"{_contradiction(solved, index, units)}. More than one landing is off: land this again"
            for index in suspects[:2]
        ]
    likeliest = _contradiction(solved, alone[0], units)
    lines = [f"{likeliest}. Land it again, or leave it out"]
    if len(alone) > 1:
        names = ", then ".join(solved.landings[index].name for index in alone[1:])
        lines.append(
            f"If that does not help, try {names}: a slip there would look much the same, and one "
            "of them is enough"
        )
    return lines


def _contradiction(solved: Calibration, index: int, units: Units) -> str:
    """How far a landing lies off what the others say."""
    landing = solved.landings[index]
    rest = [other for other in solved.landings if other is not landing]
    without = calibrate(rest, solved.mapping.axis_px, solved.mapping.radius_px)
    said = without.mapping.to_table(np.array([landing.at_px]))[0]
    off = float(np.hypot(*(said - landing.at_table)))
    return (
        f"Target {landing.name} contradicts the others by "
        f"{format_length(off, units, remainder=True)}: by them it fell at "
        f"{format_length(said[0], units)} along, {format_length(said[1], units)} across"
    )
