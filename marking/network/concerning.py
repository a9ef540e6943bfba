"""The network as far as it concerns a few marks and sections: the same figures, sooner.

It knows what each block of the state is for, no placement. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from marking.network.datum import EXACT
from marking.network.network import ink, known, only
from marking.network.shared import DEVICE, own_block

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.network.datum import Datum
    from marking.network.network import KnownMark, Network, Setup


def concerning(
    targets: Iterable[KnownMark],
    setups: Sequence[Setup],
    marks: Iterable[str],
    sections: Iterable[str],
    datum: Datum = EXACT,
) -> Network:
    """The network after `setups`, in the order they were inked, as far as it concerns these.

    The same figures as the whole network's, sooner: what no later reading can reach is left
    out as it goes. Only `marks` are known to it afterwards.
    """
    network = known(targets, datum)
    wanted = set(marks)
    last = _last_use(network.targets, setups, wanted, sections)
    for count, setup in enumerate(setups):
        network = ink(network, setup)
        network = only(network, [place for place in network.places if last.get(place, -1) > count])
    return replace(network, targets={m: t for m, t in network.targets.items() if m in wanted})


def _last_use(
    targets: Mapping[str, KnownMark],
    setups: Sequence[Setup],
    marks: Iterable[str],
    sections: Iterable[str],
) -> dict[str, int]:
    """The count of the last setup that reads of each block; past all for what is asked for."""
    last: dict[str, int] = {}
    uses = [(count, r.mark) for count, setup in enumerate(setups) for r in setup.readings]
    for count, mark in (*uses, *((len(setups), mark) for mark in marks)):
        last[own_block(mark)] = count
        for by, _ in targets[mark].inkers if mark in targets else ():
            last[by] = count
    return {**last, **{section: len(setups) for section in sections}}


def only_for(network: Network, marks: Iterable[str]) -> Network:
    """The network without what does not move `marks`."""
    blocks: dict[str, None] = {place: None for place in DEVICE if place in network.places}
    for mark in marks:
        inkers = network.targets[mark].inkers if mark in network.targets else ()
        for place in (own_block(mark), *(by for by, _ in inkers)):
            if place in network.places:
                blocks[place] = None
    return only(network, list(blocks))
