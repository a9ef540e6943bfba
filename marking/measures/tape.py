"""What a steel tape really says: its class, its expansion, its measured error, its uncertainty.

A reading is what the tape shows; a length is what is there. Millimetres and degrees Celsius. It
knows no table and no mark.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import BadInputError
from marking.measures.lengths import INCH, format_length, tape_fraction

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from marking.arrays import FloatArray
    from marking.measures.lengths import Units

TapeClass = Literal["I", "II", "III"]

_PERMISSIBLE = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}
"""mm and mm per metre begun: directive 2014/32/EU annex X, UK SI 2016/1153 schedule 1I."""
_HOOK = {"I": 0.1, "II": 0.2, "III": 0.3}
"""mm more when an end surface or hook is used for zero; the same table."""
REFERENCE_CELSIUS = 20.0
"""The temperature at which a tape of any class is true; the same schedule."""
STEEL_PER_CELSIUS = 11.6e-6
"""Expansion of steel; surveying handbooks, which also give 6.45e-6 per degree F from 68 F."""
_MOST_SCALE = 0.02
_COMPARED = 3000.0
"""mm: the length that a tape is taken to have been compared over, where its error is given."""


def permissible_error(lengths: ArrayLike, tape_class: TapeClass = "II") -> FloatArray:
    """The most, in mm, by which a tape of this class may be wrong over each of `lengths`.

    a + b L, L the metres begun (UK SI 2016/1153, schedule 1I, paragraph 2).
    """
    fixed, per_metre = _PERMISSIBLE[tape_class]
    begun = np.ceil(np.asarray(lengths, dtype=np.float64) / 1000 - 1e-12)
    return fixed + per_metre * begun


def celsius(fahrenheit: float) -> float:
    """Degrees Celsius."""
    return (fahrenheit - 32) / 1.8


class Tape(Struct, frozen=True):
    """One steel tape on one day."""

    tape_class: TapeClass = "II"
    division: float = float(INCH) / 32
    """How finely it is read or set, in mm."""
    temperature: float = REFERENCE_CELSIUS
    temperature_sd: float = 2.0
    """The tape in the hand against the thermometer on the wall."""
    scale_error: float = 0.0
    """True length over shown length, less 1, at 20 degrees C."""
    scale_sd: float | None = None
    """Standard deviation of a measured scale error; None leaves it to the class."""
    hook: bool = False
    """Whether zero is the hook or the end of the tape and no printed mark."""

    def __post_init__(self) -> None:
        given = (self.division, self.temperature, self.temperature_sd, self.scale_error)
        if not np.isfinite([*given, self.scale_sd or 0.0]).all():
            raise BadInputError("tape: every figure must be a finite number")
        if self.tape_class not in _PERMISSIBLE:
            raise BadInputError(f'tape: class "{self.tape_class}" is none of I, II and III')
        if not -30 <= self.temperature <= 60:
            raise BadInputError(
                f"tape: {self.temperature:g} degrees C is no workroom; give the temperature in "
                f"Celsius ({self.temperature:g} F is {celsius(self.temperature):.0f} C)"
            )
        if self.division <= 0 or self.temperature_sd < 0 or (self.scale_sd or 0.0) < 0:
            raise BadInputError("tape: a division must be more than nothing, and no sd negative")
        if abs(self.scale_error) > _MOST_SCALE:
            raise BadInputError(
                f"tape: a scale error of {self.scale_error:.1%} is more than any tape has; "
                "compare it with a known length again"
            )

    @property
    def true_per_shown(self) -> float:
        """True mm for each mm shown, at the day's temperature."""
        warmer = self.temperature - REFERENCE_CELSIUS
        return (1 + self.scale_error) * (1 + STEEL_PER_CELSIUS * warmer)


USUAL_TAPE = Tape()
"""What is taken where a job names no tape."""


def compared_to(tape: Tape) -> Tape:
    """`tape` as sure as a comparison with a known length makes it: half a division in 3 m."""
    return replace(tape, scale_sd=tape.division / 2 / _COMPARED)


