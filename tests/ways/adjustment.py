"""One joint least-squares adjustment of everything that was read: the reference, and a stand-in.

It is written from the description of the work and shares nothing with the program. All unknowns are
solved together from every reading so far, weighted by its doubt: each section's pose; where each
tape mark really lies; what a row of marks shares (its zero, both ends of its struck line); what all
marks share (the lean of the zero line, the tape's scale, each graduation); the plotter's scale on
both axes and its skew; what is left of the pointer's offset; each clamping of the fence (along, its
two ends, its bow). What is believed of an unknown beforehand is an observation like any other, so
that nothing is without a datum.

`Adjustment` is made once for a plan: its normal matrices are those at the poses as planned, one for
each section (the readings until then), and factorised once, so that many covers are solved by one
product with many right sides. Residuals are exact, so two or three rounds converge.
Their derivatives stay those at the poses as planned, which shifts the minimum by some 1e-3 mm where
a device stands milliradians askew; `joint_adjustment` takes them anew each round and has no such
shift: one cover, all readings. `solved` is the same problem given to scipy's least_squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg
import scipy.optimize
import scipy.sparse
import scipy.stats

from tests.ways.cover_model import onto_table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.ways.cover_model import Errors, Plan

    FloatArray = NDArray[np.float64]

_LEAST = 1e-6
"""mm: no doubt is taken to be less, so that the weights stay finite."""
_SET_DOWN = (1e3, 1e3, 5.0)
"""What is believed of a set-down by hand: next to nothing."""


class Unknowns:
    """Where each unknown stands in the vector."""

    def __init__(self, plan: Plan) -> None:
        self.size = 0
        self.poses = self._block(len(plan.sections), 3)
        self.marks = self._block(len(plan.marks), 2)
        self.rows = {r: i for i, r in enumerate(sorted({m.row for m in plan.marks}))}
        self.row = self._block(len(self.rows), 3)
        self.x_of = {x: i for i, x in enumerate(sorted({round(m.at[0], 6) for m in plan.marks}))}
        self.y_of = {y: i for i, y in enumerate(sorted({round(m.at[1], 6) for m in plan.marks}))}
        self.graduation_x = self._block(len(self.x_of))
        self.graduation_y = self._block(len(self.y_of))
        self.lean, self.tape = self._block(1)[0], self._block(1)[0]
        self.scale = self._block(3)
        self.pointer = self._block(2)
        self.clampings = self._block(len(plan.clampings), 4)

    def _block(self, *shape: int) -> NDArray[np.int_]:
        count = int(np.prod(shape))
        out = np.arange(self.size, self.size + count).reshape(shape)
        self.size += count
        return out


class _Rows:
    """Linear rows: sum of coefficient times unknown = 0, with a doubt."""

    def __init__(self) -> None:
        self.entries: list[tuple[int, int, float]] = []
        self.doubts: list[float] = []

    def add(self, terms: list[tuple[int, float]], doubt: float) -> None:
        self.entries += [(len(self.doubts), int(at), by) for at, by in terms]
        self.doubts.append(max(doubt, _LEAST))

    def matrix(self, size: int) -> scipy.sparse.csr_array:
        row, column, by = zip(*self.entries, strict=True)
        return scipy.sparse.csr_array((by, (row, column)), shape=(len(self.doubts), size))


def believed(plan: Plan, errors: Errors, u: Unknowns) -> _Rows:
    """What is believed before any reading, as rows. Scales are per metre, to keep the matrix even.

    Uniform errors are taken with their standard deviation. The bow's is its size.
    """
    e, rows = errors, _Rows()
    for k, section in enumerate(plan.sections):
        if section.fence is None:
            for at, doubt in zip(u.poses[k], _SET_DOWN, strict=True):
                rows.add([(at, 1.0)], doubt)
            continue
        clamping = plan.clampings[section.fence]
        along, end0, end1, bow = u.clampings[section.fence]
        x, y, turn = u.poses[k]
        reach = (section.centre[0] - clamping.x0) / 1000
        rows.add([(x, 1), (turn, section.depth / 2), (along, -1), (u.tape, -reach)], e.stops)
        for touch in section.touches:
            share = (touch - clamping.x0) / (clamping.x1 - clamping.x0)
            rows.add(
                [
                    (y, 1),
                    (turn, touch - section.centre[0]),
                    (end0, share - 1),
                    (end1, -share),
                    (bow, -4 * share * (1 - share)),
                ],
                e.contact,
            )
    for mark, (mx, my) in zip(plan.marks, u.marks, strict=True):
        x, y = mark.at
        zero, end0, end1 = u.row[u.rows[mark.row]]
        share = x / plan.length
        gx = u.graduation_x[u.x_of[round(x, 6)]]
        gy = u.graduation_y[u.y_of[round(y, 6)]]
        rows.add([(mx, 1), (zero, -1), (gx, -1), (u.tape, -x / 1000), (u.lean, y / 1000)], e.mark)
        across = float(np.hypot(e.mark, e.row_sag * 4 * share * (1 - share)))
        rows.add(
            [(my, 1), (end0, share - 1), (end1, -share), (gy, -1), (u.tape, -y / 1000)], across
        )
    for at in u.row:
        for one, doubt in zip(at, (e.row_zero, e.row_ends, e.row_ends), strict=True):
            rows.add([(one, 1)], doubt)
    for at in (*u.graduation_x, *u.graduation_y):
        rows.add([(at, 1)], e.graduation / np.sqrt(3))
    rows.add([(u.lean, 1)], e.lean * 1000)
    rows.add([(u.tape, 1)], e.tape_scale * 1000)
    for at in u.scale:
        rows.add([(at, 1)], e.scale * 1000)
    for at in u.pointer:
        rows.add([(at, 1)], e.pointer)
    for f, clamping in enumerate(plan.clampings):
        along, end0, end1, bow = u.clampings[f]
        tie = clamping.set_to
        rows.add([(along, 1), *([(u.marks[tie[0], 0], -1)] if tie else [])], e.rail_along)
        rows.add([(end0, 1), *([(u.marks[tie[0], 1], -1)] if tie else [])], e.rail_ends)
        rows.add([(end1, 1), *([(u.marks[tie[1], 1], -1)] if tie else [])], e.rail_ends)
        rows.add([(bow, 1)], e.bow)
    return rows


def read_rows(
    plan: Plan,
    errors: Errors,
    u: Unknowns,
    state: FloatArray | None = None,
    read: FloatArray | None = None,
    sent: FloatArray | None = None,
) -> _Rows:
    """The readings' rows, two each: pointer less target, linear at `state` (unknowns,).

    Without a state: at the poses as planned, where each point is read where it should be.
    """
    rows = _Rows()
    one = float(np.hypot(errors.reading, errors.cloth))
    at = np.zeros(u.size) if state is None else state

    def device(k: int, bed: FloatArray, sign: float) -> list[list[tuple[int, float]]]:
        """Of T(bed): by the pose and by the plotter's scale."""
        turn = at[u.poses[k, 2]]
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        sx, sy, skew = at[u.scale] / 1000
        bx, by = bed
        x, y = rotation @ np.array([(1 + sx) * bx + skew * by, (1 + sy) * by])
        by_scale = rotation @ np.array([[bx, 0, by], [0, by, 0]]) / 1000
        out = [[(u.poses[k, 0], sign), (u.poses[k, 2], -sign * y)]]
        out += [[(u.poses[k, 1], sign), (u.poses[k, 2], sign * x)]]
        for axis in range(2):
            out[axis] += list(zip(u.scale, sign * by_scale[axis], strict=True))
        return out

    def by_pointer(k: int) -> FloatArray:
        turn = at[u.poses[k, 2]]
        sx, sy, skew = at[u.scale] / 1000
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return rotation @ np.array([[1 + sx, skew], [0, 1 + sy]])

    for i, r in enumerate(plan.readings):
        target = np.array(plan.target(r))
        bed = target - plan.sections[r.section].centre
        if read is not None:
            bed = read[i] + at[u.pointer]
        across = device(r.section, bed, 1.0)
        if r.of is not None:
            drawn = target - plan.sections[r.of].centre if sent is None else sent[i]
            of = device(r.of, drawn, -1.0)
        pointer = by_pointer(r.section)
        for axis in range(2):
            across[axis] += list(zip(u.pointer, pointer[axis], strict=True))
            if r.mark is not None:
                across[axis].append((u.marks[r.mark, axis], -1.0))
            else:
                across[axis] += of[axis]
            given = 0.0 if r.mark is not None else errors.cloth
            rows.add(across[axis], float(np.hypot(one, given)))
    return rows


