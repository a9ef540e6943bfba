"""Values written into a job.toml that a person wrote: comments, order and line ends stay.

It knows TOML's text and no key.
"""

from __future__ import annotations

import json
import tomllib
from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

InlineTable = dict[str, str]
Written = str | int | float | bool | list[str] | list[int] | list[InlineTable] | None
"""A value as it stands in job.toml, a row as an inline table; None takes its key away."""


def with_values(text: str, label: str, table: str, values: Mapping[str, Written]) -> str:
    """`text`, which is sound TOML, with `values` set in `table`; a missing table comes last.

    Raises BadInputError where that cannot be done without another key changing.
    """
    return with_changes(text, label, {(table, key): value for key, value in values.items()})


def with_changes(text: str, label: str, values: Mapping[Sequence[str], Written]) -> str:
    """`text`, which is sound TOML, with the value at each key of keys put in place.

    Raises BadInputError where that cannot be done without another key changing.
    """
    import tomlkit

    wanted: dict[str, Any] = tomllib.loads(text)
    try:
        document = tomlkit.parse(text)
        for keys, value in values.items():
            _put(wanted, keys, value, dict)
            _put(document, keys, _inline(value), tomlkit.table)
        made = tomlkit.dumps(document)
        if "\r\n" in text:
            made = made.replace("\r\n", "\n").replace("\n", "\r\n")
        kept = tomllib.loads(made) == wanted
    except (tomlkit.exceptions.TOMLKitError, tomllib.TOMLDecodeError, AttributeError, TypeError):
        kept = False
    if not kept:
        table = next(iter(values))[0]
        lines = "; ".join(
            f"{keys[-1]} = {json.dumps(value, ensure_ascii=False)}"
            for keys, value in values.items()
        )
        raise BadInputError(
            f"{label}: was left as it is, since [{table}] cannot be written there without another "
            f"key changing; write into it yourself: {lines}"
        )
    return made


def _inline(value: Written) -> Any:
    """A value for tomlkit, which would make tables under headings of their own of rows."""
    import tomlkit

    if not isinstance(value, list) or not any(isinstance(one, dict) for one in value):
        return value
    rows = tomlkit.array()
    for one in value:
        row = tomlkit.inline_table()
        row.update({} if not isinstance(one, dict) else one)
        rows.append(row)
    return rows.multiline(multiline=True)


def _put(held: Any, keys: Sequence[str], value: Any, table: Any) -> None:
    """Sets or takes away one key, or a whole table, below the tables that lead to it."""
    for key in keys[:-1]:
        if key not in held:
            if value is None:
                return
            held[key] = table()
        held = held[key]
    if value is not None:
        held[keys[-1]] = value
    elif keys[-1] in held:
        del held[keys[-1]]
