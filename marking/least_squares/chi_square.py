"""Chi-square figures: what sums of squared errors exceed by chance, and how often.

By `scipy.special`, since `scipy.stats` takes long to import; and that only when a figure is asked
for, so that a job without readings imports neither.
"""

from __future__ import annotations

import math
from functools import cache


def of_a_point(share: float) -> float:
    """What the two squared errors of a point exceed in `share` of cases, by the closed form."""
    return -2 * math.log(share)


POINT_95 = of_a_point(0.05)
"""What 95 of 100 points' squared errors stay within: chi-square of two degrees of freedom."""


@cache
def exceeded(share: float, degrees: int) -> float:
    """The value that chi-square of so many degrees of freedom exceeds in `share` of cases."""
    from scipy.special import chdtri

    return float(chdtri(degrees, share))
