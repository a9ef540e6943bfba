"""Whole covers marked in simulation: where the ink of a plan really lies, error by error.

An independent model: it is written from the description of the work, imports numpy and nothing of
the program, and knows no estimator. The caller supplies the placement: readings in, poses out.

Frames. Table: mm, x along the length, y from the near edge. Bed: mm from the centre of a section's
window. A section's device with pose (tx, ty, turn) brings its pen, sent to bed point b, to

    T(b) = centre + (tx, ty) + R(turn) C b,    C = [[1 + sx, skew], [0, 1 + sy]],

and its pointer to T(b + offset). While the device stands, the cloth under it gives: a point p of
the cover lies at p + give(p), so a mark at p is read where T(b + offset) = p + give(p), and ink
put down at T(b) lies at T(b) - give once the device is lifted off. A uniform give is thus harmless;
what is not uniform (`cloth`, on a three by three net over the window) is not.

Tape marks as they are set out. A base line along the near edge and a zero line square to it, which
leans; one row of marks after another, each with one struck line (its two ends taped from the base,
with their own errors, and a little sag between) and one zero (laid to the zero line once a row);
all marks of one x, and all rows of one y, use the same graduation of the same tape.

The tape is class II of directive 2014/32/EU, annex X: at most 0.3 + 0.2 L mm wrong over L metres.
A maker sorts against a limit and tells no more, so its error is taken uniform within the limit (GUM
4.3.7), not normal. The whole limit is used up at the end of a 5 m tape: `graduation` of it is each
graduation's own, the rest a scale error, which cannot be seen from within. Temperature adds scale.

All other figures are our own assumptions, evidence of nothing. Each is a standard deviation of a
normal error, save `bow`, the sag in the middle of a rail, which has that size and a random sign at
each clamping, and those that say otherwise.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from msgspec import Struct, field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

INCH = 25.4
Box = tuple[float, float, float, float]


class Errors(Struct, frozen=True):
    """The size of every error, mm unless said."""

    reading: float = 0.25
    """Each coordinate of a reading."""
    pointer: float = 0.05
    """What calibration leaves of the pointer's offset, each coordinate, the same all day."""
    scale: float = 3e-4
    """What trial leaves of the plotter's scale, each axis, and of its skew; no unit."""
    cloth: float = 0.1
    set_down: float = 2.0
    set_down_turn: float = 5e-3
    """By hand, without a fence; radians."""
    stops: float = 0.10
    contact: float = 0.07
    """Each of the two places where the device touches the rail."""
    bow: float = 0.3
    rail_along: float = 0.2
    rail_ends: float = 0.25
    ruled: float = 0.25
    """Sideways, each end of a line ruled by hand."""
    ruled_most: float = np.inf
    """Ruling is never further off than this; finite: uniform within it, and `ruled` is unused."""
    tape_most: float = 0.3 + 0.2 * 5
    tape_length: float = 5000.0
    graduation: float = 0.1
    """Uniform within."""
    temperature: float = 0.033e-3
    """5 degrees Celsius either way, steel, uniform: 58 / sqrt 3 parts in a million."""
    lean: float = 0.3 / 1600
    """Radians: both diagonals compared."""
    row_zero: float = 0.2
    row_ends: float = 0.25
    row_sag: float = 0.1
    mark: float = 0.15
    """A tick's own, along its row and across it."""

    @property
    def tape_scale_most(self) -> float:
        """The tape's scale error is uniform within this; no unit."""
        return max(self.tape_most - self.graduation, 0.0) / self.tape_length

    @property
    def tape_scale(self) -> float:
        """Standard deviation of the tape's scale with the temperature in it."""
        return float(np.hypot(self.tape_scale_most / np.sqrt(3), self.temperature))


NO_ERRORS = Errors(
    **dict.fromkeys(set(Errors.__struct_fields__) - {"tape_length", "ruled_most"}, 0.0)
)


class Section(Struct, frozen=True):
    """A set-down: its place in the division and, against a fence, which clamping it uses."""

    id: str
    row: int
    column: int
    core: Box
    window: Box
    fence: int | None = None

    @property
    def centre(self) -> tuple[float, float]:
        x0, y0, x1, y1 = self.window
        return (x0 + x1) / 2, (y0 + y1) / 2

    @property
    def depth(self) -> float:
        return self.window[3] - self.window[1]

    @property
    def touches(self) -> tuple[float, float]:
        """x of the two places that touch the rail, a tenth in from either side."""
        x0, _, x1, _ = self.window
        return x0 + (x1 - x0) / 10, x1 - (x1 - x0) / 10


class Clamping(Struct, frozen=True):
    """One clamping of the fence: from x0 to x1 along the near side of its sections.

    `set_to` are the two tape marks (near its zero end and its far end) that it is set to; without
    them it is set to the table's own edge, taken to be true.
    """

    x0: float
    x1: float
    set_to: tuple[int, int] | None = None


class Mark(Struct, frozen=True):
    """A tape mark, where it should be, in which row it was set out."""

    at: tuple[float, float]
    row: int


