"""Steps read off verniers at joins: how the ink of two sections lies apart at one point.

Both halves of a vernier are drawn by the pens that ink, so that no pointer comes into it, and no
tape. A pair is whole once both sections have drawn, and from then on ties them for every later
section. It knows the network, no half and no line. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.least_squares.chi_square import exceeded
from marking.least_squares.readings_test import as_likely
from marking.network.inked import ink_effect
from marking.network.network import even

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from marking.arrays import FloatArray
    from marking.network.network import Network, Setup
    from marking.network.pose import Pose

_FALSE_ALARM = 0.002
"""How often steps that were all read well are doubted."""


class StepRead(Struct, frozen=True):
    """What one vernier showed."""

    id: str
    sections: tuple[str, str]
    """The one that drew the main scale, and the one that drew the vernier."""
    axis: Literal[0, 1]
    """0 where it tells the step along the table, 1 across it."""
    at: tuple[float, float]
    step: float
    """mm: the ink of the second less that of the first, along the axis."""
    sd: float
    """mm: of the reading alone."""

    def renamed(self, section: str, name: str) -> StepRead:
        """The same with `section` called `name`."""
        one, two = (name if one == section else one for one in self.sections)
        return replace(self, sections=(one, two))

    def as_inked(self, section: str, halves: Pose, inked: Pose) -> StepRead:
        """The step of the ink, where `section` drew its half for the pose `halves` and its ink
        for the pose `inked`, its device not moved in between."""
        at = np.array(self.at)
        off = float((inked(halves.inverse(at)) - at)[self.axis])
        return replace(self, step=self.step - (off if section == self.sections[1] else -off))


class StepsTaken(Struct, frozen=True):
    """Steps read at the joins of a section that has drawn its halves and no ink yet."""

    steps: tuple[StepRead, ...]
    """As the halves show them."""
    halves: Pose
    """What the section's own halves were drawn for."""

    def as_inked(self, setup: Setup) -> tuple[StepRead, ...]:
        """As ink by `setup` would show them."""
        return tuple(step.as_inked(setup.section, self.halves, setup.pose) for step in self.steps)


class ExpectedStep(Struct, frozen=True):
    """What a vernier should show by all that is known before it is read."""

    step: float
    """mm."""
    sd: float
    """mm, the reading's own among it."""

    def in_sds(self, step: float) -> float:
        """How many standard deviations a step that was read is off."""
        return abs(step - self.step) / self.sd


class StepRows(Struct, frozen=True):
    """What steps are equations of: each is what the state comes to, and noise."""

    by_state: FloatArray
    """(s, n)."""
    off: FloatArray
    """(s,) mm: what was read, less what the state's mean comes to."""
    variances: FloatArray
    """(s,) mm²: the reading's, and what the cloth gives under either device."""


def ready(steps: Iterable[StepRead], network: Network) -> tuple[StepRead, ...]:
    """The steps between sections that the state holds."""
    return tuple(s for s in steps if all(name in network.places for name in s.sections))


def step_rows(network: Network, steps: Sequence[StepRead]) -> StepRows:
    """The equations of `steps`, all between sections that the state holds."""
    by_state = np.zeros((len(steps), len(network.by_tape)))
    off, variances = np.zeros(len(steps)), np.zeros(len(steps))
    for row, step in enumerate(steps):
        at = np.array([step.at])
        allowed = 0.0
        for name, sign in zip(step.sections, (-1.0, 1.0), strict=True):
            index, moved = ink_effect(network, name, at)
            np.add.at(by_state[row], index, sign * moved[0, step.axis])
            allowed += sign * network.setups[name].allowed_for(at)[0, step.axis]
        off[row] = step.step - (by_state[row] @ network.mean - allowed)
        variances[row] = step.sd**2 + 2 * network.errors.cloth**2
    return StepRows(by_state, off, variances)


def with_steps(network: Network, steps: Sequence[StepRead]) -> Network:
    """The network with `steps` read as well, all between sections that it holds."""
    if not steps:
        return network
    rows = step_rows(network, steps)
    crossed = network.by_tape @ rows.by_state.T
    worth = np.linalg.solve(rows.by_state @ crossed + np.diag(rows.variances), crossed.T).T
    return replace(
        network,
        mean=network.mean + worth @ rows.off,
        by_tape=even(network.by_tape - worth @ crossed.T),
        common=network.common - worth @ (rows.by_state @ network.common),
        follows=network.follows - worth @ (rows.by_state @ network.follows),
    )


def made_whole(network: Network, steps: Iterable[StepRead], section: str) -> Network:
    """The network with those of `steps` that inking `section` made whole."""
    return with_steps(network, ready((s for s in steps if section in s.sections), network))


def expected(network: Network, step: StepRead) -> ExpectedStep:
    """What `step` should come to; its own figure counts for nothing."""
    rows = step_rows(network, [step])
    common = rows.by_state @ network.common
    spread = rows.by_state @ network.by_tape @ rows.by_state.T + common @ common.T
    variance = float(spread[0, 0] + rows.variances[0])
    return ExpectedStep(step.step - float(rows.off[0]), float(np.sqrt(variance)))


class Misread(Struct, frozen=True):
    """A step that all else speaks against."""

    step: StepRead
    expected: ExpectedStep
    rivals: tuple[str, ...]
    """Others that may be the wrong one almost as well."""


def misread(network: Network, steps: Sequence[StepRead]) -> Misread | None:
    """Which of `steps` stands against the state and all the others; None where none does.

    `network` has none of them yet, and holds the sections of all.
    """
    if not steps:
        return None
    told = []
    for count, step in enumerate(steps):
        others = [other for n, other in enumerate(steps) if n != count]
        told.append(expected(with_steps(network, others), step))
    in_sds = np.array([one.in_sds(step.step) for one, step in zip(told, steps, strict=True)])
    worst = int(np.argmax(in_sds))
    if in_sds[worst] ** 2 <= exceeded(_FALSE_ALARM / len(steps), 1):
        return None
    likely = as_likely(in_sds, worst).tolist()
    rivals = [step.id for n, step in enumerate(steps) if likely[n] and n != worst]
    return Misread(steps[worst], told[worst], tuple(rivals))