def misclosures(
    plan: Plan, u: Unknowns, state: FloatArray, read: FloatArray, sent: FloatArray, until: int
) -> FloatArray:
    """(covers, until * 2): where the pointer stood less where its target is, exactly; table."""
    scale = state[:, u.scale] / 1000
    out = np.empty((len(state), until, 2))
    for i, r in enumerate(plan.readings[:until]):

        def lies(k: int, bed: FloatArray) -> FloatArray:
            pose = np.concatenate([state[:, u.poses[k]], scale], axis=1)
            return onto_table(pose, np.array(plan.sections[k].centre), bed)

        if r.mark is not None:
            there = state[:, u.marks[r.mark]] + plan.marks[r.mark].at
        else:
            assert r.of is not None
            there = lies(r.of, sent[:, i])
        out[:, i] = lies(r.section, read[:, i] + state[:, u.pointer]) - there
    return out.reshape(len(state), -1)


def _rigid(at: FloatArray, centre: tuple[float, float]) -> FloatArray:
    """(2 n, 3): how far points `at` (n, 2) move, x and y in turn, by tx, ty and turn."""
    out = np.zeros((len(at), 2, 3))
    out[:, 0, 0] = out[:, 1, 1] = 1
    out[:, 0, 2], out[:, 1, 2] = -(at[:, 1] - centre[1]), at[:, 0] - centre[0]
    return out.reshape(-1, 3)


