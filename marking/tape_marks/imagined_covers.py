"""Many covers imagined from before any ink: how the ink of every section will err on each.

Every error of the model is drawn, goes through the network's own gains, and leaves its mark; a
section is inked where its readings place it by then, or part way to the ink beside it. It knows
sections, sights and the network, no limits. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.network.datum import EXACT
from marking.network.error_model import NO_ERRORS
from marking.network.fence import Against, seat_of
from marking.network.inked import ink_effect
from marking.network.network import Reading, Setup, joined, known, unmet
from marking.network.part_of_network import used
from marking.network.pose import as_planned, effect
from marking.network.section_after_section import walk
from marking.network.shared_errors import PLOTTER, scale_effect
from marking.network.worth_of_readings import gain
from marking.placement.compromise import wanted_change
from marking.sections.neighbours import outermost_ink, window_middle

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import Box, FloatArray
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.fence import Clamping, Seat
    from marking.network.network import KnownMark, Network
    from marking.network.shared_errors import Block
    from marking.network.worth_of_readings import Gain
    from marking.sections.neighbours import Butt
    from marking.sections.plan import Section
    from marking.tape_marks.visible import Sights

COVERS = 2000
_SEED = 20
_NET = 3
"""Cloth gives at the nodes of a net of 3 by 3 over a window, evenly from node to node between:
our own assumption."""


class WorkOnCovers(Struct, frozen=True):
    """What is done on every cover."""

    sections: Mapping[str, Section]
    seen: Sights
    reading_sd: float
    """mm per axis, of all the readings of one mark together."""
    joints: Sequence[Butt]
    datum: Datum = EXACT
    errors: ErrorModel = NO_ERRORS
    fences: Mapping[str, Clamping] | None = None
    """By section id: what it is pushed against."""
    follow: float = 0.0
    """From 0, true to the table, to 1, meeting the ink beside it."""


class InkedCovers(Struct, frozen=True):
    """The errors of every section's ink, cover by cover."""

    windows: Mapping[str, Box]
    ink: Mapping[str, FloatArray]
    """(k, covers) by section: shift x, shift y and turn; where they err also the plotter's scale
    (3) and the cloth's give at the nodes of its net (18)."""
    spread: Mapping[str, FloatArray]
    """(3 or 6, 3 or 6) by section: the covariance of the first of these when it is inked true to
    the table; exact, not drawn."""
    cloth: float

    def effect(self, section: str, points: FloatArray) -> FloatArray:
        """How the errors of `section` move its ink at points (n, 2): (n, 2, k)."""
        size = len(self.ink[section])
        window = self.windows[section]
        middle = _middle(window)
        parts = [effect("rigid", points, middle)]
        if len(self.spread[section]) > 3:
            parts.append(scale_effect(points, middle))
        if self.cloth:
            parts.append(-_give(window, points))
        found = np.concatenate(parts, axis=2)
        assert found.shape[2] == size
        return found

    def off(self, section: str, points: FloatArray) -> FloatArray:
        """(n, 2, covers): how far the ink of `section` at points (n, 2) lies from true."""
        moved: FloatArray = _flat(self.effect(section, points)) @ self.ink[section]
        return moved.reshape(len(points), 2, -1)

    def covariance(self, section: str, points: FloatArray) -> FloatArray:
        """(n, 2, 2): of the ink of `section` at points (n, 2), inked true to the table."""
        spread = self.spread[section]
        by_point = self.effect(section, points)[:, :, : len(spread)]
        found: FloatArray = by_point @ spread @ by_point.transpose(0, 2, 1)
        return found + self.cloth**2 * np.eye(2)


