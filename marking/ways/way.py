"""A way of marking a cover as frozen data: its acts, what it is expected to hold, the limits.

It knows no machine and computes no error. Millimetres and seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct
from msgspec.structs import replace

from marking.ways.acts import Hours, hours, least_hours

if TYPE_CHECKING:
    from marking.network.allowed_errors import Allowed
    from marking.ways.acts import Act

CrossLines = Literal["device", "ruled"]
TWO_DAYS = 16.0
"""Hours by the clock past which a way is advised against: two days of eight."""


class ExpectedErrors(Struct, frozen=True):
    """What 95 of 100 covers keep within, in mm, and what that asks for."""

    line: float
    """Of any ink sideways of its true place."""
    total: float
    """Of any cross line's distance from the zero line."""
    square: float
    """Lean of a cross line over 54 in."""
    neighbours: float
    """Error of a gap between lines beside each other."""
    step: float
    """Of a line where it is joined."""
    marks: int = 0
    readings: int = 0
    set_downs: int = 0

    def with_counts(
        self, *, marks: int = 0, readings: int = 0, set_downs: int = 0
    ) -> ExpectedErrors:
        """The same, with what it asks for."""
        return replace(self, marks=marks, readings=readings, set_downs=set_downs)

    def past(self, limits: Allowed) -> tuple[tuple[str, float, float], ...]:
        """What is past its limit: name, mm expected, mm allowed."""
        told = (
            ("total", self.total, limits.total),
            ("square", self.square, limits.square),
            ("neighbours", self.neighbours, limits.neighbours),
            ("step", self.step, limits.step),
        )
        return tuple((name, has, most) for name, has, most in told if has > most)


class Way(Struct, frozen=True):
    """One way to get the whole marking onto the cover."""

    id: str
    says: str
    """What is done, in a few words."""
    machine: str
    """The profile's name, or "hand"."""
    acts: tuple[Act, ...]
    expected: ExpectedErrors | None
    """None where it cannot be done at all."""
    fence: bool = False
    cross_lines: CrossLines = "device"
    rulings: int = 0
    tracings: int = 0
    sheets: int = 0
    """Printed and laid on the cover."""
    machine_seconds: float = 0.0
    needs: tuple[str, ...] = ()
    cannot: str = ""
    """Why it cannot be done; empty where it can."""
    note: str = ""
    """What else to know, as that nothing prints its sheets."""


def cannot_be_done(name: str, says: str, machine: str, why: str, *, fence: bool = False) -> Way:
    """A way whose machine cannot mark this cover, with the reason."""
    return Way(name, says, machine, (), None, fence=fence, cannot=f"cannot be done: {why}")


class Reckoned(Struct, frozen=True):
    """A way with its hours, whether it holds, and why it stands where it does."""

    way: Way
    least: Hours
    by_two: Hours
    past: tuple[tuple[str, float, float], ...]
    why: str = ""

    @property
    def holds(self) -> bool:
        """Whether 95 of 100 covers keep to every limit."""
        return self.way.expected is not None and not self.past

    @property
    def over_two_days(self) -> bool:
        """Whether even a practised person is at it for more than two days."""
        return self.least.clock[0] > TWO_DAYS


def ranked(ways: tuple[Way, ...], limits: Allowed, first_time: float) -> tuple[Reckoned, ...]:
    """By person-hours among those that hold, then those that do not, then what cannot be done."""
    found = [
        Reckoned(
            way,
            least_hours(way.acts, first_time),
            hours(way.acts, first_time, 2),
            () if way.expected is None else way.expected.past(limits),
        )
        for way in ways
    ]
    found.sort(
        key=lambda one: (
            not one.holds,
            one.way.expected is None,
            one.least.person[0],
            one.way.id,
        )
    )
    best = best_of(tuple(found))
    return tuple(replace(one, why=_why(one, best)) for one in found)


def best_of(ranked_ways: tuple[Reckoned, ...]) -> Reckoned | None:
    """The fewest person-hours of what holds and is done in two days; None where nothing is."""
    return next((one for one in ranked_ways if one.holds and not one.over_two_days), None)


def most_of(way: Way) -> Act | None:
    """The act that takes the most person-time."""
    return max(way.acts, key=lambda act: act.total, default=None)


def _why(one: Reckoned, best: Reckoned | None) -> str:
    """In one line, why a way stands where it does."""
    if one.way.expected is None:
        return one.way.cannot
    said = []
    if one.over_two_days:
        said.append(f"don't: over two days of work ({one.least.clock[0]:.1f} h by the clock)")
    if one.past:
        said += [f"{name} {has:.2f} mm, {most:.2f} allowed" for name, has, most in one.past]
    elif one is best:
        said.append("the fewest person-hours of all that hold within two days of work")
    elif best is not None:
        more = one.least.person[0] - best.least.person[0]
        said.append(f"{abs(more):.1f} person-hours {'fewer' if more < 0 else 'more'} than the best")
    act = most_of(one.way)
    if act is not None and one is not best and not one.past:
        said.append(f"most of it {act.what} ({act.total / 3600:.1f} h)")
    if one.way.note:
        said.append(one.way.note)
    return "; ".join(said)
