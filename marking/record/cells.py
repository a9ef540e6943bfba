"""What a value becomes in a cell of the record: numbers, plain data, text and times.

It must not know which table a cell is in; `marking.record.kept` reads it back.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import numpy as np

from marking.errors import BadInputError


def finite(value: float) -> float:
    """A number as it is kept. Raises BadInputError for one that is not finite."""
    if not np.isfinite(value):
        raise BadInputError(f"{value} is not a finite number and was not kept; take it again")
    return float(value)


def json_cell(value: Any) -> str:
    """Plain data as JSON text. Raises BadInputError for a number that is not finite."""
    try:
        return json.dumps(value, allow_nan=False, sort_keys=True)
    except ValueError:
        raise BadInputError(
            "a result that is not a finite number was not kept; nothing was changed"
        ) from None


def storable(value: Any) -> Any:
    """A file's name may hold a byte that is no UTF-8, which SQLite takes in no text."""
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    return value


def time_cell(at: datetime) -> str:
    """A time as text, in UTC. Raises ValueError for one without a time zone."""
    if at.tzinfo is None:
        raise ValueError("the clock must tell its time zone")
    return at.astimezone(UTC).isoformat(timespec="milliseconds")
