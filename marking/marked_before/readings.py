"""What is read on a cover that was marked before: which lines, from where, and the numbers on it.

A line is called by the numeral that stands at it, as it reads, so that a number left out shows as
a pitch too little. It knows the layout and the numbering that the cover should have. Millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from msgspec import Struct

from marking.errors import BadInputError, shortened
from marking.input.rows import Columns, read_rows
from marking.input.text import read_text
from marking.input.toml import toml_tables

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from marking.job.keys import NumeralsTable
    from marking.layout.layout import Layout

SpotKind = Literal["line", "long line", "diagonal"]
_COLUMNS = Columns("measured", ("id",), ("length",), pairs=True, beside=("numbers",))
_EVERY = 12
_MOST_NUMBERS = 20_000
_FURTHEST = 0.25
"""Share of a length that it may be off: past this, another was measured."""
UP, DOWN = "diagonal-up", "diagonal-down"
SIDES = ("near", "far")


class Meant(Struct, frozen=True):
    """What the cover should be: its layout, and how its lines are numbered."""

    layout: Layout
    numerals: NumeralsTable

    @property
    def last(self) -> int:
        """The last cross line, counted from the zero line as 0."""
        return len(self.layout.grid.cross_x) - 1

    def reads(self, n: int) -> int:
        """What its numeral reads, or would read, at the n-th cross line from the zero line."""
        return self.numerals.at_line(n)

    def line(self, side: str, n: int) -> str:
        """The id of the n-th cross line from the zero line, as it is read along one side."""
        return f"{side}-{self.reads(n)}"


class SpotToMeasure(Struct, frozen=True):
    """One thing to measure: what the tape shows where the cover is true, and between what."""

    id: str
    kind: SpotKind
    side: str
    """Along which first long line, or at which end: near, far, zero, end."""
    number: int | None
    """Of the cross line, counted from the zero line as 0; None for what is no cross line."""
    nominal: float
    between: tuple[str, str]


class Found(Struct, frozen=True):
    """What a person read: tape readings in mm by id, and the numbers as they stand, by side."""

    shown: Mapping[str, float]
    numbers: Mapping[str, tuple[str, ...]]


def spots(meant: Meant) -> dict[str, SpotToMeasure]:
    """Everything that can be measured, by id, in the order in which a tape meets it."""
    grid = meant.layout.grid
    x0, y0 = float(grid.cross_x[0]), grid.long_lines[0].y
    zero, last = meant.reads(0), meant.reads(meant.last)
    found: list[SpotToMeasure] = []
    for side in SIDES:
        found += [
            SpotToMeasure(
                meant.line(side, n),
                "line",
                side,
                n,
                float(x) - x0,
                (f"{zero}", f"{meant.reads(n)} on the {side} line"),
            )
            for n, x in enumerate(grid.cross_x.tolist())
            if n
        ]
    for end, at in (("zero", "the zero line"), ("end", f"line {last}")):
        found += [
            SpotToMeasure(
                f"{line.id}-{end}",
                "long line",
                end,
                None,
                line.y - y0,
                ("near line", f"{line.id} at {at}"),
            )
            for line in grid.long_lines[1:]
        ]
    long, wide = float(grid.cross_x[-1]) - x0, grid.long_lines[-1].y - y0
    across = (long**2 + wide**2) ** 0.5
    found += [
        SpotToMeasure(
            UP, "diagonal", "", None, across, (f"{zero}, near line", f"{last}, far line")
        ),
        SpotToMeasure(
            DOWN, "diagonal", "", None, across, (f"{zero}, far line", f"{last}, near line")
        ),
    ]
    return {spot.id: spot for spot in found}


def asked(meant: Meant) -> tuple[SpotToMeasure, ...]:
    """What the sheet asks for: each foot's line and the next, bands, ends and both diagonals."""
    long_lines = meant.layout.grid.long_lines
    ids = {one.id for one in long_lines if one.layer == "hem"}
    wanted = {long_lines[-1].id, *sorted(ids)}
    return tuple(
        spot
        for spot in spots(meant).values()
        if spot.kind == "diagonal"
        or (spot.kind == "long line" and spot.id.rpartition("-")[0] in wanted)
        or (
            spot.number is not None
            and (spot.number % _EVERY in (0, 1) or spot.number == meant.last)
        )
    )


