"""Values written into a job.toml that a person wrote: comments, order and line ends stay.

It knows TOML's text and no key.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Written = str | int | float | bool | list[str] | list[int] | None
"""A value as it stands in job.toml; None takes its key away."""


def with_values(text: str, table: str, values: Mapping[str, Written]) -> str:
    """`text`, which is sound TOML, with `values` set in `table`; a missing table comes last."""
    for key, value in values.items():
        text = with_value(text, (table, key), value)
    return text


def with_value(text: str, keys: Sequence[str], value: Written) -> str:
    """`text`, which is sound TOML, with the value at `keys` put in place.

    A missing table is made after its own, or last. Raises BadInputError where a key on the way is
    no table.
    """
    import tomlkit
    from tomlkit.container import OutOfOrderTableProxy
    from tomlkit.items import AbstractTable, InlineTable

    document = tomlkit.parse(text)
    held: tomlkit.TOMLDocument | AbstractTable | InlineTable | OutOfOrderTableProxy = document
    for key in keys[:-1]:
        if key not in held:
            if value is None:
                return text
            held[key] = tomlkit.table()
        inner = held[key]
        if not isinstance(inner, AbstractTable | InlineTable | OutOfOrderTableProxy):
            raise BadInputError(f"{key}: is no table of keys; mend job.toml in an editor")
        held = inner
    if value is not None:
        held[keys[-1]] = value
    elif keys[-1] in held:
        del held[keys[-1]]
    made = tomlkit.dumps(document)
    if "\r\n" in text:
        made = made.replace("\r\n", "\n").replace("\n", "\r\n")
    return made
