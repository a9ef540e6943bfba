"""What readings and marks share beside the datum, as blocks of the network's state.

The plotter's scale and the pointer's offset, which every section shares; what a row of marks has
in common as it is set out. It knows sizes and places, no reading. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel

PLOTTER = "plotter"
"""Scale along, scale across and skew of the plotter, mm per mm."""
POINTER = "pointer"
"""How far what inks stands from what reads, in mm: a pen sent to where it read misses by it."""
DEVICE = (PLOTTER, POINTER)


class Block(Struct, frozen=True):
    """One block of k errors as it is believed before any reading: its own and what others add."""

    name: str
    sd: FloatArray
    """(k,): of its own errors."""
    parts: tuple[tuple[str, FloatArray], ...] = ()
    """Other blocks by name, and how each moves this one: (k, j)."""
    moves: FloatArray | None = None
    """(k, 2): how the datum's errors move it by itself; None for not at all."""
    either_way: tuple[int, ...] = ()
    """Which of its errors are so large to one side or the other, with nothing between."""
    mixed: FloatArray | None = None
    """(k, k): how its own errors move it, where they go together; None: each by itself."""
    mean: FloatArray | None = None
    """(k,): what is believed of it already; None for nothing."""


def own_block(mark: str) -> str:
    """The name of the block that holds a mark's own displacement."""
    return f"mark {mark}"


def stacked(
    blocks: Sequence[Block], places: Mapping[str, slice], size: int
) -> tuple[dict[str, slice], FloatArray, FloatArray, FloatArray]:
    """`blocks` after a state of `size` with `places`: where each stands then, and what moves them.

    By the state (k, size), by each of their own errors (k, k), since one may move the next, and by
    the datum's, directly (k, 2).
    """
    count = sum(len(block.sd) for block in blocks)
    stand = dict(places)
    by_state, by_own, moves = np.zeros((count, size)), np.eye(count), np.zeros((count, 2))
    start = 0
    for block in blocks:
        mine = slice(start, start + len(block.sd))
        if block.mixed is not None:
            by_own[mine, mine] = block.mixed
        for other, moved in block.parts:
            at = stand[other]
            if at.start < size:
                by_state[mine, at] += moved
            else:
                new = slice(at.start - size, at.stop - size)
                by_state[mine] += moved @ by_state[new]
                by_own[mine] += moved @ by_own[new]
        if block.moves is not None:
            moves[mine] = block.moves
        stand[block.name] = slice(size + mine.start, size + mine.stop)
        start = mine.stop
    return stand, by_state, by_own, moves


def device_blocks(errors: ErrorModel) -> tuple[Block, ...]:
    """What every reading of a day shares, where it errs at all."""
    plotter = Block(PLOTTER, np.full(3, errors.scale))
    if errors.trial is not None:
        mixed = np.linalg.cholesky(np.array(errors.trial.covariance))
        found = np.array(errors.trial.left)
        plotter = Block(PLOTTER, np.ones(3), mixed=mixed, mean=found)
    pointer = Block(POINTER, np.full(2, errors.pointer))
    return tuple(block for block in (plotter, pointer) if block.sd.any())


def scale_effect(points: FloatArray, about: FloatArray) -> FloatArray:
    """How `PLOTTER` moves where a pen stands that was sent to points (n, 2): (n, 2, 3), mm."""
    x, y = (np.asarray(points, dtype=np.float64) - about).T
    moved = np.zeros((len(x), 2, 3))
    moved[:, 0, 0], moved[:, 0, 2], moved[:, 1, 1] = x, y, y
    return moved


def span_of(points: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """x of the first and the last of the marks at `points`: struck lines reach so far."""
    xs = [x for x, _ in points]
    return (min(xs), max(xs)) if xs else (0.0, 0.0)


def ink_block(mark: str, sd: float) -> Block:
    """An inked mark off its section's ink: the pen's scatter, and the cloth's give there."""
    return Block(own_block(mark), np.full(2, sd))


def tape_mark_blocks(
    mark: str,
    at: tuple[float, float],
    sd: float,
    errors: ErrorModel,
    span: tuple[float, float],
    datum: Datum,
) -> Sequence[Block]:
    """The blocks of a mark set out by tape, its own last; `span` as of `span_of`.

    Marks of one height stand on one struck line, which is taped at both its ends; those of one
    reading along, or one up, are set to the same graduation.
    """
    moves = datum.moves(np.array([at]))[0]
    if not errors.rows:
        own = sd if errors.mark is None else errors.mark
        return [Block(own_block(mark), np.full(2, own), (), moves)]
    x, y = at
    low, high = span
    share = (x - low) / (high - low) if high > low else 0.0
    row = Block(f"row {y:.2f}", np.array([errors.row_zero, errors.row_ends, errors.row_ends]))
    of_row = np.array([[1.0, 0.0, 0.0], [0.0, 1.0 - share, share]])
    found, parts = [], []
    if row.sd.any():
        found.append(row)
        parts.append((row.name, of_row))
    if errors.graduation:
        along, up = f"along {x:.2f}", f"up {y:.2f}"
        # Uniform within a limit: its standard deviation is the limit over the root of 3.
        graduated = np.array([errors.graduation / np.sqrt(3)])
        found += [Block(along, graduated), Block(up, graduated)]
        parts += [(along, np.array([[1.0], [0.0]])), (up, np.array([[0.0], [1.0]]))]
    own = sd if errors.mark is None else errors.mark
    sag = errors.row_sag * 4 * share * (1 - share)
    found.append(Block(own_block(mark), np.array([own, np.hypot(own, sag)]), tuple(parts), moves))
    return found