def imagined(work: WorkOnCovers, covers: int = COVERS) -> InkedCovers:
    """`covers` covers, each section inked in turn as `work` says; the same ones every time.

    The network's mean holds what is believed less what is true, cover by cover. Raises
    RefusedError naming the first section that sees too few marks to be placed.
    """
    rng = np.random.default_rng(_SEED)
    by_datum = rng.standard_normal((2, covers))
    errors = work.errors
    if errors.trial is not None:
        # What the trial found is as likely as its doubt says, whatever it was.
        errors = replace(errors, trial=replace(errors.trial, left=(0.0, 0.0, 0.0)))
    network = known(work.seen.targets.values(), work.datum, errors)
    network = replace(network, mean=np.zeros((0, covers)))
    done = walk(network, _used(work))
    windows = {name: section.window for name, section in work.sections.items()}
    cloth = work.errors.cloth
    found = InkedCovers(windows, {}, {}, cloth)
    ink, spread = dict(found.ink), dict(found.spread)
    gives: dict[str, FloatArray] = {}
    for name in work.seen.order:
        section = work.sections[name]
        clamping = (work.fences or {}).get(name)
        marks = work.seen.seen[name]
        _check_placed(section, work.seen.targets, marks, clamping)
        if cloth:
            gives[name] = cloth * rng.standard_normal((2 * _NET**2, covers))
        unread = unmet(done.network, marks, clamping)
        network = _drawn(done.network, unread, work, gives, by_datum, rng)
        readings = tuple(
            Reading(mark, work.seen.targets[mark].mark.at_table, work.reading_sd) for mark in marks
        )
        middle = window_middle(section)
        against = None if clamping is None else Against(clamping, section.window)
        seat = None if against is None else seat_of(against, work.errors, work.datum)
        gained = gain(network, readings, middle, "rigid", against)
        noise = _noise(gained, readings, seat, by_datum, rng)
        if cloth and readings:
            at = np.array([reading.at for reading in readings])
            noise[: 2 * len(at)] -= _flat(_give(section.window, at)) @ gives[name]
        noise += gained.carrier @ gained.network.mean
        done = done.inked(gained, Setup(name, as_planned(middle), readings), noise)
        network = done.network
        own = -network.mean[network.places[name]]
        own += _meant(work, name, network, ink)
        parts = [own]
        if PLOTTER in network.places:
            parts.append(-network.mean[network.places[PLOTTER]])
        if cloth:
            parts.append(gives[name])
        ink[name] = np.concatenate(parts)
        spread[name] = network.spread_of(ink_effect(network, name, np.zeros((1, 2)))[0])
        done = done.onward()
    return replace(found, ink=ink, spread=spread)


def _check_placed(
    section: Section,
    targets: Mapping[str, KnownMark],
    marks: Sequence[str],
    clamping: Clamping | None,
) -> None:
    if clamping is not None and (clamping.stopped or marks):
        return
    at = np.array([targets[mark].mark.at_table for mark in marks])
    if clamping is not None or len(at) < 2 or float(np.ptp(at, axis=0).max()) < 1.0:
        raise RefusedError(
            f"section {section.id} sees {len(marks) or 'no'} mark{'' if len(marks) == 1 else 's'} "
            "when its turn comes, too few to place it; set tape marks inside its window"
        )


def _used(work: WorkOnCovers) -> list[frozenset[str]]:
    """The blocks of the state that each section has to do with, in inking order."""
    order = work.seen.order
    network = known(work.seen.targets.values(), work.datum, work.errors)
    uses = [(work.seen.seen[name], (work.fences or {}).get(name)) for name in order]
    middles = {name: window_middle(section) for name, section in work.sections.items()}
    turn = {name: count for count, name in enumerate(order)}
    beside: dict[str, set[str]] = {name: {name} for name in order}
    if work.follow:
        for butt in work.joints:
            one, two = sorted(butt.sections, key=turn.__getitem__)
            beside[two].add(one)
    read = used(network, uses, middles)
    return [blocks | beside[name] for name, blocks in zip(order, read, strict=True)]


