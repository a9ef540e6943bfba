"""What is known of all marks and all inked sections together, and what each reading adds.

One normal state over the errors of tape marks and of every inked section, with its whole
covariance: a locating mark inherits the error of the section that inked it, so a chain of
sections cannot fool itself. Places are estimated as the tape tells them, for readings must not
correct it by a plotter's own scale; what the datum may be off is carried beside. It knows
readings and poses, neither files nor verdicts. Table frame, millimetres and radians.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from marking.errors import BadInputError
from marking.network.datum import EXACT
from marking.network.error_model import NO_ERRORS
from marking.network.fence import clamping_block
from marking.network.pose import Pose, effect
from marking.network.shared_errors import (
    PLOTTER,
    POINTER,
    device_blocks,
    ink_block,
    own_block,
    scale_effect,
    span_of,
    stacked,
    tape_mark_blocks,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.arrays import FloatArray, IndexArray
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.fence import Against, Clamping
    from marking.network.pose import PoseKind
    from marking.network.shared_errors import Block
    from marking.sections.locating_marks import Mark

TAPE_SD = 0.4
"""How well a tape mark is set by tape, in mm per axis, when nothing better is known."""


class KnownMark(Struct, frozen=True):
    """A mark that can be read, and how it came to be where it is."""

    mark: Mark
    inked_by: str | None = None
    """Id of the section that inked it, whose error it shares; None for one set by tape."""
    sd: float = TAPE_SD
    """Its own error in mm per axis: the tape's without what the datum shifts all marks by, or the
    pen's scatter about its section."""
    crossed_by: str | None = None
    """What inked its line along the table, where that is another: `inked_by` then tells x alone."""

    @property
    def inkers(self) -> tuple[tuple[str, slice], ...]:
        """Whose error it shares, and in which of x and y; nothing for one set by tape."""
        if self.inked_by is None:
            return ()
        if self.crossed_by in (None, self.inked_by):
            return ((self.inked_by, slice(0, 2)),)
        return ((self.inked_by, slice(0, 1)), (str(self.crossed_by), slice(1, 2)))


class Reading(Struct, frozen=True):
    """Where a device's pen stands when it is brought onto a mark."""

    mark: str
    at: tuple[float, float]
    """The bed point, carried to the table as if the device stood as planned."""
    sd: float
    """mm per axis."""


class Setup(Struct, frozen=True):
    """One section as it was inked: the pose it was inked with, and the readings taken."""

    section: str
    pose: Pose
    """Its `about` is the middle of the section's window."""
    readings: tuple[Reading, ...]
    kind: PoseKind = "rigid"
    drawn_for: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """The plotter's scale along and across the table and its skew, mm per mm, that it was inked
    for: the pose has them in its matrix."""
    against: Against | None = None
    """What its device was pushed against, if anything."""

    @property
    def stands(self) -> Pose:
        """How the device stands, without what it was drawn for."""
        return replace(self.pose, matrix=self.pose.matrix @ np.linalg.inv(drawing(self.drawn_for)))

    @property
    def clamping(self) -> Clamping | None:
        """Which clamping of a fence its device was pushed against."""
        return self.against.clamping if self.against is not None else None

    def allowed_for(self, points: FloatArray) -> FloatArray:
        """(n, 2) mm: how far a pen sent to table points (n, 2) goes astray by `drawn_for`."""
        moved: FloatArray = scale_effect(points, self.pose.about) @ np.array(self.drawn_for)
        return moved


def drawing(plotter: Sequence[float]) -> FloatArray:
    """(2, 2): from where a pen is sent to where it goes, for scale along, across and skew."""
    along, across, skew = plotter
    return np.array([[1 + along, skew], [0.0, 1 + across]])


