"""Simulated inking of the invented Millrace bench, for tests and for the benchmark.

Truth is drawn here and goes through readings only; bounds are computed here without the code
under test.
"""

import itertools
import tempfile
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from devices.job import Job
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.least_squares.chi_square import POINT_95
from marking.measures.tape import Tape
from marking.network.confidence import radius_95
from marking.network.datum import EXACT
from marking.network.network import Reading, Setup, known
from marking.network.pose import as_planned, effect, rigid
from marking.network.worth_of_readings import gain, with_inked
from marking.placement.compromise import wanted_change
from marking.placement.placement import place
from marking.sections.neighbours import butts, outermost_ink, window_middle
from marking.sections.plan import divide_into_sections
from marking.shipped_files import stock
from marking.tape_marks.marks import row_joins, set_out, tape_datum
from marking.tape_marks.visible import Sights, sights

READING_SD = 0.25


def millrace(profile, keys=""):
    """Layout and plan of the bench for one stock plotter, with what `keys` say of it otherwise."""
    text = stock().joinpath("demo", "millrace", "job.toml").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "job.toml")
        path.write_text(text.replace('"flatbed-a3"', f'"{profile}"\n{keys}'), encoding="utf-8")
        job = load_job(Path(folder), Job)
    layout = lay_out(job)
    # The figures of these tests are those of the bed as its profile has it, turned or not.
    zone = replace(job.plotter.zone, turned_home=None)
    return layout, divide_into_sections(layout, job, zone)


def set_out_by_tape(profile, spacing, every):
    """The bench's plan, sights and datum, tape marks set out as `canvasrule control` does.

    A class II tape read to 1/32 in and 2 degrees unsure, as by default; rows of marks stand along
    each `every`-th join between rows of sections, along none for 0.
    """
    layout, plan = millrace(profile)
    heights = row_joins(plan)[::every] if every else []
    control = set_out(layout, spacing, Tape(), "in", heights=heights)
    seen = sights(plan, layout.grid, [mark.mark for mark in control.marks])
    own = {mark.mark.id: mark.sd for mark in control.marks}
    marks = {name: replace(t, sd=own.get(name, t.sd)) for name, t in seen.targets.items()}
    return plan, Sights(seen.order, marks, seen.seen), tape_datum(control)


class Runs(Struct):
    """Many simulated inkings of one plan: what was true, and what was said of it."""

    ink: dict
    """(3, runs) by section: change from true of the ink laid."""
    spread: dict
    """(3, 3) by section: the covariance told when it was inked."""
    centres: dict
    points: dict
    """(n, 2) by section: its outermost ink."""
    joins: list
    """(sections, points, steps (runs, 2), told mean (runs, 2), told covariance) at the worst."""
    meets: list
    """(sections, points): every join."""

    def errors(self, section):
        """(runs, n, 2): how far the outermost ink lies from true."""
        by_point = effect("rigid", self.points[section], self.centres[section])
        return np.einsum("nik,kr->rni", by_point, self.ink[section])

    def worst_line(self):
        """(runs,): the furthest any ink lies from true."""
        return np.max(
            [np.linalg.norm(self.errors(s), axis=2).max(axis=1) for s in self.ink], axis=0
        )

    def worst_step(self):
        """(runs,): the largest step at any join, sideways of the lines that cross it."""
        steps = []
        for (one, two), points in self.meets:
            moved = [
                np.einsum("nik,kr->rni", effect("rigid", points, self.centres[s]), self.ink[s])
                for s in (one, two)
            ]
            # Sections are named by row and column: within a row, long lines cross, others else.
            sideways = int(one.split("c")[0] == two.split("c")[0])
            steps.append(np.abs(moved[0] - moved[1])[:, :, sideways].max(axis=1))
        return np.max(steps, axis=0)