def numbers_meant(layout: Layout) -> dict[str, tuple[str, ...]]:
    """The numerals that should stand along each side, from the zero end."""
    found: dict[str, list[tuple[float, str]]] = {}
    for one in layout.numerals:
        if one.numeral.row not in ("margin", "other"):
            continue
        at = one.numeral.at_table[0]
        found.setdefault(one.numeral.side, []).append((at, one.numeral.text))
    return {side: tuple(text for _, text in sorted(row)) for side, row in found.items()}


def read_found(path: Path, meant: Meant) -> Found:
    """What a person wrote: `[measured]` with lengths by id, and `[numbers]` by side; or CSV rows.

    Raises BadInputError with a message for each fault.
    """
    known, pitch = spots(meant), meant.layout.grid.pitch[0]
    shown: dict[str, float] = {}
    faults: list[str] = []
    numbers = dict(_numbers(path, faults)) if path.suffix.lower() == ".toml" else {}
    for row in read_rows(path, _COLUMNS):
        name, length = row.text["id"], row.lengths["length"]
        spot = known.get(name)
        if spot is None:
            faults.append(f"{row.where}: {name}: {_no_such(meant)}")
        elif name in shown:
            faults.append(f"{row.where}: {name}: measured twice; keep the one you trust")
        elif abs(length - spot.nominal) > max(_FURTHEST * spot.nominal, 3 * pitch):
            faults.append(
                f"{row.where}: {name} = {length:.1f} mm, where a true cover has "
                f"{spot.nominal:.1f} mm: another line or another unit? Measure from "
                f"{spot.between[0]} to {spot.between[1]}"
            )
        else:
            shown[name] = length
    if faults:
        raise BadInputError(*faults)
    return Found(shown, numbers)


def _no_such(meant: Meant) -> str:
    runs = (f"{meant.line(side, 1)} to {meant.line(side, meant.last)}" for side in SIDES)
    return (
        f"no such place; there are {', '.join(runs)}, "
        f"{meant.layout.grid.long_lines[-1].id}-zero and -end as for each long line, {UP} and "
        f"{DOWN}"
    )


def _numbers(path: Path, faults: list[str]) -> Iterator[tuple[str, tuple[str, ...]]]:
    written: Any = toml_tables(read_text(path, str(path), "list of lengths"), str(path)).get(
        "numbers", {}
    )
    if not isinstance(written, dict):
        faults.append(f'{path}: write [numbers] with near = "0-47, 49-148" and far likewise')
        return
    for side, text in written.items():
        if side not in SIDES or not isinstance(text, str):
            faults.append(f"{path}: numbers.{shortened(side)}: there are near and far, each a text")
            continue
        try:
            yield side, tuple(_counted(text))
        except ValueError:
            faults.append(
                f'{path}: numbers.{side} = "{shortened(text)}": write the numbers as they stand, '
                'from the zero end, runs as 0-47, every fifth as 0-145 by 5: "0-47, 49-148"'
            )


def _counted(text: str) -> Iterator[str]:
    count = 0
    for word in filter(None, (part.strip() for part in text.split(","))):
        run, _, step = word.partition(" by ")
        first, _, last = run.partition("-")
        low, high, every = int(first), int(last or first), int(step or 1)
        if not 0 <= low <= high or every < 1:
            raise ValueError(word)
        written = range(low, high + 1, every)
        count += len(written)
        if count > _MOST_NUMBERS:
            raise ValueError(word)
        yield from map(str, written)
