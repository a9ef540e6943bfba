"""What a person does in a way, act by act, and how long it takes one person, or two.

It adds up; it knows neither lines nor machines. Seconds; hours where a name says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Sequence

SLOWER = 1.25
"""How much longer every act may take; our own assumption."""
_HOUR = 3600.0


class Act(Struct, frozen=True):
    """One kind of act: how often, and how long each takes."""

    what: str
    count: int
    seconds: float
    """Each, by as many as `hands` says."""
    hands: int = 1
    """2 for what nobody does alone; whoever helps is counted for that time only."""
    helped_seconds: float | None = None
    """Each, with a helper who is busy as long; None where one would not speed it up."""
    parted: bool = False
    """Whether two get through them side by side."""

    @property
    def total(self) -> float:
        """Person-seconds of all of them, done by as few as can."""
        return self.count * self.seconds * self.hands

    def time(self, people: int) -> tuple[float, float]:
        """Person-seconds and seconds by the clock, with one person at hand or with two."""
        clock = self.count * self.seconds
        if people > 1 and self.hands == 1:
            if self.helped_seconds is not None:
                helped = self.count * self.helped_seconds
                return 2 * helped, helped
            if self.parted:
                return clock, clock / 2
        return self.hands * clock, clock


class Hours(Struct, frozen=True):
    """How long a way takes: from a practised person at these times to a first cover."""

    person: tuple[float, float]
    clock: tuple[float, float]
    people: int


def hours(acts: Sequence[Act], first_time: float, people: int) -> Hours:
    """Hours of `acts` by one person, a second called in where it takes two, or by two.

    The low end is every act at its time, the high end every act a quarter slower and
    `first_time` seconds of finding out, by one person.
    """
    spent = [act.time(people) for act in acts]
    person, clock = (sum(one[k] for one in spent) / _HOUR for k in (0, 1))
    more = first_time / _HOUR
    return Hours((person, SLOWER * person + more), (clock, SLOWER * clock + more), people)


def least_hours(acts: Sequence[Act], first_time: float) -> Hours:
    """The fewer person-hours of one and of two; of equals, one person's."""
    alone, two = (hours(acts, first_time, people) for people in (1, 2))
    return two if two.person[0] < alone.person[0] - 1e-9 else alone
