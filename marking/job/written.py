"""Values written into a job.toml that a person wrote: comments, order and line ends stay.

It knows TOML's text and no key.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Mapping


def with_values(text: str, label: str, table: str, values: Mapping[str, str]) -> str:
    """`text`, which is sound TOML, with `values` set in `table`; a missing table comes last.

    Raises BadInputError where that cannot be done without another key changing.
    """
    import tomlkit

    wanted = tomllib.loads(text)
    wanted[table] = {**wanted.get(table, {}), **values}
    try:
        document = tomlkit.parse(text)
        held = document.setdefault(table, tomlkit.table())
        for key, value in values.items():
            held[key] = value
        made = tomlkit.dumps(document)
        if "\r\n" in text:
            made = made.replace("\r\n", "\n").replace("\n", "\r\n")
        kept = tomllib.loads(made) == wanted
    except (tomlkit.exceptions.TOMLKitError, tomllib.TOMLDecodeError):
        kept = False
    if not kept:
        lines = "; ".join(f'{key} = "{value}"' for key, value in values.items())
        raise BadInputError(
            f"{label}: was left as it is, since [{table}] cannot be written there without another "
            f"key changing; write into it yourself: {lines}"
        )
    return made
