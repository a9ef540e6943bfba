"""The order and direction of strokes inside a section for the least time with the pen up.

It knows the ends of strokes and the pens' holders, not sections; any frame, millimetres. Whole
strokes are ordered and turned, never broken. Nearest neighbour first, then the best of 2-opt,
or-opt and turning moves until none helps; Croes (1958) and Or (1976) are the classic sources.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import BoolArray, ComplexArray, FloatArray, IndexArray
    from marking.job.keys import Pen, PensTable
    from marking.layout.layout import Stroke
    from marking.sections.zones import ZonePace

PEN_CHANGE_SECONDS = 5.0
JOIN = 1e-6
"""Ends closer than this, in mm, are one point: the pen need not lift between them."""
_LONGEST_MOVED = 3
_GAIN = 1e-7
_MOST_RUNS = 64
_MOST_AT_ONCE = 250


class Leg(Struct, frozen=True):
    """One stroke of a route: which one, whether against its own direction, whether joined.

    A joined stroke starts where the one before it ended, so that the pen stays down.
    """

    index: int
    backwards: bool
    joined: bool


class Route(Struct, frozen=True):
    """A section's strokes in inking order, and what the inking takes."""

    legs: tuple[Leg, ...]
    lifts: int
    """How often the pen goes down."""
    travel: float
    """Pen-up travel in mm, from `start` and back to it."""
    seconds: float


def shortest(
    strokes: Sequence[Stroke], pens: PensTable, start: tuple[float, float], pace: ZonePace
) -> Route:
    """A short route through `strokes`, one holder after another, from `start` and back to it.

    A stroke of an even number of passes ends where it began.
    """
    if not strokes:
        return Route((), 0, 0.0, 0.0)
    home = complex(*start)
    points = np.concatenate([stroke.points for stroke in strokes]) @ (1, 1j)
    stops = np.cumsum([len(stroke.points) for stroke in strokes])
    ends = points[np.stack([np.append(0, stops[:-1]), stops - 1], axis=1)]
    held_by = [pens.named(stroke.pen) for stroke in strokes]
    slots = [pen.slot for pen in held_by]
    returns = np.array(
        [stroke.times(pen) % 2 == 0 for stroke, pen in zip(strokes, held_by, strict=True)]
    )
    # Seen from home, many sections of one table are the same to the micrometre, and then they
    # share one solution.
    seen = _seen(ends, home)
    lift = pace.lift * pace.travel
    order: list[tuple[int, bool]] = []
    at = home
    by_slot = [[n for n, other in enumerate(slots) if other == slot] for slot in sorted(set(slots))]
    for held, following in zip(by_slot, [*by_slot[1:], []], strict=True):
        # One holder's strokes lead to the nearest of the next one's, the last ones' home.
        for batch, after in _batches(held, following, ends, returns, at):
            goals = seen[after] if after else np.zeros(1, dtype=np.complex128)
            legs = _solved(
                seen[batch].tobytes(),
                _seen(np.array([at]), home).tobytes(),
                goals.tobytes(),
                returns[batch].tobytes(),
                lift,
            )
            order += [(batch[n], backwards) for n, backwards in legs]
            last, backwards = order[-1]
            at = complex(ends[last, int(backwards != (not returns[last]))])
    return _measured(order, strokes, ends.tolist(), held_by, home, pace)


def _seen(places: ComplexArray, home: complex) -> ComplexArray:
    # Adding nought turns a minus nought into nought.
    return (places - home).round(6) + 0.0


def _batches(
    held: list[int],
    following: list[int],
    ends: ComplexArray,
    returns: BoolArray,
    at: complex,
) -> Iterator[tuple[list[int], list[int]]]:
    """One holder's strokes in runs that are solved one after another, each with what follows it.

    Whole where there are few. A section of thousands, off a roll, is first put in order from
    nearest to nearest, since what a solution costs grows with the square of the strokes.
    """
    if len(held) <= _MOST_AT_ONCE:
        yield held, following
        return
    left = ends[held].copy()
    order: list[int] = []
    for _ in held:
        n, back = divmod(int(np.abs(left - at).argmin()), 2)
        order.append(n)
        at = complex(left[n, back if returns[held[n]] else 1 - back])
        left[n] = np.inf
    for first in range(0, len(order), _MOST_AT_ONCE):
        batch = [held[n] for n in order[first : first + _MOST_AT_ONCE]]
        after = [held[n] for n in order[first + _MOST_AT_ONCE : first + _MOST_AT_ONCE + 1]]
        yield batch, after or following