def true_length(reading: float, tape: Tape) -> float:
    """The length, in mm, where the tape shows `reading` mm."""
    return reading * tape.true_per_shown


def tape_reading(length: float, tape: Tape) -> float:
    """What the tape shows, in mm, over a true `length` in mm."""
    return length / tape.true_per_shown


def as_taped(reading: float, tape: Tape, units: Units) -> str:
    """A reading in mm as a person finds it on the tape: inches to a mark of 1/32, or 1/64 where
    the tape has them, and no tenths of a millimetre beside; millimetres to a tenth.
    """
    if units == "mm":
        return format_length(reading, units)
    parts = 64 if tape.division < 0.75 * float(INCH) / 32 else 32
    return f"{tape_fraction(Fraction(round(reading / float(INCH) * parts), parts))} in"


def compared(tape: Tape, shown: float, known: float, known_sd: float) -> Tape:
    """`tape` with its scale error measured: it showed `shown` mm over a length of `known` mm.

    `known_sd` is the known length's own standard deviation in mm. The tape was at its
    `temperature`, whose effect is taken out. Raises BadInputError when the two cannot be one
    length.
    """
    if not (shown > 0 and known > 0 and known_sd >= 0):
        raise BadInputError("tape: the shown and the known length must both be more than nothing")
    at_reference = true_length(shown, replace(tape, scale_error=0.0))
    sd = float(np.hypot(known_sd, tape.division / 2)) / shown
    return replace(tape, scale_error=known / at_reference - 1, scale_sd=sd)


def independent_sd(lengths: ArrayLike, tape: Tape) -> FloatArray:
    """The part, in mm, of each reading's standard deviation that another does not share.

    Half the division for setting and reading, and what the class allows beside its error per
    metre; half a permissible error is taken for one standard deviation.
    """
    lengths = np.asarray(lengths, dtype=np.float64)
    marks = permissible_error(lengths, tape.tape_class)
    fixed, _ = _PERMISSIBLE[tape.tape_class]
    shared = marks - fixed
    hook = _HOOK[tape.tape_class] if tape.hook else 0.0
    if tape.scale_sd is not None:
        marks, shared = np.full_like(lengths, fixed), np.zeros_like(lengths)
    variance: FloatArray = (tape.division / 2) ** 2 + ((marks + hook) ** 2 - shared**2) / 4
    return np.sqrt(variance)


def shared_sds(lengths: ArrayLike, tape: Tape) -> FloatArray:
    """(2, n): what all readings with one tape share, in mm: its scale, and its warmth."""
    lengths = np.asarray(lengths, dtype=np.float64)
    if tape.scale_sd is None:
        fixed, _ = _PERMISSIBLE[tape.tape_class]
        scale = (permissible_error(lengths, tape.tape_class) - fixed) / 2
    else:
        scale = lengths * tape.scale_sd
    return np.stack([scale, lengths * (STEEL_PER_CELSIUS * tape.temperature_sd)])


def scale_sd(tape: Tape) -> float:
    """Standard deviation of the tape's length, mm per mm: by class or as measured, and warmth.

    What the law rounds up to whole metres is no scale, and is left out.
    """
    by_class = _PERMISSIBLE[tape.tape_class][1] / 1000 / 2
    scale = by_class if tape.scale_sd is None else tape.scale_sd
    return float(np.hypot(scale, STEEL_PER_CELSIUS * tape.temperature_sd))


def reading_sd(lengths: ArrayLike, tape: Tape) -> FloatArray:
    """Standard deviation, in mm, of each reading by itself."""
    shared = shared_sds(lengths, tape)
    variance: FloatArray = independent_sd(lengths, tape) ** 2 + (shared**2).sum(axis=0)
    return np.sqrt(variance)


def reading_covariance(lengths: ArrayLike, tape: Tape) -> FloatArray:
    """(n, n) covariance, in mm squared, of n readings with the one tape."""
    shared = shared_sds(lengths, tape)
    return np.diag(independent_sd(lengths, tape) ** 2) + shared.T @ shared
