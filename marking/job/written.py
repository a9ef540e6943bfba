"""Values written into a job.toml that a person wrote: comments, order and line ends stay.

It knows TOML's text and no key.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


def with_values(text: str, table: str, values: Mapping[str, str]) -> str:
    """`text`, which is sound TOML, with `values` set in `table`; a missing table comes last."""
    import tomlkit
    from tomlkit.items import AbstractTable

    document = tomlkit.parse(text)
    if table not in document:
        document.add(table, tomlkit.table())
    held = document[table]
    assert isinstance(held, AbstractTable | tomlkit.container.OutOfOrderTableProxy)
    for key, value in values.items():
        held[key] = value
    made = tomlkit.dumps(document)
    if "\r\n" in text:
        made = made.replace("\r\n", "\n").replace("\n", "\r\n")
    return made
