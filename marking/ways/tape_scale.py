"""How far a tape's scale may be off, as every way shares it.

A maker sorts tapes against a limit and tells no more, so that the error is as likely anywhere
within it (GUM 4.3.7); a limit that is rounded up to whole metres may all be scale.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.measures.tape import STEEL_PER_CELSIUS, permissible_error

if TYPE_CHECKING:
    from marking.measures.tape import Tape

_TAPE = 5000.0
"""mm of a tape at whose end the limit is used up; our own assumption."""
_SQRT_3 = 3**0.5


def tape_scale_most(tape: Tape) -> float:
    """The most by which the tape's scale is off, mm a mm, warmth included; even within it.

    Of a tape that was compared with a known length, by the doubt that is left.
    """
    if tape.scale_sd is None:
        most = float(permissible_error(_TAPE, tape.tape_class)) / _TAPE
    else:
        most = _SQRT_3 * tape.scale_sd
    return float((most**2 + 3 * (STEEL_PER_CELSIUS * tape.temperature_sd) ** 2) ** 0.5)