class Reading(NamedTuple):
    """`section` reads tape mark `mark`, or the point `at` that section `of` drew before."""

    section: int
    mark: int | None = None
    of: int | None = None
    at: tuple[float, float] | None = None


class Plan(Struct, frozen=True):
    """All that is known before the first act. Sections stand in inking order."""

    sections: Sequence[Section]
    marks: Sequence[Mark]
    readings: Sequence[Reading]
    clampings: Sequence[Clamping] = ()
    length: float = 150 * INCH
    cross_x: FloatArray = field(default_factory=lambda: INCH * np.arange(1, 149))
    long_y: FloatArray = field(
        default_factory=lambda: INCH * np.concatenate([np.arange(1, 9), np.arange(56, 64)])
    )
    ruled: bool = False

    def __post_init__(self) -> None:
        order = [r.section for r in self.readings]
        assert order == sorted(order), "readings stand in the order of their sections"
        for r in self.readings:
            x, y = self.target(r)
            x0, y0, x1, y1 = self.sections[r.section].window
            assert x0 <= x <= x1, r
            assert y0 <= y <= y1, r
            assert r.of is None or r.of < r.section, r

    def target(self, reading: Reading) -> tuple[float, float]:
        """Where the point that is read should lie, table frame."""
        if reading.mark is not None:
            return self.marks[reading.mark].at
        assert reading.at is not None
        return reading.at

    @property
    def actions(self) -> int:
        """Marks, readings and rulings."""
        return len(self.marks) + len(self.readings) + self.rulings

    @property
    def rulings(self) -> int:
        return len(self.cross_x) if self.ruled else 0


class Placement(Protocol):
    """Readings in, poses out.

    Called once for each section k, in order, with what was read until then: `read[c, i]`, bed mm,
    the i-th reading of the plan in cover c, and `sent[c, i]`, where the pen of section `of` was
    sent to when it drew the point (nan for tape marks). Later ones are nan. Returns (covers, 6):
    tx, ty, turn, sx, sy, skew, by which section k is then inked.
    """

    def __call__(self, k: int, read: FloatArray, sent: FloatArray) -> FloatArray: ...


def turned(turn: FloatArray, points: FloatArray) -> FloatArray:
    """`points` (..., 2) turned by `turn` (...)."""
    c, s = np.cos(turn), np.sin(turn)
    x, y = points[..., 0], points[..., 1]
    return np.stack([c * x - s * y, s * x + c * y], axis=-1)


def onto_table(pose: FloatArray, centre: FloatArray, bed: FloatArray) -> FloatArray:
    """T(b): `pose` (..., 6) as a placement returns it, `bed` (..., 2)."""
    sx, sy, skew = pose[..., 3], pose[..., 4], pose[..., 5]
    x, y = bed[..., 0], bed[..., 1]
    drawn = np.stack([(1 + sx) * x + skew * y, (1 + sy) * y], axis=-1)
    return centre + pose[..., :2] + turned(pose[..., 2], drawn)


def onto_bed(pose: FloatArray, centre: FloatArray, table: FloatArray) -> FloatArray:
    """The inverse of `onto_table`."""
    drawn = turned(-pose[..., 2], table - centre - pose[..., :2])
    sx, sy, skew = pose[..., 3], pose[..., 4], pose[..., 5]
    y = drawn[..., 1] / (1 + sy)
    return np.stack([(drawn[..., 0] - skew * y) / (1 + sx), y], axis=-1)


def _shared(rng: np.random.Generator, keys: FloatArray, covers: int, most: float) -> FloatArray:
    """(covers, len(keys)): uniform within `most`, the same for equal keys."""
    values, which = np.unique(np.round(keys, 6), return_inverse=True)
    return rng.uniform(-1, 1, (covers, len(values)))[:, which] * most


class Truth(Struct, frozen=True):
    """What really is, in each of `covers` covers, before anything is read."""

    poses: FloatArray
    """(covers, sections, 6)."""
    marks: FloatArray
    """(covers, marks, 2), table frame."""
    pointer: FloatArray
    """(covers, 2), what is left of the pointer's offset."""
    give: FloatArray
    """(covers, sections, 3, 3, 2), mm at the nodes over each window."""