class Network(Struct, frozen=True):
    """Errors of marks and inked sections: their mean and covariance, given all readings.

    An inked section's error is the change (see `marking.network.pose`) from the pose it was inked
    with to the pose its device really had.
    """

    targets: Mapping[str, KnownMark]
    setups: Mapping[str, Setup]
    places: Mapping[str, slice]
    """Where each block of the state stands: by section id, and `mark MARK` for a mark's own."""
    mean: FloatArray
    """(n,), or (n, runs) for many sets of readings of the same marks at once."""
    by_tape: FloatArray
    """(n, n): the covariance if the datum had no error, by which readings are weighed."""
    common: FloatArray
    """(n, 2): how one standard deviation of each error of the datum moves the state."""
    datum: Datum = EXACT
    errors: ErrorModel = NO_ERRORS
    span: tuple[float, float] = (0.0, 0.0)
    """x of the first and the last mark set by tape."""
    follows: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    """(n, b): how the state follows b states of before, as far as
    `marking.network.section_after_section` began with any: what else it went by had nothing to do
    with them."""

    @property
    def covariance(self) -> FloatArray:
        """(n, n): with the datum's errors."""
        return self.spread_of(np.arange(len(self.by_tape)))

    def spread_of(self, index: IndexArray) -> FloatArray:
        """(k, k): the covariance of the states of `index`, with the datum's errors."""
        common = self.common[index]
        spread: FloatArray = self.by_tape[np.ix_(index, index)] + common @ common.T
        return spread


def known(
    targets: Iterable[KnownMark], datum: Datum = EXACT, errors: ErrorModel = NO_ERRORS
) -> Network:
    """The network before any reading; marks set by tape are set from `datum`.

    What `errors` says is learned with the rest; an error that it says is 0 is left out.

    Raises BadInputError for two marks of one id and for errors that are not positive numbers.
    """
    by_id: dict[str, KnownMark] = {}
    for target in targets:
        if target.mark.id in by_id:
            raise BadInputError(f"mark {target.mark.id} is given twice; each mark needs its own id")
        if (
            not np.isfinite(target.sd)
            or target.sd < 0
            or (target.inked_by is None and not target.sd)
        ):
            raise BadInputError(
                f"mark {target.mark.id}: a standard deviation of {target.sd:g} mm cannot be; "
                f"a mark set by tape is good to about {TAPE_SD:g} mm"
            )
        by_id[target.mark.id] = target
    span = span_of(t.mark.at_table for t in by_id.values() if t.inked_by is None)
    return Network(
        by_id, {}, {}, np.zeros(0), np.zeros((0, 0)), np.zeros((0, 2)), datum, errors, span
    )


def section_effect(network: Network, section: str, points: FloatArray) -> FloatArray:
    """How the block of `section` moves its ink at table points (n, 2): (n, 2, k)."""
    setup = network.setups[section]
    return effect(setup.kind, points, setup.pose.about)


def only(network: Network, places: Sequence[str]) -> Network:
    """The network without all other blocks; what those told of these stays."""
    index: list[int] = []
    kept: dict[str, slice] = {}
    for place in places:
        block = network.places[place]
        kept[place] = slice(len(index), len(index) + block.stop - block.start)
        index.extend(range(block.start, block.stop))
    return replace(
        network,
        places=kept,
        mean=network.mean[index],
        by_tape=network.by_tape[np.ix_(index, index)],
        common=network.common[index],
        follows=network.follows[index],
    )


def met(network: Network, marks: Iterable[str], clamping: Clamping | None = None) -> Network:
    """The network with all blocks that reading `marks`, against a fence or not, has to do with.

    Raises BadInputError for a mark that is unknown or not inked yet.
    """
    return joined(network, unmet(network, marks, clamping))[0]


def unmet(
    network: Network, marks: Iterable[str], clamping: Clamping | None = None
) -> tuple[Block, ...]:
    """The blocks that `met` adds, each after those that move it."""
    found = {block.name: block for block in device_blocks(network.errors)}
    for mark in (*marks, *((clamping and clamping.set_to) or ())):
        if own_block(mark) not in found:
            found |= {block.name: block for block in _blocks_of(network, mark)}
    if clamping is not None:
        block = clamping_block(clamping, network.errors)
        found[block.name] = block
    return tuple(block for name, block in found.items() if name not in network.places)