@dataclass
class Adjustment:
    """A placement function for a plan: each section from all that was read until then."""

    plan: Plan
    errors: Errors
    rounds: int = 2
    follow: float = 0.0
    """How far a section follows its inked neighbours where they are now known to lie wrong: 0 true
    to the table alone, towards 1 true to the joins alone."""

    def __post_init__(self) -> None:
        plan, errors = self.plan, self.errors
        self.unknowns = u = Unknowns(plan)
        prior = believed(plan, errors, u)
        readings = read_rows(plan, errors, u)
        self._prior = prior.matrix(u.size)
        self._prior_weight = 1 / np.square(prior.doubts)
        self._read = readings.matrix(u.size) if readings.doubts else None
        self._read_weight = 1 / np.square(readings.doubts)
        order = np.array([r.section for r in plan.readings])
        self._until = [
            int(np.searchsorted(order, k, side="right")) for k in range(len(plan.sections))
        ]
        normal = (self._prior.T @ (self._prior * self._prior_weight[:, None])).toarray()
        self._factors, done = [], 0
        for until in self._until:
            if until > done and self._read is not None:
                part, weight = (
                    self._read[2 * done : 2 * until],
                    self._read_weight[2 * done : 2 * until],
                )
                normal = normal + (part.T @ (part * weight[:, None])).toarray()
                done = until
            self._factors.append(scipy.linalg.cho_factor(normal))
        self.state: FloatArray | None = None
        self._used = np.zeros((0, len(plan.sections), 3))

    def solve(
        self, state: FloatArray, k: int, read: FloatArray, sent: FloatArray, rounds: int
    ) -> FloatArray:
        """(covers, unknowns) after section k's readings, from `state`."""
        until = self._until[k]
        for _ in range(rounds):
            right = -(self._prior.T @ (self._prior_weight[:, None] * (self._prior @ state.T)))
            if until and self._read is not None:
                off = misclosures(self.plan, self.unknowns, state, read, sent, until)
                weighted = self._read_weight[: 2 * until, None] * off.T
                right -= self._read[: 2 * until].T @ weighted
            state = state + scipy.linalg.cho_solve(self._factors[k], right).T
        return state

    def __call__(self, k: int, read: FloatArray, sent: FloatArray) -> FloatArray:
        if k == 0 or self.state is None:
            self.state = np.zeros((len(read), self.unknowns.size))
            self._used = np.zeros((len(read), len(self.plan.sections), 3))
        self.state = self.solve(self.state, k, read, sent, self.rounds)
        poses = self.state[:, self.unknowns.poses[k]]
        if self.follow:
            poses = poses - self._compromise(k)
        self._used[:, k] = poses
        return np.concatenate([poses, self.state[:, self.unknowns.scale] / 1000], axis=1)

    def _compromise(self, k: int) -> FloatArray:
        """(covers, 3): how far to lie off true, so as to meet ink already there half way."""
        assert self.state is not None
        mine = self.plan.sections[k]
        x0, y0, x1, y1 = mine.core
        corners = [(x, y) for x in (x0, x1) for y in (y0, y1)]
        wanted = [np.zeros((len(self.state), 8))]
        at, weights = list(corners), [np.full(8, (1 - self.follow) / 4)]
        for j, other in enumerate(self.plan.sections[:k]):
            a0, b0, a1, b1 = other.core
            meet = [
                (x, y)
                for x in sorted({max(x0, a0), min(x1, a1)})
                for y in sorted({max(y0, b0), min(y1, b1)})
            ]
            if len(meet) != 2 or max(x0, a0) > min(x1, a1) or max(y0, b0) > min(y1, b1):
                continue
            off = self.state[:, self.unknowns.poses[j]] - self._used[:, j]
            wanted.append(off @ _rigid(np.array(meet), other.centre).T)
            at += meet
            weights.append(np.full(4, self.follow / 2))
        design, weight = _rigid(np.array(at), mine.centre), np.concatenate(weights)
        normal = design.T @ (design * weight[:, None])
        right = (np.concatenate(wanted, axis=1) * weight) @ design
        return np.linalg.solve(normal, right.T).T

    def least_slips(self, false: float = 0.01, named: float = 0.99) -> list[float]:
        """mm: for each reading, the least slip in either coordinate that is named when it is read.

        The slip that a normal test of the standardised residual, at `false` for all readings of
        the section together, exceeds with probability `named` (Baarda's reliability).
        """
        if self._read is None:
            return []
        out, done = [], 0
        for k, until in enumerate(self._until):
            part = self._read[2 * done : 2 * until].toarray()
            weight = self._read_weight[2 * done : 2 * until]
            if len(part):
                kept = part @ scipy.linalg.cho_solve(self._factors[k], part.T)
                share = 1 - np.diag(kept) * weight
                z = scipy.stats.norm.isf(false / 2 / len(part)) + scipy.stats.norm.ppf(named)
                slips = z / np.sqrt(weight * np.maximum(share, 1e-9))
                out += list(slips.reshape(-1, 2).max(axis=1))
            done = until
        return out

    def covariance(self, k: int) -> FloatArray:
        """(unknowns, unknowns) after section k's readings; mm, radians, thousandths for scales."""
        return scipy.linalg.cho_solve(self._factors[k], np.eye(self.unknowns.size))