def _drawn(
    network: Network,
    blocks: Sequence[Block],
    work: WorkOnCovers,
    gives: Mapping[str, FloatArray],
    by_datum: FloatArray,
    rng: np.random.Generator,
) -> Network:
    """The network with `blocks`, whose truth is drawn for each cover."""
    network, by_own = joined(network, blocks)
    if not blocks:
        return network
    drawn = []
    for block in blocks:
        normal = rng.standard_normal((len(block.sd), by_datum.shape[1]))
        for row in block.either_way:
            normal[row] = np.sign(normal[row])
        own = block.sd[:, None] * normal
        mark = block.name.removeprefix("mark ")
        target = work.seen.targets.get(mark) if mark != block.name else None
        if target is not None and target.inked_by is not None:
            own = target.sd * normal - _give_of_ink(work, target, gives)
        if block.moves is not None:
            own += block.moves @ by_datum
        drawn.append(own)
    new = len(by_own)
    network.mean[len(network.mean) - new :] -= by_own @ np.concatenate(drawn)
    return network


def _give_of_ink(
    work: WorkOnCovers, target: KnownMark, gives: Mapping[str, FloatArray]
) -> FloatArray | float:
    """(2, covers): how the cloth gave under what inked a mark, where the mark is."""
    if not gives:
        return 0.0
    at = np.array([target.mark.at_table])
    found = np.zeros((2, next(iter(gives.values())).shape[1]))
    for by, axes in target.inkers:
        found[axes] = (_flat(_give(work.sections[by].window, at)) @ gives[by])[axes]
    return found


def _noise(
    gained: Gain,
    readings: Sequence[Reading],
    seat: Seat | None,
    by_datum: FloatArray,
    rng: np.random.Generator,
) -> FloatArray:
    """(rows, covers): what errs at this set-down alone, but for the cloth."""
    sd = np.repeat([reading.sd for reading in readings], 2)
    if seat is not None:
        sd = np.concatenate([sd, seat.sd])
    noise: FloatArray = sd[:, None] * rng.standard_normal((len(gained.carrier), by_datum.shape[1]))
    if seat is not None:
        noise[2 * len(readings) :] -= seat.moves @ by_datum
    return noise


def _meant(
    work: WorkOnCovers, name: str, network: Network, ink: Mapping[str, FloatArray]
) -> FloatArray | float:
    """(3, covers): how far off true a section is inked, to meet the ink beside it part way."""
    if not work.follow:
        return 0.0
    at, earlier = [], []
    for butt in work.joints:
        if name not in butt.sections:
            continue
        beside = butt.sections[butt.sections[0] == name]
        if beside not in ink:
            continue
        index, by_point = ink_effect(network, beside, butt.points_table)
        # Where the earlier ink is believed to lie by now; of its cloth nobody knows anything.
        states = ink[beside][: len(index)] + network.mean[index]
        at.append(butt.points_table)
        earlier.append(np.einsum("nik,kr->nir", by_point, states))
    if not at:
        return 0.0
    section = work.sections[name]
    middle = window_middle(section)
    at_ink = effect("rigid", outermost_ink(section), middle)
    at_join = effect("rigid", np.concatenate(at), middle)
    return wanted_change(at_ink, at_join, np.concatenate(earlier), work.follow)


def _give(window: Box, points: FloatArray) -> FloatArray:
    """(n, 2, 18): how the give at the nodes, x before y at each, moves points (n, 2)."""
    x0, y0, x1, y1 = window
    shares = []
    for at, low, high in ((points[:, 0], x0, x1), (points[:, 1], y0, y1)):
        place = np.clip((at - low) / (high - low), 0, 1) * (_NET - 1)
        shares.append(np.maximum(0.0, 1 - np.abs(place[:, None] - np.arange(_NET))))
    nodes = np.einsum("nu,nv->nuv", *shares).reshape(len(points), -1)
    moved: FloatArray = np.einsum("nm,ij->nimj", nodes, np.eye(2)).reshape(len(points), 2, -1)
    return moved


def _flat(by_point: FloatArray) -> FloatArray:
    """(2n, k) of (n, 2, k)."""
    flat: FloatArray = np.concatenate(list(by_point))
    return flat


def _middle(window: Box) -> FloatArray:
    x0, y0, x1, y1 = window
    return np.array([(x0 + x1) / 2, (y0 + y1) / 2])