def _measured(
    order: Sequence[tuple[int, bool]],
    strokes: Sequence[Stroke],
    ends: Sequence[Sequence[complex]],
    held_by: Sequence[Pen],
    home: complex,
    pace: ZonePace,
) -> Route:
    legs = []
    at, held = home, None
    travel = seconds = 0.0
    lifts = 0
    for n, back in order:
        pen = held_by[n]
        slot, times, speed = pen.slot, strokes[n].times(pen), min(pace.draw, pen.speed or pace.draw)
        hop = abs(ends[n][back] - at)
        joined = hop <= JOIN and held == slot
        legs.append(Leg(n, back, joined))
        travel += hop
        lifts += not joined
        seconds += PEN_CHANGE_SECONDS * (held is not None and held != slot)
        seconds += strokes[n].length * times / speed
        at, held = ends[n][back if times % 2 == 0 else not back], slot
    travel += abs(home - at)
    seconds += travel / pace.travel + lifts * pace.lift
    return Route(tuple(legs), lifts, travel, seconds)


@lru_cache(maxsize=256)
def _solved(
    ends: bytes, start: bytes, goals: bytes, returns: bytes, lift: float
) -> tuple[tuple[int, bool], ...]:
    """The legs of a tour, from arrays as bytes so that a solution can be found again."""
    nodes, at, to = (np.frombuffer(part, dtype=np.complex128) for part in (ends, start, goals))
    return _Tour(nodes, at, to, np.frombuffer(returns, dtype=np.bool_), lift).legs()