def joint_adjustment(
    plan: Plan, errors: Errors, read: FloatArray, sent: FloatArray, rounds: int = 30
) -> tuple[FloatArray, FloatArray]:
    """One cover, every reading at once: (unknowns,) and their covariance, to the last bit or so.

    Gauss and Newton with the exact derivatives at each round; `read` and `sent` (readings, 2).
    """
    u = Unknowns(plan)
    prior = believed(plan, errors, u)
    above, state = prior.matrix(u.size), np.zeros(u.size)
    for _ in range(rounds):
        rows = read_rows(plan, errors, u, state, read, sent)
        matrix = scipy.sparse.vstack([above, rows.matrix(u.size)]).tocsr()
        weight = 1 / np.square(prior.doubts + rows.doubts)
        off = misclosures(plan, u, state[None], read[None], sent[None], len(plan.readings))[0]
        right = matrix.T @ (weight * np.concatenate([above @ state, off]))
        normal = (matrix.T @ (matrix * weight[:, None])).toarray()
        step = scipy.linalg.solve(normal, right, assume_a="pos")
        state = state - step
        if abs(step).max() < 1e-11:
            break
    return state, np.linalg.inv(normal)


def solved(plan: Plan, errors: Errors, read: FloatArray, sent: FloatArray) -> FloatArray:
    """(unknowns,): one cover, `read` and `sent` (readings, 2), all of it, by scipy alone."""
    u = Unknowns(plan)
    prior = believed(plan, errors, u)
    matrix, doubts = prior.matrix(u.size), np.array(prior.doubts)
    read_doubts = np.array(read_rows(plan, errors, u).doubts)

    def weighted(state: FloatArray) -> FloatArray:
        off = misclosures(plan, u, state[None], read[None], sent[None], len(plan.readings))[0]
        return np.concatenate([(matrix @ state) / doubts, off / read_doubts])

    return np.asarray(
        scipy.optimize.least_squares(
            weighted,
            np.zeros(u.size),
            jac="3-point",
            x_scale="jac",
            xtol=1e-15,
            ftol=1e-15,
            gtol=1e-15,
        ).x
    )
