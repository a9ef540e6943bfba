"""The network as far as it concerns a few marks and sections: the same figures, sooner.

It knows what each block of the state is for, no placement. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from marking.network.datum import EXACT
from marking.network.error_model import NO_ERRORS
from marking.network.misfits import ink
from marking.network.network import Setup, known, met, only, unmet
from marking.network.pose import as_planned
from marking.network.shared_errors import DEVICE, own_block
from marking.network.steps import made_whole

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.fence import Clamping
    from marking.network.network import KnownMark, Network
    from marking.network.steps import StepRead


def concerning(
    targets: Iterable[KnownMark],
    setups: Sequence[Setup],
    marks: Iterable[str],
    sections: Iterable[str],
    datum: Datum = EXACT,
    errors: ErrorModel = NO_ERRORS,
    clamping: Clamping | None = None,
    steps: Sequence[StepRead] = (),
) -> Network:
    """The network after `setups`, in the order they were inked, as far as it concerns these.

    `steps` between any of them count from when both are inked. The same figures as the whole
    network's, sooner: what no later reading can reach is left out as it goes. Only `marks`, and
    those that `clamping` is set to, are known to it afterwards.
    """
    network = known(targets, datum, errors)
    wanted = dict.fromkeys([*marks, *((clamping and clamping.set_to) or ())])
    uses = [([reading.mark for reading in one.readings], one.clamping) for one in setups]
    abouts = {setup.section: setup.pose.about for setup in setups}
    ready = [mark for mark in wanted if all(by in abouts for by, _ in _inkers(network, mark))]
    last = last_uses(network, [*uses, (ready, clamping)], abouts)
    keep_for_steps(last, steps, setups)
    last |= {section: len(setups) for section in sections}
    for count, setup in enumerate(setups):
        network = made_whole(ink(network, setup), steps, setup.section)
        network = only(network, [place for place in network.places if last.get(place, -1) > count])
    return replace(network, targets={m: t for m, t in network.targets.items() if m in wanted})


def last_uses(
    network: Network,
    uses: Sequence[tuple[Iterable[str], Clamping | None]],
    abouts: Mapping[str, FloatArray],
) -> dict[str, int]:
    """The count of the last of `uses` that any block of the state has to do with.

    As for `used`; what all share is used to the end.
    """
    return last_of(used(network, uses, abouts))


def last_of(used: Sequence[Iterable[str]]) -> dict[str, int]:
    """By block, the count of the last of those that use it; what all share is used to the end."""
    last = {block: count for count, blocks in enumerate(used) for block in blocks}
    return last | dict.fromkeys(DEVICE, len(used))


def used(
    network: Network,
    uses: Sequence[tuple[Iterable[str], Clamping | None]],
    abouts: Mapping[str, FloatArray],
) -> list[frozenset[str]]:
    """The blocks of the state that each of `uses` has to do with.

    Each reads marks, against a clamping or not. `abouts` are the middles of all windows whose ink
    is read.
    """
    stood = {name: Setup(name, as_planned(about), ()) for name, about in abouts.items()}
    all_inked = replace(network, setups={**network.setups, **stood})
    found = []
    for read, clamping in uses:
        marks = list(read)
        blocks = {block.name for block in unmet(all_inked, marks, clamping)}
        blocks |= {own_block(mark) for mark in marks}
        blocks |= {by for mark in marks for by, _ in _inkers(network, mark)}
        found.append(blocks | set(DEVICE))
    return [frozenset(blocks) for blocks in found]


def keep_for_steps(
    last: dict[str, int], steps: Iterable[StepRead], setups: Sequence[Setup]
) -> None:
    """Lets `last`, as of `last_uses`, keep each section up to the last step read to it."""
    order = {setup.section: count for count, setup in enumerate(setups)}
    for step in steps:
        if all(name in order for name in step.sections):
            whole = max(order[name] for name in step.sections)
            for name in step.sections:
                last[name] = max(last.get(name, -1), whole)


def _inkers(network: Network, mark: str) -> tuple[tuple[str, slice], ...]:
    return network.targets[mark].inkers if mark in network.targets else ()


def only_for(network: Network, marks: Sequence[str], clamping: Clamping | None = None) -> Network:
    """The network without what does not move `marks` and the fence as it is clamped."""
    network = met(network, marks, clamping)
    blocks: dict[str, None] = {place: None for place in DEVICE if place in network.places}
    if clamping is not None:
        blocks[clamping.block] = None
    for mark in marks:
        for place in (own_block(mark), *(by for by, _ in _inkers(network, mark))):
            if place in network.places:
                blocks[place] = None
    return only(network, list(blocks))