def mark_moves(target, centres, at_own, ink):
    """(2, runs): how far a mark really lies from its nominal place."""
    if target.inked_by is None:
        return at_own
    at = np.array([target.mark.at_table])
    return effect("rigid", at, centres[target.inked_by])[0] @ ink[target.inked_by]


def ink_many(plan, seen, runs, seed, repeats=1, weight=0.0, datum=EXACT):
    """Inks `plan` `runs` times: random tapes, set-downs and readings, placed by the network.

    Each run has one tape and one square of its own, drawn as `datum` says.

    The gains are those of `marking.network.network`, applied to all runs at once; `weight` is the
    blend's, 0 for the table.
    """
    rng = np.random.default_rng(seed)
    sections = {section.id: section for section in plan.sections}
    centres = {name: window_middle(section) for name, section in sections.items()}
    tapes = {m: t.sd * rng.standard_normal((2, runs)) for m, t in seen.targets.items()}
    if datum != EXACT:
        _shift_together(tapes, seen, datum, rng)
    meets = butts(plan.sections)
    network = known(seen.targets.values(), datum)
    network = replace(network, mean=np.zeros((0, runs)))
    told = Runs({}, {}, centres, {}, [], [(b.sections, b.points_table) for b in meets])
    for name in seen.order:
        marks = list(seen.seen[name]) * repeats
        readings = tuple(Reading(m, seen.targets[m].mark.at_table, READING_SD) for m in marks)
        setup = Setup(name, as_planned(centres[name]), readings)
        gained = gain(network, readings, centres[name], "rigid")
        at = np.array([seen.targets[m].mark.at_table for m in marks])
        design = effect("rigid", at, centres[name]).reshape(2 * len(marks), 3)
        set_down = rng.standard_normal((3, runs)) * np.array([[1.0], [1.0], [0.002]])
        moves = [mark_moves(seen.targets[m], centres, tapes[m], told.ink) for m in marks]
        noise = READING_SD * rng.standard_normal((2 * len(marks), runs))
        seen_at = np.concatenate(moves) - design @ set_down + noise
        misfits = gained.carrier @ gained.network.mean - seen_at
        estimate = gained.change @ misfits
        after = with_inked(gained, setup, misfits - design @ estimate)
        meant = _meant(after, name, sections, meets, weight, told)
        told.ink[name] = set_down - estimate + meant
        told.spread[name] = gained.spread
        told.points[name] = outermost_ink(sections[name])
        after.mean[after.places[name]] += meant
        _note_joins(after, name, meets, told)
        network = after
    return told


def _shift_together(tapes, seen, datum, rng):
    """A tape too long shows too little: all it sets lies out by as much for each mm from zero.

    A zero line that leans carries with it what is set out from it, the more the further up.
    """
    runs = next(iter(tapes.values())).shape[1]
    long = datum.scale_sd * rng.standard_normal(runs)
    lean = datum.lean_sd * rng.standard_normal(runs)
    for mark in tapes:
        along, up = np.subtract(seen.targets[mark].mark.at_table, datum.zero)
        tapes[mark] = tapes[mark] + [long * along + lean * up, long * up]


def _earlier(network, name, meets):
    for butt in meets:
        if name in butt.sections:
            beside = butt.sections[0] if butt.sections[1] == name else butt.sections[1]
            if beside in network.setups and beside != name:
                yield beside, butt.points_table


def _meant(network, name, sections, meets, weight, told):
    beside = list(_earlier(network, name, meets))
    if not weight or not beside:
        return 0.0
    at_ink = effect("rigid", outermost_ink(sections[name]), told.centres[name])
    at_join = effect("rigid", np.concatenate([p for _, p in beside]), told.centres[name])
    earlier = np.concatenate(
        [
            np.einsum(
                "nik,kr->nir", effect("rigid", p, told.centres[b]), network.mean[network.places[b]]
            )
            for b, p in beside
        ]
    )
    return wanted_change(at_ink, at_join, earlier, weight)


