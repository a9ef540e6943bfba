"""Which of several equal figures counts: the first, on every processor.

Figures that are equal by symmetry differ in their last bits, and those are another processor's
own. It knows numbers and nothing that they measure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from marking.arrays import FloatArray

_SAME = 1e-9
"""Share of the greatest by which rounding may part equal figures; true differences are larger."""


def first_of_greatest(values: FloatArray) -> int:
    """Index of the first of `values` (n,) that is the greatest but for rounding."""
    greatest = values.max()
    return int((values >= greatest - _SAME * abs(greatest)).argmax())
