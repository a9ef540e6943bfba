"""Boards under the canvas: every inch covered once, by as few sheets as trying all finds."""

from __future__ import annotations

import math

import numpy as np
import pytest

from marking.cloth.underlay import underlay_for
from marking.errors import RefusedError
from tests.cloth.brute_force import cut_from_one, least

FOOT = 304.8
SHEET = (8 * FOOT, 4 * FOOT)
"""As sold; common practice, no source."""
BAND = 203.2
TOPS = {
    "Millrace": (3810.0, 1625.6),
    "12 ft by 5 ft": (12 * FOOT, 5 * FOOT),
    "213 by 91 cm": (2130.0, 910.0),
    "12 ft 3 1/2 in by 4 ft 10 1/2 in": (3746.5, 1485.9),
    "a little over a sheet": (2463.8, 1244.6),
    "six sheets": (16 * FOOT, 12 * FOOT),
}


@pytest.mark.parametrize(("length", "width"), TOPS.values(), ids=TOPS)
def test_boards_cover_the_top_once_and_are_cut_from_their_sheets(length, width):
    x, y = 10.0, -3.0
    board = underlay_for((x, y, x + length, y + width), BAND, SHEET)
    lies = np.array([piece.lies for piece in board.pieces])
    assert lies.min(axis=0)[:2].tolist() == [x, y]
    assert np.allclose(lies.max(axis=0)[2:], [x + length, y + width])
    sides = lies[:, 2:] - lies[:, :2]
    assert sides.prod(axis=1).sum() == pytest.approx(length * width)
    assert _overlap([piece.lies for piece in board.pieces]) < 1
    for number in range(1, board.sheets + 1):
        cut = [piece.cut for piece in board.pieces if piece.sheet == number]
        assert cut
        assert np.min(cut) > -1e-3
        assert np.all(np.max(cut, axis=0)[2:] < np.array(SHEET) + 1e-3)
        assert _overlap(cut) < 1
    for piece in board.pieces:
        there, here = (
            sorted((box[2] - box[0], box[3] - box[1])) for box in (piece.cut, piece.lies)
        )
        assert there == pytest.approx(here, abs=1e-3)
    # No fewer sheets have the area.
    assert board.sheets >= math.ceil(length * width / (SHEET[0] * SHEET[1]) - 1e-9)
    assert board.under_bands == 0
    assert board.in_line == 0


def _overlap(boxes):
    area = 0.0
    for n, (x0, y0, x1, y1) in enumerate(boxes):
        for a0, b0, a1, b1 in boxes[:n]:
            area += max(0.0, min(x1, a1) - max(x0, a0)) * max(0.0, min(y1, b1) - max(y0, b0))
    return area


@pytest.mark.parametrize("sheet", [(4, 2), (3, 2), (5, 3)])
def test_no_way_of_laying_as_many_pieces_takes_fewer_sheets(sheet):
    # Against every tiling and every share-out of small tops, found by trying all.
    unit, tried = 300.0, 0
    for length in range(2, 9):
        for width in range(1, min(length, 4) + 1):
            top = (0.0, 0.0, length * unit, width * unit)
            board = underlay_for(top, 0.0, (sheet[0] * unit, sheet[1] * unit), least=unit)
            count = len(board.pieces)
            if count > 6:
                continue
            tried += 1
            fewest = dict(least(length, width, sheet, count))
            assert board.sheets == min(fewest.values()), (length, width, fewest)
            # Pieces that sheets alike could do without stand for joints that lie apart.
            spare = count - min(n for n, sheets in fewest.items() if sheets == board.sheets)
            assert spare == (1 if (sheet, length, width) == ((3, 2), 6, 4) else 0)
    assert tried >= 18


def test_each_sheet_comes_apart_by_cuts_from_side_to_side():
    for length, width in TOPS.values():
        board = underlay_for((0.0, 0.0, length, width), BAND, SHEET)
        for number in range(1, board.sheets + 1):
            # In whole inches, rounded down: by another's rule for cuts that go through.
            sizes = tuple(
                sorted(
                    (
                        math.floor(max(x1 - x0, y1 - y0) / 25.4),
                        math.floor(min(x1 - x0, y1 - y0) / 25.4),
                    )
                    for x0, y0, x1, y1 in (p.cut for p in board.pieces if p.sheet == number)
                )
            )
            assert cut_from_one(sizes, 96, 48)


def test_the_joint_under_a_hem_band_moves_out_where_sheets_allow():
    # 50 in wide: a whole sheet's 48 in would leave its joint 2 in from the edge.
    board = underlay_for((0.0, 0.0, 3810.0, 1270.0), BAND, SHEET)
    edges = {round(y, 3) for piece in board.pieces for y in (piece.lies[1], piece.lies[3])}
    assert not [y for y in edges if 0 < y < BAND or 1270 - BAND < y < 1270]


def test_joints_of_neighbouring_courses_lie_apart():
    # Two courses of two whole sheets fill it; in line they would part it from end to end.
    board = underlay_for((0.0, 0.0, 16 * FOOT, 8 * FOOT), 0.0, SHEET)
    assert board.sheets == 4
    assert board.in_line == 0


def test_a_top_for_a_hall_is_refused_and_says_which_key():
    with pytest.raises(RefusedError, match=r"cover.sheet: .*sheets"):
        underlay_for((0.0, 0.0, 90_000.0, 5_000.0), BAND, SHEET)