def _note_joins(network, name, meets, told):
    for beside, points in _earlier(network, name, meets):
        index = np.r_[network.places[name], network.places[beside]]
        both = np.concatenate(
            [
                effect("rigid", points, told.centres[name]),
                -effect("rigid", points, told.centres[beside]),
            ],
            axis=2,
        )
        spread = both @ network.spread_of(index) @ both.transpose(0, 2, 1)
        worst = int(radius_95(spread).argmax())
        true = both[worst] @ np.concatenate([told.ink[name], told.ink[beside]])
        mean = both[worst] @ network.mean[index]
        told.joins.append(((name, beside), points[worst], true.T, mean.T, spread[worst]))


def coverage(told):
    """Shares of runs in which the 95% regions held the truth: pose, join and worst point.

    Each of the last two by its error ellipse and by its radius.
    """
    runs = next(iter(told.ink.values())).shape[1]
    pose, join, join_radius, point, point_radius = [], [], [], [], []
    for name, spread in told.spread.items():
        ink = told.ink[name]
        pose.append((ink * np.linalg.solve(spread, ink)).sum(axis=0) <= 7.814727903251179)
        by_point = effect("rigid", told.points[name], told.centres[name])
        spreads = by_point @ spread @ by_point.transpose(0, 2, 1)
        radii = radius_95(spreads)
        worst = int(radii.argmax())
        error = told.errors(name)[:, worst]
        inside = (error.T * np.linalg.solve(spreads[worst], error.T)).sum(axis=0)
        point.append(inside <= POINT_95)
        point_radius.append(np.linalg.norm(error, axis=1) <= radii[worst])
    for _, _, true, mean, spread in told.joins:
        off = (true - mean).T
        join.append((off * np.linalg.solve(spread, off)).sum(axis=0) <= POINT_95)
        radii = radius_95(np.broadcast_to(spread, (runs, 2, 2)), mean)
        join_radius.append(np.linalg.norm(true, axis=1) <= radii)
    kinds = {
        "pose": pose,
        "join, ellipse": join,
        "join, radius": join_radius,
        "worst point, ellipse": point,
        "worst point, radius": point_radius,
    }
    return {kind: np.mean(shares, axis=1) for kind, shares in kinds.items()}


def cramer_rao(plan, seen, repeats=1):
    """(n, 2, 2) by section: the least covariance any unbiased placement can give its ink.

    From the Fisher information of all readings until then and of the tape, assembled here row
    by row; tape marks have their tape errors as unknowns with known spread.
    """
    sections = {section.id: section for section in plan.sections}
    used = sorted({m for marks in seen.seen.values() for m in marks})
    tapes = [m for m in used if seen.targets[m].inked_by is None]
    column = {m: 2 * count for count, m in enumerate(tapes)}
    start = {s: 2 * len(tapes) + 3 * count for count, s in enumerate(seen.order)}
    size = 2 * len(tapes) + 3 * len(seen.order)
    information = np.zeros((size, size))
    for mark in tapes:
        for axis in (0, 1):
            information[column[mark] + axis, column[mark] + axis] = seen.targets[mark].sd ** -2
    bounds = {}
    for count, name in enumerate(seen.order):
        for mark in seen.seen[name]:
            row = np.zeros((2, size))
            _add(row, start[name], sections[name], seen.targets[mark].mark.at_table, 1.0)
            owner = seen.targets[mark].inked_by
            if owner is None:
                row[0, column[mark]] = row[1, column[mark] + 1] = -1.0
            else:
                spot = seen.targets[mark].mark.at_table
                _add(row, start[owner], sections[owner], spot, -1.0)
            information += repeats * row.T @ row / READING_SD**2
        live = np.r_[0 : 2 * len(tapes), 2 * len(tapes) : 2 * len(tapes) + 3 * (count + 1)]
        least = np.linalg.inv(information[np.ix_(live, live)])[-3:, -3:]
        points = outermost_ink(sections[name])
        rows = []
        for point in points:
            row = np.zeros((2, 3))
            _add(row, 0, sections[name], point, 1.0)
            rows.append(row @ least @ row.T)
        bounds[name] = np.array(rows)
    return bounds