def carried(
    network: Network, marks: Sequence[str], about: FloatArray | None = None
) -> tuple[Network, FloatArray]:
    """How the state moves `marks`, (2m, n), with blocks added for what was not met before.

    With `about`, the middle of a window: marks less where its device's pointer stands, sent there.
    """
    network = met(network, marks)
    carrier = np.zeros((len(marks), 2, len(network.by_tape)))
    for row, mark in enumerate(marks):
        target = network.targets[mark]
        at = np.array([target.mark.at_table])
        for by, axes in target.inkers:
            moved = section_effect(network, by, at)[0]
            carrier[row, axes, network.places[by]] = moved[axes]
            if PLOTTER in network.places:
                scaled = scale_effect(at, network.setups[by].pose.about)[0]
                carrier[row, axes, network.places[PLOTTER]] = scaled[axes]
        if own_block(mark) in network.places:
            carrier[row, :, network.places[own_block(mark)]] = np.eye(2)
        if about is not None and PLOTTER in network.places:
            carrier[row, :, network.places[PLOTTER]] -= scale_effect(at, about)[0]
        if about is not None and POINTER in network.places:
            carrier[row, :, network.places[POINTER]] -= np.eye(2)
    return network, carrier.reshape(2 * len(marks), len(network.by_tape))


def _blocks_of(network: Network, mark: str) -> Sequence[Block]:
    """The blocks that a mark's own displacement is made of, itself last; none where it has none."""
    target, errors = network.targets.get(mark), network.errors
    if target is None:
        raise BadInputError(
            f"mark {mark} is not known; the marks here, the likest first, are "
            f"{_listed(network.targets, mark)}"
        )
    for by, _ in target.inkers:
        if by not in network.setups:
            raise BadInputError(
                f"mark {mark} is not inked yet: section {by} inks it. Read another mark"
            )
    if target.inked_by is None:
        at = target.mark.at_table
        return tape_mark_blocks(mark, at, target.sd, errors, network.span, network.datum)
    scatter = float(np.hypot(target.sd, errors.cloth))
    return [ink_block(mark, scatter)] if scatter else []


def joined(network: Network, blocks: Sequence[Block]) -> tuple[Network, FloatArray]:
    """The network with `blocks` more, as they are believed before any reading of them.

    Also how each of their own errors moves them all, (k, k), since one may move the next.
    """
    if not blocks:
        return network, np.zeros((0, 0))
    own = np.concatenate([block.sd for block in blocks])
    places, by_state, by_own, moves = stacked(blocks, network.places, len(network.by_tape))
    cross = by_state @ network.by_tape
    expected = by_state @ network.mean
    for block in blocks:
        if block.mean is not None:
            at = places[block.name].start - len(network.by_tape)
            expected[at : at + len(block.mean)] += (
                block.mean if expected.ndim == 1 else block.mean[:, None]
            )
    spread = cross @ by_state.T + (by_own * own**2) @ by_own.T
    more = replace(
        network,
        places=places,
        mean=np.concatenate([network.mean, expected]),
        by_tape=np.block([[network.by_tape, cross.T], [cross, spread]]),
        common=np.concatenate([network.common, by_state @ network.common + by_own @ moves]),
        follows=np.concatenate([network.follows, by_state @ network.follows]),
    )
    return more, by_own


def _listed(names: Iterable[str], wanted: str) -> str:
    """The names most like `wanted` first: of the same line and with the nearest number."""

    def unlike(name: str) -> tuple[bool, int, str]:
        return name[:1] != wanted[:1], abs(_number_in(name) - _number_in(wanted)), name

    listed = sorted(names, key=unlike)
    shown = ", ".join(listed[:12])
    return f"{shown} and {len(listed) - 12} more" if len(listed) > 12 else shown or "none"


def _number_in(name: str) -> int:
    digits = "".join(letter for letter in name if letter in "0123456789")
    return int(digits[:9]) if digits else 0


def even(covariance: FloatArray) -> FloatArray:
    """Rounding must not make a covariance lopsided, or errors grow along a chain."""
    halved: FloatArray = (covariance + covariance.T) / 2
    return halved
