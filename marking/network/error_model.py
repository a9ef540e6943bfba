"""How large each error of the work is taken to be, before anything of it is known better.

All figures are our own assumptions, evidence of nothing: each is a standard deviation of a normal
error in mm, unless it says otherwise. It knows no reading and no plan.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

if TYPE_CHECKING:
    from marking.job.work_keys import FenceTable


class Trial(Struct, frozen=True):
    """What a trial on scrap left of the plotter's scale along and across the table, and skew."""

    left: tuple[float, float, float]
    """What it found and is not drawn for, mm per mm."""
    covariance: tuple[tuple[float, float, float], ...]
    """(3, 3) of what it found."""


class ErrorModel(Struct, frozen=True):
    """What errs beside a reading, a tape and a square, and how much.

    An error of 0 is left out of every reckoning, as if nobody had thought of it.
    """

    pointer: float = 0.05
    """Between what reads and what inks, in each of x and y: what bringing the pointer onto a
    crossing just inked leaves. The same for every section of a day."""
    scale: float = 3e-4
    """The plotter's scale on either axis, and its skew, mm per mm: what a trial leaves."""
    cloth: float = 0.1
    """How far cloth gives under a device that stands on it, here more and there less."""
    stops: float = 0.1
    """Where a stop ends the travel along a fence."""
    contact: float = 0.07
    """At each of the two places where a device touches a fence."""
    bow: float = 0.3
    """The sag in the middle of a fence: so much, to either side."""
    rail_along: float = 0.2
    """A fence set to its mark, along."""
    rail_ends: float = 0.25
    """Each end of a fence set to its mark, across."""
    row_zero: float = 0.2
    """The tape laid to the zero line, once for each row of marks."""
    row_ends: float = 0.25
    """Each end of a row's struck line."""
    row_sag: float = 0.1
    """The struck line in its middle."""
    graduation: float = 0.1
    """The most by which a graduation of the tape is off; uniform within, and the same for all
    marks that are set out to it."""
    mark: float | None = 0.15
    """A tick's own, along its row and across it; None: what is told with the mark itself."""
    trial: Trial | None = None
    """What the trial of this plotter left, in the place of `scale`; None where nothing is kept."""

    @property
    def rows(self) -> bool:
        """Whether marks set out by tape share more than the datum."""
        return max(self.row_zero, self.row_ends, self.row_sag, self.graduation) > 0

    @property
    def without_rows(self) -> ErrorModel:
        """The same where no mark is set out along a row: each mark says what it is good to."""
        return replace(self, row_zero=0.0, row_ends=0.0, row_sag=0.0, graduation=0.0, mark=None)


NO_ERRORS = ErrorModel(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, None)
"""Readings, tape and square alone err."""


def error_model_of(fence: FenceTable | None) -> ErrorModel:
    """The errors to reckon with in a job: ours, but for what its `[fence]` says of itself."""
    if fence is None:
        return ErrorModel()
    told = replace(ErrorModel(), bow=fence.straight, contact=fence.contact)
    return told if fence.stops is None else replace(told, stops=fence.stops)
