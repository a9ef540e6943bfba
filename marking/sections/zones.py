"""What limits a section: a bed, a roll, an arm or a beam. It is a size and a pace, no machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct
from msgspec.structs import replace

if TYPE_CHECKING:
    from marking.job.keys import ReachTable
    from marking.sections.footing import Footing

ZoneName = Literal["plotter", "reach", "beam"]
Corner = tuple[Literal[0, 1], Literal[0, 1]]


class ZonePace(Struct, frozen=True):
    """How fast a zone inks, for routes and, where it is timed, for estimates. mm/s and seconds."""

    draw: float
    travel: float
    lift: float


class ZoneManner(Struct, frozen=True):
    """How sections of a zone are come to, inked and kept."""

    inked_by: str
    """After "the sections for"."""
    part: str
    """What of it lies over a section, after "the corner of the"."""
    comes: str
    """What to do for a section, up to "at the readings"."""
    timed: bool = False
    """Whether its pace is a machine's own, so that minutes can be told."""
    holds_pens: bool = False
    """Whether its pens stand in numbered holders."""
    from_an_edge: bool = False
    """Whether a person stands at a long edge, in place of a reading across."""
    inks_by_itself: bool = False
    """Whether it is set down and inks, which is kept as runs, while a person looks on."""
    along_a_rule: bool = False
    """Whether a person draws every line along a rule, so that none is left to be ruled."""
    kept_under: str = ""
    """Begins the name that its sections' ink has in the record, where they are told apart."""


MANNERS: dict[ZoneName, ZoneManner] = {
    "plotter": ZoneManner(
        "the plotter",
        "device's reach",
        "Set the device down with the corner of its reach that is nearest the zero corner",
        timed=True,
        holds_pens=True,
        inks_by_itself=True,
    ),
    "reach": ZoneManner(
        "drawing by hand",
        "reach",
        "For each section stand at the edge named, where the reach along the table begins",
        from_an_edge=True,
        along_a_rule=True,
    ),
    "beam": ZoneManner(
        "the projector",
        "projector's usable picture",
        "Bring the picture over a section so that its usable part begins",
        kept_under="beam ",
    ),
}
"""By the name that a kept division has of its zone: the one place that tells them apart."""


class Zone(Struct, frozen=True):
    """What one setup reaches."""

    name: ZoneName
    size: tuple[float, float]
    """Along the table's x and y, in mm."""
    set_down: float
    """Kept free all round, in mm, because nothing is set down exactly."""
    from_both_edges: bool
    """Whether it works in from either long edge, as deep as `depth` and no further."""
    pace: ZonePace
    home: Corner = (0, 0)
    """The corner of the window where the pen starts and parks: low or high along x and y."""
    feed: Literal[0, 1] | None = None
    """The table axis along which loose canvas is drawn through it, where a window need not outrun
    the cloth; None for what comes to the cover."""
    arm: float | None = None
    """How deep an arm reaches in from either long edge, in mm, where `size[1]` may be less."""
    widest_cloth: float | None = None
    """The widest cloth that is drawn through it, in mm."""
    turned_home: Corner | None = None
    """`home` when it is set down turned a quarter; None when it cannot be."""
    turned: bool = False
    """Whether it is turned a quarter, anticlockwise, from how its profile has it."""
    own_bed: bool = False
    """Whether loose canvas is drawn over a bed of its own, a step at a time, and not fed in."""
    footing: Footing | None = None
    """What it stands on, as it is turned, where it stands on the cover."""

    @property
    def timed(self) -> bool:
        """Whether its pace is a machine's own, so that minutes can be told. How long a person
        takes along a rule or with the light is not known yet: there the pace only orders strokes.
        """
        return self.manner.timed

    @property
    def manner(self) -> ZoneManner:
        """How it comes to a section and inks it."""
        return MANNERS[self.name]

    @property
    def depth(self) -> float:
        """How far in from a long edge it works, in mm, when it works from both."""
        return self.size[1] if self.arm is None else self.arm

    @property
    def ways_round(self) -> tuple[Zone, ...]:
        """As its profile has it and, where that is another reach, turned a quarter."""
        if self.turned_home is None or (self.size[0] == self.size[1] and self.feed is None):
            return (self,)
        feed: Literal[0, 1] | None = None
        if self.feed is not None:
            feed = 1 if self.feed == 0 else 0
        turned = replace(
            self,
            size=self.size[::-1],
            home=self.turned_home,
            feed=feed,
            turned=not self.turned,
            footing=None if self.footing is None else self.footing.turned,
        )
        return (self, turned)


def reach_zone(reach: ReachTable) -> Zone:
    """A person at either long edge, drawing along a rule."""
    pace = ZonePace(draw=reach.speed, travel=400.0, lift=0.8)
    return Zone("reach", (reach.span, reach.depth), 0.0, True, pace)