class _Tour:
    """One holder's strokes from `start` to the nearest of `goals`, improved until no move helps.

    Nodes are stroke ends: node 2n is the first end of stroke n, 2n + 1 its last; two more
    nodes are the start and the goals. Costs are travel in mm, plus what a lift is worth of it.
    """

    def __init__(
        self,
        ends: ComplexArray,
        start: ComplexArray,
        goals: ComplexArray,
        returns: BoolArray,
        lift: float,
    ) -> None:
        self.count = len(returns)
        self.returns = returns
        nodes = np.arange(2 * self.count)
        self.exits = np.where(returns.repeat(2), nodes, nodes ^ 1)
        """For each node, the one at which a stroke entered there is left."""
        self.forward = np.triu(np.ones((self.count, self.count)))
        """1 where a run from i to j is one, 0 where j comes before i."""
        hops = np.zeros((2 * self.count + 2, 2 * self.count + 2))
        places = np.append(ends, start)
        hops[:-1, :-1] = np.abs(places[:, None] - places)
        hops[:-1, -1] = hops[-1, :-1] = np.abs(places[:, None] - goals).min(axis=1)
        self.cost = np.where(hops > JOIN, hops + lift, hops)
        # The pen goes down for the first stroke wherever that begins, and up after the last.
        self.cost[-2:], self.cost[:, -2:] = hops[-2:] + lift, hops[:, -2:] + lift

    def legs(self) -> tuple[tuple[int, bool], ...]:
        """Strokes in order, each with whether it is drawn backwards."""
        start, goal = 2 * self.count, 2 * self.count + 1
        out = self._improved(self._nearest_neighbour(start))
        back = self._improved(self._reversed(self._nearest_neighbour(goal)))
        best = min(out, back, key=self._total)
        return tuple((int(node) // 2, bool(node % 2)) for node in best)

    def _total(self, entries: IndexArray) -> float:
        into, out_of = self._ways(entries)
        return float(self.cost[out_of, into].sum())

    def _nearest_neighbour(self, at: int) -> IndexArray:
        """A first tour from node `at`, as the nodes at which the strokes are entered."""
        entries = np.empty(self.count, dtype=np.intp)
        away = self.cost[:, : 2 * self.count]
        drawn = np.zeros(2 * self.count)
        """Infinite for the ends of strokes that have their place."""
        for place in range(self.count):
            node = int((away[at] + drawn).argmin())
            entries[place] = node
            drawn[node & ~1 : (node | 1) + 1] = np.inf
            at = self.exits[node]
        return entries

    def _costs(self, nodes: IndexArray, others: IndexArray) -> FloatArray:
        """From each of `nodes` to each of `others`."""
        # None lies outside, and not to ask makes it a fifth quicker.
        return self.cost.take(nodes, axis=0, mode="clip").take(others, axis=1, mode="clip")

    def _reversed(self, entries: IndexArray) -> IndexArray:
        """A run of strokes drawn the other way round: each is entered where it was left."""
        return self.exits[entries[::-1]]

    def _ways(self, entries: IndexArray) -> tuple[IndexArray, IndexArray]:
        """Nodes that hops lead into, the goals last, and out of, the start first."""
        into, out_of = np.empty((2, self.count + 1), dtype=np.intp)
        into[:-1], into[-1] = entries, 2 * self.count + 1
        out_of[0], out_of[1:] = 2 * self.count, self.exits[entries]
        return into, out_of

    def _improved(self, entries: IndexArray) -> IndexArray:
        """The tour that no move gains on."""
        while (better := self._moved(entries)) is not None:
            entries = better
        return entries

    def _moved(self, entries: IndexArray) -> IndexArray | None:
        """The tour after the best move of the first kind that gains, or None when none does.

        Reversals come first: they gain most often and cost least to find.
        """
        into, out_of = self._ways(entries)
        hops = self.cost[out_of, into]
        runs = self._good_reversals(into, out_of, hops)
        if runs:
            better = entries.copy()
            for i, j in runs:
                better[i : j + 1] = self._reversed(entries[i : j + 1])
            return better
        gain, i = self._best_turn(entries, into, out_of, hops)
        if gain > _GAIN:
            turned = entries.copy()
            turned[i] ^= 1
            return turned
        x_to_x = self._costs(out_of, out_of)
        e_to_e = self._costs(into, into)
        x_to_e = self._costs(out_of, into)
        for length in range(1, min(_LONGEST_MOVED, self.count - 1) + 1):
            gain, i, gap, backwards = self._best_shift(length, x_to_e, x_to_x, e_to_e, hops)
            if gain > _GAIN:
                run = entries[i : i + length]
                run = self._reversed(run) if backwards else run
                rest = np.delete(entries, slice(i, i + length))
                return np.insert(rest, gap if gap < i else gap - length, run)
        return None

    def _good_reversals(
        self, into: IndexArray, out_of: IndexArray, hops: FloatArray
    ) -> list[tuple[int, int]]:
        """2-opt: runs i to j that gain, drawn the other way round, best first and apart."""
        # Whole rows side by side are added up twice as fast as parts of longer ones.
        gains = hops[:-1].repeat(self.count).reshape(self.count, self.count)
        gains += hops[1:]
        gains -= self._costs(out_of[:-1], out_of[1:])
        gains -= self._costs(into[:-1], into[1:])
        gains *= self.forward
        flat = gains.ravel()
        good = (flat > _GAIN).nonzero()[0]
        runs: list[tuple[int, int]] = []
        if not good.size:
            return runs
        good = good[np.argsort(-flat[good], kind="stable")]
        taken = 0
        for place in good[:_MOST_RUNS].tolist():
            i, j = divmod(place, self.count)
            # Runs side by side share a hop; one gain would undo the other. A bit for each hop.
            hops_of_run = (2 << j + 1) - (1 << i)
            if not taken & hops_of_run:
                taken |= hops_of_run
                runs.append((i, j))
        return runs

    def _best_turn(
        self, entries: IndexArray, into: IndexArray, out_of: IndexArray, hops: FloatArray
    ) -> tuple[float, int]:
        """A stroke of even passes, entered and left at its other end."""
        other = entries ^ 1
        gains = hops[:-1] + hops[1:] - self.cost[out_of[:-1], other] - self.cost[other, into[1:]]
        gains[~self.returns[entries // 2]] = -np.inf
        i = int(gains.argmax())
        return float(gains[i]), i

    def _best_shift(
        self,
        length: int,
        x_to_e: FloatArray,
        x_to_x: FloatArray,
        e_to_e: FloatArray,
        hops: FloatArray,
    ) -> tuple[float, int, int, bool]:
        """Or-opt: the run of `length` from i, moved into the hop at `gap`, either way round."""
        many = self.count - length + 1
        after = slice(length, length + many)
        taken = hops[:many] + hops[after] - x_to_e.diagonal(length)[:many]
        forward = x_to_e.T[:many] + x_to_e[after]
        backward = x_to_x[after] + e_to_e[:many]
        gains = taken[:, None] + hops
        gains -= np.minimum(forward, backward)
        for own in range(length + 1):
            # Where run i stands already: down the diagonal, one place further on for each row.
            gains.reshape(-1)[own :: self.count + 2][:many] = -np.inf
        i, gap = divmod(int(gains.argmax()), gains.shape[1])
        return float(gains[i, gap]), i, gap, bool(backward[i, gap] < forward[i, gap])