def truth(plan: Plan, errors: Errors, covers: int, rng: np.random.Generator) -> Truth:
    """Draw every error that does not depend on what a person will do."""
    e, count = errors, len(plan.sections)

    def normal(*shape: int) -> FloatArray:
        return rng.standard_normal((covers, *shape))

    at = np.array([m.at for m in plan.marks]).reshape(-1, 2)
    row_names, row = np.unique([m.row for m in plan.marks], return_inverse=True)
    rows = len(row_names)
    tape = rng.uniform(-1, 1, (covers, 1)) * e.tape_scale_most + normal(1) * e.temperature
    lean = normal(1) * e.lean
    along = at[:, 0] / plan.length
    x = (
        at[:, 0] * (1 + tape)
        + _shared(rng, at[:, 0], covers, e.graduation)
        + (normal(rows) * e.row_zero)[:, row]
        - lean * at[:, 1]
        + normal(len(at)) * e.mark
    )
    y = (
        at[:, 1] * (1 + tape)
        + _shared(rng, at[:, 1], covers, e.graduation)
        + (normal(rows) * e.row_ends)[:, row] * (1 - along)
        + (normal(rows) * e.row_ends)[:, row] * along
        + (normal(rows) * e.row_sag)[:, row] * 4 * along * (1 - along)
        + normal(len(at)) * e.mark
    )
    marks = np.stack([x, y], axis=-1)
    poses = np.zeros((covers, count, 6))
    poses[:, :, :2] = normal(count, 2) * e.set_down
    poses[:, :, 2] = normal(count) * e.set_down_turn
    poses[:, :, 3:] = normal(1, 3) * e.scale
    for f, clamping in enumerate(plan.clampings):
        off = np.zeros((covers, 2, 2))
        if clamping.set_to is not None:
            off = (marks - at)[:, list(clamping.set_to)]
        rail_x = off[:, 0, 0] + normal() * e.rail_along
        ends = off[:, :, 1] + normal(2) * e.rail_ends
        bow = rng.choice([-1.0, 1.0], covers) * e.bow
        for k, section in enumerate(plan.sections):
            if section.fence != f:
                continue
            share = (np.array(section.touches) - clamping.x0) / (clamping.x1 - clamping.x0)
            touch = (
                ends[:, :1] * (1 - share)
                + ends[:, 1:] * share
                + bow[:, None] * 4 * share * (1 - share)
                + normal(2) * e.contact
            )
            turn = (touch[:, 1] - touch[:, 0]) / np.ptp(section.touches)
            stop = tape[:, 0] * (section.centre[0] - clamping.x0) + normal() * e.stops
            poses[:, k, 0] = rail_x + stop - turn * section.depth / 2
            poses[:, k, 1] = touch.mean(axis=1)
            poses[:, k, 2] = turn
    return Truth(poses, marks, normal(2) * e.pointer, normal(count, 3, 3, 2) * e.cloth)


def _give(section: Section, nodes: FloatArray, points: FloatArray) -> FloatArray:
    """The cloth's give at `points` (n, 2): (covers, n, 2), bilinear between the nodes."""
    x0, y0, x1, y1 = section.window
    u = np.clip((points[:, 0] - x0) / (x1 - x0), 0, 1) * 2
    v = np.clip((points[:, 1] - y0) / (y1 - y0), 0, 1) * 2
    nodes_at = np.arange(3)
    wu = np.maximum(0, 1 - abs(u[:, None] - nodes_at))
    wv = np.maximum(0, 1 - abs(v[:, None] - nodes_at))
    return np.einsum("nu,nv,cuvd->cnd", wu, wv, nodes, optimize=True)


class Cover(Struct, frozen=True):
    """The covers as they come out; what a person could measure, in every cover at once."""

    plan: Plan
    displaced: Sequence[tuple[FloatArray, FloatArray]]
    """For each section: points (n, 2) as they should be, (covers, n, 2) how far they lie off."""


def marked(
    plan: Plan,
    errors: Errors,
    covers: int,
    rng: np.random.Generator,
    placement: Placement,
    points: Sequence[FloatArray],
) -> Cover:
    """Mark `covers` covers: each section is set down, read, placed and inked, in order.

    `points[k]` (n, 2), table frame: the points of section k's ink to follow.
    """
    real = truth(plan, errors, covers, rng)
    count = len(plan.readings)
    read = np.full((covers, count, 2), np.nan)
    sent = np.full((covers, count, 2), np.nan)
    noise = rng.standard_normal((covers, count, 2)) * errors.reading
    displaced = []
    centres = np.array([s.centre for s in plan.sections])
    drawn_later: dict[int, list[int]] = {}
    for i, r in enumerate(plan.readings):
        if r.of is not None:
            drawn_later.setdefault(r.of, []).append(i)
    lies = np.full((covers, count, 2), np.nan)
    for k, section in enumerate(plan.sections):
        pose = real.poses[:, k, None]
        for i in (i for i, r in enumerate(plan.readings) if r.section == k):
            r = plan.readings[i]
            where = np.array([plan.target(r)])
            there = real.marks[:, r.mark] if r.mark is not None else lies[:, i]
            seen = there + _give(section, real.give[:, k], where)[:, 0]
            bed = onto_bed(pose[:, 0], centres[k], seen)
            read[:, i] = bed - real.pointer + noise[:, i]
        believed = placement(k, read, sent)[:, None]

        def ink(
            wanted: FloatArray,
            believed: FloatArray = believed,
            pose: FloatArray = pose,
            k: int = k,
            section: Section = section,
        ) -> tuple[FloatArray, FloatArray]:
            bed = onto_bed(believed, centres[k], wanted)
            return bed, onto_table(pose, centres[k], bed) - _give(section, real.give[:, k], wanted)

        displaced.append((points[k], ink(points[k])[1] - points[k]))
        if later := drawn_later.get(k):
            wanted = np.array([plan.target(plan.readings[i]) for i in later])
            sent[:, later], lies[:, later] = ink(wanted)
    return Cover(plan, displaced)