def _add(row, at, section, spot, sign):
    """A rigid body's small motion at a point: shift, and turn by the lever arm."""
    x0, y0, x1, y1 = section.window
    row[0, at] += sign
    row[1, at + 1] += sign
    row[0, at + 2] -= sign * (spot[1] - (y0 + y1) / 2)
    row[1, at + 2] += sign * (spot[0] - (x0 + x1) / 2)


def naive_chain(plan, sections, runs, seed, apart=250.0):
    """(runs,): how far the far end errs when each section is butted to the last alone.

    Two marks `apart` mm on the last section's ink are read by each and taken as true.
    """
    rng = np.random.default_rng(seed)
    ink = np.zeros((3, runs))
    for before, section in itertools.pairwise(sections):
        middle = (section.core[1] + section.core[3]) / 2
        x = section.core[0] - 12.7
        at = np.array([[x, middle - apart / 2], [x, middle + apart / 2]])
        own = effect("rigid", at, window_middle(section)).reshape(4, 3)
        others = effect("rigid", at, window_middle(before)).reshape(4, 3)
        noise = READING_SD * rng.standard_normal((4, runs))
        ink = np.linalg.pinv(own) @ (others @ ink + noise)
    far = outermost_ink(sections[-1])
    moved = np.einsum("nik,kr->rni", effect("rigid", far, window_middle(sections[-1])), ink)
    return np.linalg.norm(moved, axis=2).max(axis=1)


def read_marks(targets, laid, true, rng, sd=READING_SD):
    """One reading of each target by a device that stands at `true`.

    `laid` is what the ink of each section really went through; tape marks err by their tape.
    """
    readings = []
    for target in targets:
        spot = np.array(target.mark.at_table)
        if target.inked_by is None:
            spot = spot + target.sd * rng.standard_normal(2)
        else:
            spot = laid[target.inked_by](spot)
        x, y = true.inverse(spot) + sd * rng.standard_normal(2)
        readings.append(Reading(target.mark.id, (float(x), float(y)), sd))
    return readings


def ink_once(plan, seen, limits, seed, repeats=1, datum=EXACT):
    """Inks `plan` once through `place`, with poses and readings as they are in the plane.

    Yields (section, placement, true pose).
    """
    rng = np.random.default_rng(seed)
    taped = {name: _taped(t, rng) for name, t in seen.targets.items() if not t.inked_by}
    if datum != EXACT:
        off = {name: np.zeros((2, 1)) for name in taped}
        _shift_together(off, seen, datum, rng)
        taped = {name: tuple((spot + off[name].ravel()).tolist()) for name, spot in taped.items()}
    set_out = {
        name: target
        if target.inked_by
        else replace(target, mark=replace(target.mark, at_table=taped[name]), sd=0.0)
        for name, target in seen.targets.items()
    }
    sections = {section.id: section for section in plan.sections}
    joints = butts(plan.sections)
    network = known(seen.targets.values(), datum)
    laid = {}
    for name in seen.order:
        section = sections[name]
        true = rigid(rng.uniform(-1, 1, 2), rng.uniform(-0.003, 0.003), window_middle(section))
        marks = [set_out[mark] for mark in seen.seen[name]] * repeats
        readings = read_marks(marks, laid, true, rng)
        placed = place(network, section, readings, joints, limits)
        yield section, placed, true
        network = placed.inking.network
        laid[name] = true.after(placed.inking.setup.pose.inverse)


def _taped(target, rng):
    """Where a tape mark really stands once it is set by tape."""
    x, y = np.array(target.mark.at_table) + target.sd * rng.standard_normal(2)
    return float(x), float(y)
