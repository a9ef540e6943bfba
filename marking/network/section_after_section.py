"""The network as section after section is inked, a stretch of them at a time.

What a few sections in turn have to do with is little of a long table's state. They are inked on
that little; what it tells of all the rest is put together and told once a stretch, so that the
figures are those of the whole network, sooner (Guivant and Nebot, IEEE Trans. Robot. Autom. 17,
2001, who map a large area so). It knows what each block of the state is for, no placement. Table
frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.network.network import even, only
from marking.network.part_of_network import last_of
from marking.network.worth_of_readings import with_inked

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import FloatArray, IndexArray
    from marking.network.network import Network, Setup
    from marking.network.worth_of_readings import Gain

STRETCH = 12
"""Sections in turn: fewer tell the rest more often, more have to do with more."""


class Walk(Struct, frozen=True):
    """At one section: what of the network it and those about it have to do with, and the rest."""

    network: Network
    """The blocks that this stretch's sections have to do with; without those that no section from
    this one on has to do with."""
    blocks: Sequence[frozenset[str]]
    """By section in turn: the blocks that it has to do with."""
    last: Mapping[str, int]
    """By block: the count of the last section that has to do with it."""
    count: int
    """How many sections are past."""
    whole: Network
    """As it was when the stretch began."""
    weight: FloatArray
    """(b, b): what the readings since weigh of the b states that the stretch began with."""
    pull: FloatArray
    """(b,) or (b, runs): and how their misfits, so weighed, pull at these."""
    common_pull: FloatArray
    """(b, 2): likewise what one standard deviation of each error of the datum makes them miss."""

    def inked(self, gained: Gain, setup: Setup, misfits: FloatArray) -> Walk:
        """Once this section is inked; `misfits` (2m + r,), or (2m + r, runs)."""
        pulls = gained.follows.T @ gained.tape_projector
        return replace(
            self,
            network=with_inked(gained, setup, misfits),
            weight=self.weight + pulls @ gained.follows,
            pull=self.pull + pulls @ misfits,
            common_pull=self.common_pull + pulls @ gained.moved,
        )

    def onward(self) -> Walk:
        """Before the section after, whether this one is inked or not."""
        count = self.count + 1
        places = [place for place in self.network.places if self.last.get(place, -1) >= count]
        past = replace(self, network=only(self.network, places), count=count)
        at_end = count % STRETCH == 0 and count < len(self.blocks)
        return _stretch(past._told(), self.blocks, self.last, count) if at_end else past

    def _told(self) -> Network:
        """The whole network: the rest, told of what this stretch's readings say, and this."""
        near, whole = self.network, self.whole
        met = _met(whole, self.blocks, self.count - STRETCH)
        far = [place for place in whole.places if place not in set(met)]
        rest = only(whole, far)
        shared = whole.by_tape[np.ix_(_states(whole, met), _states(whole, far))]
        size = len(rest.mean)
        by_tape = np.empty((size + len(near.mean),) * 2)
        np.matmul(shared.T, -(self.weight @ shared), out=by_tape[:size, :size])
        by_tape[:size, :size] += rest.by_tape
        np.matmul(near.follows, shared, out=by_tape[size:, :size])
        by_tape[:size, size:] = by_tape[size:, :size].T
        by_tape[size:, size:] = near.by_tape
        mean = rest.mean - shared.T @ self.pull
        common = rest.common - shared.T @ self.common_pull
        here = {name: slice(at.start + size, at.stop + size) for name, at in near.places.items()}
        return replace(
            near,
            places={**rest.places, **here},
            mean=np.concatenate([mean, near.mean]),
            by_tape=even(by_tape),
            common=np.concatenate([common, near.common]),
            follows=np.zeros((len(by_tape), 0)),
        )


def walk(network: Network, blocks: Sequence[frozenset[str]]) -> Walk:
    """Before the first of many sections is inked, `blocks` being what each has to do with."""
    return _stretch(network, blocks, last_of(blocks), 0)


def _stretch(
    whole: Network, blocks: Sequence[frozenset[str]], last: Mapping[str, int], count: int
) -> Walk:
    near = only(whole, _met(whole, blocks, count))
    size = len(near.mean)
    near = replace(near, follows=np.eye(size))
    none = np.zeros_like(near.mean)
    return Walk(near, blocks, last, count, whole, np.zeros((size, size)), none, np.zeros((size, 2)))


def _met(whole: Network, blocks: Sequence[frozenset[str]], count: int) -> list[str]:
    """The blocks of `whole` that the stretch from section `count` on has to do with."""
    met = frozenset[str]().union(*blocks[count : count + STRETCH])
    return [place for place in whole.places if place in met]


def _states(network: Network, places: Sequence[str]) -> IndexArray:
    return np.concatenate([np.zeros(0, np.intp), *(np.r_[network.places[p]] for p in places)])
