"""How long a page that holds the machine may be silent before it is taken for lost."""

from __future__ import annotations

import contextlib
import os

from marking.errors import BadInputError

LOST_AFTER = "CANVASRULE_LOST_AFTER"
_LEAST, _USUAL, _MOST = 0.4, 0.65, 60.0
"""Seconds without a word after which a page that holds the machine is lost: six beats missed, and a
third left of the second in which its pen is to be off the cloth, to the next point of its line.

A computer too busy to beat so often may be given longer, by `LOST_AFTER` in the environment."""


def quiet_after() -> float:
    """How many seconds a page may be silent. Raises BadInputError for what is none of them."""
    given = os.environ.get(LOST_AFTER, str(_USUAL))
    with contextlib.suppress(ValueError):
        if _LEAST <= float(given) <= _MOST:
            return float(given)
    raise BadInputError(
        f"{LOST_AFTER}={given}: give seconds without a word after which a page is lost, from "
        f"{_LEAST:g} to {_MOST:g}, or leave it out of the environment"
    )
